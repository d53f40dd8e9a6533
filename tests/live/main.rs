//! Live sound through a sound server of the test's own: what is played in, and what becomes of it when things break.

mod alsa;
mod capture;
mod loss;
mod reference;
mod server;
mod station;
