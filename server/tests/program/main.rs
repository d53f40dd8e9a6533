//! The program as people, stations and strangers meet it, run for real on loopback.

mod bad_input;
mod board;
mod control;
mod deputies;
mod logbook;
mod measure;
mod orders;
mod pairing;
mod restart;
mod running;
mod stations;
mod status;
