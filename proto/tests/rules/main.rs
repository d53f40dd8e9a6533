//! What is true of pitches, notes, harps, names and readiness: tables and properties, one file for each matter.
//!
//! One program for all of them, since each program is built and started for itself.

mod apart;
mod beats;
mod codes;
mod harp_files;
mod harps;
mod names;
mod people;
mod pitches;
mod properties;
mod readiness;
mod temperaments;
