//! The outlook: what can be told of a section from what its harps have reported.
//!
//! When each harp will be ready ([`Course`]), how far the harps stand apart in each register ([`spread()`]), and what would
//! remain out of tune if the music began now ([`remains()`]) or were called for in a few minutes ([`SOON`]).
//! Everything here is a function of readiness and time that are handed in; nothing is stored and nothing is sent.

mod ahead;
mod course;
mod register;
mod remains;
mod spread;

pub use ahead::SOON;
pub use course::{Course, Forecast, Outlook, TOLD_FROM};
pub use register::Register;
pub use remains::{HEARD_OFF, Remains, remains};
pub use spread::{Spread, Stands, spread};
