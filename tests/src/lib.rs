//! An ensemble on loopback.
