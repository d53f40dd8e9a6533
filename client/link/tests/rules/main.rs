//! What a station's link does: one file for each matter.
//!
//! One program for all of them, since each program is built and started for itself.

mod common;
mod joining;
mod losing_the_network;
mod pairing;
mod reports;
mod seats;
