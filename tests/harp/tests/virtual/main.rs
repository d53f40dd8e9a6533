//! Virtual harps and harpists against published figures and against what they claim of themselves.

mod adviser;
mod faults;
mod harpists;
mod mirror;
mod recordings;
mod rooms;
mod strings;
mod trials;
