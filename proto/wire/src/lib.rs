//! The frozen bytes that travel between coordinator and stations.
//!
//! A frame is a header of [`HEADER_LEN`] bytes and a payload of plain integers; domain types convert at this border,
//! with every range checked.
//! A struct that has shipped is never edited: what is new gets a new frame number, and a retired number is never used
//! again.
//! This crate opens no socket and reads no clock.

mod code;
mod codec;
mod deputy;
mod document;
mod error;
mod frame;
mod harp;
mod report;
mod to_coordinator;
mod to_station;
mod tuning;

pub use deputy::{decode_from_deputy, decode_to_deputy, encode_from_deputy, encode_to_deputy};
pub use error::WireError;
pub use frame::{HEADER_LEN, MUST_UNDERSTAND, PAYLOAD_MAX, frame_len};
pub use to_coordinator::{decode as decode_to_coordinator, encode as encode_to_coordinator};
pub use to_station::{decode as decode_to_station, encode as encode_to_station};
