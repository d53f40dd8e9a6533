//! The station: hears one harp, guides the harpist, reports to the coordinator.
//!
//! This crate is the shell around `consort-analysis`, `consort-guide` and `consort-link`: sound, sockets, disk, clock
//! and pages are here, every decision is there.

pub mod args;
pub mod choice;
pub mod ear;
pub mod feed;
pub mod listen;
pub mod order;
pub mod pluck;
pub mod say;
pub mod sound;
pub mod targets;
