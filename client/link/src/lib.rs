//! The station's side of a session: events in, effects out.
//!
//! `Link` opens no socket, reads no clock, touches no disk: the shell hands in [`Event`]s with the time, drains
//! [`Effect`]s after each, and hands in [`Event::Tick`] when the link's timeout has come.

pub mod effect;
pub mod event;

pub use effect::Effect;
pub use event::{Attempt, AttemptFailure, Event};
