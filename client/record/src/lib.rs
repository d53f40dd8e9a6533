//! A harp's memory: what was heard of its strings over months, and what follows from it.
//!
//! A pure function of the harp and its record: `look` turns tunings, fittings, events and weather into findings, each
//! with its evidence in numbers, one action, and what would change it.
//! This crate reads no clock and touches no disk; today's date is handed in.

pub mod allowance;
mod brightness;
pub mod check;
mod chronicle;
pub mod date;
pub mod entry;
mod falseness;
pub mod finding;
mod gauge;
mod likely;
mod look;
mod moves;
pub mod plan;
pub mod regulation;
mod rest;
mod robust;
pub mod settling;
pub mod sheet;
pub mod shelf;
mod sound;
mod stretch;
pub mod telling;
pub mod visit;

pub use chronicle::Chronicle;

pub use date::{Date, Moment, NotADate, NotAMoment};
pub use entry::{Climate, Concert, Deed, Event, Fitting, Heard, NotAnEntry, Partial, Place, Timbre};
pub use finding::{About, Cause, Finding, Moved};
pub use look::look;
pub use plan::{Replacement, Rules, When, Why, plan, worn_out};
pub use sheet::{CONCERT_DAYS, Pins, Player, Sheet};
pub use shelf::{Length, Spoilt};
pub use telling::{Told, tell};
pub use visit::{Life, Seen, Visit};
