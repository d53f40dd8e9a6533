//! The coordinator's mind: events in, effects out.
//!
//! [`Session`] opens no socket, reads no clock, touches no disk: the shell hands in [`Event`]s with the time, drains
//! [`Effect`]s after each, and hands in [`Event::Tick`] when [`Session::poll_timeout`] has come.

pub mod effect;
pub mod event;
pub mod record;
pub mod view;

use std::time::Duration;

pub use effect::Effect;
pub use event::{Command, Event, LinkId};
pub use record::{Record, Saved, SavedStation, Ticket};
pub use view::{Presence, StationView, View};

/// A station that was not heard for this long is shown as unsure.
pub const UNSURE_AFTER: Duration = Duration::from_secs(2);
/// A station that was not heard for this long is shown as silent and no longer counts as ready.
pub const SILENT_AFTER: Duration = Duration::from_secs(4);
