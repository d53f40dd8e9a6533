//! The program as harpists and scripts meet it, run for real on sound that is made here or was recorded.

mod bad_input;
mod condition;
mod decoder;
mod desk;
mod listening;
mod record;
mod reference;
mod running;
mod sound;
mod station;
mod targets;
