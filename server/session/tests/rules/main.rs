//! What a session does: one file for each matter.
//!
//! One program for all of them, since each program is built and started for itself.

mod agreement;
mod common;
mod joining;
mod model;
mod pairing;
mod presence;
mod reports;
mod rounds;
mod rulings;
mod seats;
mod strangers;
