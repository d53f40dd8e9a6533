//! An ensemble on loopback: real coordinator and stations, tested together, and the same cores in virtual time.

pub mod network;
pub mod process;
pub mod rehearsal;
