//! The station: hears one harp, guides the harpist, reports to the coordinator.
//!
//! This crate is the shell around `consort-analysis`, `consort-guide` and `consort-link`: sound, sockets, disk, clock
//! and pages are here, every decision is there.

pub mod args;
mod beat;
pub mod beats;
mod browse;
mod browser;
mod capture;
pub mod choice;
mod choices;
pub mod config;
pub mod course;
mod desk;
pub mod ear;
mod endpoint;
pub mod feed;
mod hand;
mod hearing;
pub mod image;
pub mod invitation;
mod keeper;
pub mod listen;
mod network;
pub mod order;
mod pace;
mod pairing;
mod picture;
pub mod pluck;
mod podium;
mod question;
pub mod record;
mod reference;
mod renewals;
pub mod say;
pub mod sound;
pub mod start;
mod station;
mod store;
mod table;
pub mod targets;
mod terminal;
mod trace;
mod voice;
mod wrong;

pub use config::Config;
pub use start::{StartError, Station};
