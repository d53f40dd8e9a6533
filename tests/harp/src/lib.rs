//! Virtual harps and harpists: the ground on which the programs are tried by night and day.
//!
//! A [`VirtualHarp`] sounds like a harp that is out of tune, a [`Harpist`] tunes it by what a station advises, and both
//! know the truth that the station has to find.
//! Nothing here is shared with the way in which the station hears: the sound is made from the physics of strings, or
//! from recordings of known pitch.

pub mod advice;
mod bank;
pub mod chance;
pub mod condition;
pub mod deed;
pub mod fault;
pub mod hand;
mod harp;
mod harpist;
mod noise;
pub mod options;
pub mod pickup;
pub mod pluck;
pub mod recording;
pub mod room;
mod string;
pub mod stringing;
pub mod swift;
pub mod trial;
pub mod truth;

pub use advice::{AdviceLine, Word};
pub use condition::Condition;
pub use fault::{Fault, Wrong};
pub use hand::Pace;
pub use harp::{Beating, Stage, TrueString, VirtualHarp, Voices};
pub use harpist::Harpist;
pub use pickup::Pickup;
pub use pluck::Pluck;
pub use recording::Library;
pub use room::Room;
