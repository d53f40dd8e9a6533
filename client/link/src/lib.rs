//! The station's side of a session: events in, effects out.
//!
//! [`Link`] opens no socket, reads no clock, touches no disk: the shell hands in [`Event`]s with the time, drains
//! [`Effect`]s after each, and hands in [`Event::Tick`] when [`Link::poll_timeout`] has come.
//! Without any coordinator it is the memory of a harp that is tuned alone.

mod calls;
mod dialling;
pub mod effect;
pub mod event;
mod hearing;
mod journal;
mod knocking;
mod link;
mod logbook;
mod pairing;
mod random;
mod seat;
mod sighting;
pub mod view;

use std::time::Duration;

pub use effect::Effect;
pub use event::{Attempt, AttemptFailure, Event};
pub use link::{Config, Known, Link};
pub use seat::Asked;
pub use sighting::Stranger;
pub use view::{LinkState, LinkView};

/// The pause between two heartbeats to the coordinator, until it asks for another.
pub const BEAT_EVERY: Duration = Duration::from_millis(500);
/// A coordinator that was not heard for this long is called anew, while the link is kept: it may have been closed and opened.
pub const UNSURE_AFTER: Duration = Duration::from_secs(2);
/// What was said to the coordinator while it was not heard has arrived within this time once it is, or is said on a new link.
const MAY_HAVE_MISSED_FOR: Duration = Duration::from_secs(3);
/// A coordinator that was not heard for this long counts as gone, and the desk says so.
pub const SILENT_AFTER: Duration = Duration::from_secs(4);
