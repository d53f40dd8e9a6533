//! The language that every part of Consort shares.
//!
//! Units, notes, harps, temperaments, targets, readings, readiness, the agreement, and what coordinator and station may
//! say to each other.
//! This crate opens no socket, reads no clock, starts no thread and touches no disk; its types are checked where they
//! are made, so that nothing further in has to check them again.

pub mod agreement;
pub mod apart;
mod base32;
pub mod beats;
pub mod code;
pub mod deputy;
pub mod discovery;
pub mod harp;
pub mod harp_file;
pub mod hindsight;
pub mod identity;
pub mod join;
pub mod message;
pub mod name;
pub mod note;
pub mod order;
pub mod pairing;
pub mod readiness;
pub mod reading;
pub mod setting;
pub mod target;
pub mod temperament;
pub mod units;

pub use agreement::{Agreement, Document, Revision, Round, Seat, SessionId, Tenure};
pub use code::JoinCode;
pub use harp::{Harp, HarpString, Kind, Material, Mechanism, StringNumber, are_strung_alike};
pub use hindsight::{Age, RoomMove};
pub use identity::Fingerprint;
pub use join::{JoinLink, JoinToken};
pub use message::{Hello, Report, Sequence, ToCoordinator, ToStation};
pub use name::Name;
pub use note::{Accidental, Letter, Naming, Note};
pub use pairing::{Binding, Proof, Share};
pub use readiness::{Mark, Readiness, Standing, StringStory, Tolerance};
pub use reading::{Reading, Verdict};
pub use setting::Setting;
pub use target::{ReferencePitch, Tuning};
pub use temperament::{Scheme, Temperament};
pub use units::{Cents, Hz, SampleRate, Uptime};
