//! Logbooks: what a core was started with, everything that happened to it with its time, and everything that it wanted
//! done, one line each; so that an evening that went wrong can be played again, step by step, anywhere.
//!
//! A core is a function of its events, so that the same events give the same effects. [`replay()`] looks whether they do.
//! Keys, addresses and readings are written as they are. Names of people, ensembles and harps, joining codes and tokens are
//! not: each gets a number when it first occurs ([`Disguise`]), and the number stands for it in events and effects alike.
//! The format is this crate's own and has nothing to do with the wire: domain types are written by [`Written`], field by
//! field, and a line holds one array of JSON. Times are nanoseconds since the program started.

mod disguise;
mod domain;
mod logged;
mod message;
mod replay;
mod written;

#[doc(hidden)]
pub use serde_json;

pub use disguise::Disguise;
pub use logged::{Core, Logbook, Logged};
pub use replay::{ReplayError, Replayed, replay};
pub use written::{Items, Unread, Written};

/// The version of the format, in the first line of each life; a newer one is not read.
pub const VERSION: u64 = 1;
