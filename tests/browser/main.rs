//! The pages of the real programs in a real browser, on a network of their own; the module list is the table of contents.
//!
//! A headless Chromium is driven by its WebDriver against programs that were really started. Every test runs inside a
//! private network of one machine: where it is not yet in one, it makes one for itself. Where a browser is missing a
//! test says so and is skipped; `cargo verify` and unattended runs leave nothing out, and fail instead.

mod axe;
mod board;
mod browser;
mod control;
mod desk;
mod director;
mod ear;
mod gallery;
mod keyboard;
mod leader;
mod network;
mod player;
mod questions;
mod record;
mod rehearsal;
mod states;
mod stranger;
mod tones;
mod tools;
mod walnut;
mod whole_harp;
