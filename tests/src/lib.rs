//! An ensemble on loopback: real coordinator and stations, tested together.

pub mod process;
pub mod rehearsal;
