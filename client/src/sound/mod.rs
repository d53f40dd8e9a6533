//! Where sound comes from: recordings, standard input, or an input of this computer.

pub(crate) mod capture;
mod card;
pub(crate) mod condition;
pub mod decode;
pub mod input;
pub mod kind;
pub mod recording;
pub(crate) mod recovery;
mod room;
#[cfg(target_os = "linux")]
mod server;
mod sides;
mod signals;
pub(crate) mod tone;
mod treatment;
pub mod trouble;
