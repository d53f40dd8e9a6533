//! The coordinator's mind: events in, effects out.
//!
//! [`Session`] opens no socket, reads no clock, touches no disk: the shell hands in [`Event`]s with the time, drains
//! [`Effect`]s after each, and hands in [`Event::Tick`] when [`Session::poll_timeout`] has come.
//! What depends on the disk waits for [`Event::Persisted`]: nobody is welcomed, nothing acknowledged and no agreement
//! sent before it cannot be lost any more.

mod admission;
pub mod call;
pub mod cheapest;
mod copies;
mod decisions;
mod door;
pub mod effect;
pub mod event;
mod knocking;
mod logbook;
pub mod neighbour;
mod pace;
mod pairing;
mod presence;
pub mod record;
mod reports;
pub mod room;
mod roster;
mod session;
mod strings;
mod takeover;
mod trace;
pub mod view;

use std::time::Duration;

pub use door::DoorConfig;
pub use effect::Effect;
pub use event::{Command, Event, LinkId};
pub use logbook::Opening;
pub use record::{Past, Record, Ruled, Ruling, Saved, SavedStation, Ticket};
pub use session::{Config, Session};
pub use view::{CodeView, DoorView, Newcomer, Presence, StationView, View};

/// Changes that can be taken back; older ones are from another rehearsal.
pub const PAST_MAX: usize = 20;
/// A station that was not heard for this long is shown as unsure.
pub const UNSURE_AFTER: Duration = Duration::from_secs(2);
/// A station that was not heard for this long is shown as silent and no longer counts as ready.
///
/// At a beat every quarter of a second, sixteen in a row have to get lost for a false *silent*: see `cargo measure network`.
pub const SILENT_AFTER: Duration = Duration::from_secs(4);
