//! The listener from outside: synthetic strings, recorded strings, broken inputs.

mod accuracy;
mod again;
mod bound;
mod identification;
mod input;
mod invariance;
mod listening;
mod recordings;
mod refusal;
mod runs;
mod sound;
mod turning;
