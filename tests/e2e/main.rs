//! Real programs on loopback, each with a data folder of its own; the module list is the table of contents.

mod agreement;
mod allowances;
mod clocks;
mod code;
mod copies;
mod deputy;
mod disk;
mod ensemble;
mod joining;
mod logbook;
mod record;
mod restart;
mod weather;
