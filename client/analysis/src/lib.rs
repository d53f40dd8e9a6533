//! Hearing: samples in, readings out.
//!
//! A [`Listener`] knows the harp: the [`Context`] lists its strings.
//! It waits for an onset, takes away what sounded before it, asks which string's whole comb of partials explains what
//! was added, and then measures each partial and fits the stiff-string model fₙ = n·f₀·√(1 + B·n²) to all of them.
//!
//! Beside it stand [`HeldTone`], which hears a given A, and [`beating()`], which tells how two strings beat.
//!
//! This crate opens no device and no file, reads no clock, starts no thread and takes no lock, and after construction
//! it allocates nothing: it can run anywhere sound arrives. Time is a count of samples.
//!
//! ```
//! use consort_analysis::{Config, Context, Heard, Listener};
//! use consort_proto::Hz;
//!
//! let mut listener = Listener::new(Config::default());
//! listener.set_context(&Context::concert_harp(Hz::new(440.0)?));
//! listener.push(&[0.0; 4800]);
//! while let Some(heard) = listener.poll() {
//!     if let Heard::Settled(reading) = heard {
//!         println!("string {} at {}", reading.string, reading.hz);
//!     }
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod beating;
mod beside;
mod character;
mod chase;
mod chord;
mod comb;
mod company;
mod config;
mod context;
mod decimate;
mod evidence;
mod fit;
mod frequency;
mod health;
mod heard;
mod held;
mod history;
mod identify;
mod in_hand;
mod listener;
mod loudness;
mod measuring;
mod moment;
mod note;
mod onset;
mod own;
mod partials;
mod run;
mod spectrum;
mod timbre;
mod trend;
mod trust;
mod window;

pub use beating::{Beating, NEAR_CENTS, NoBeat, Together, beating};
pub use character::expected_inharmonicity;
pub use config::Config;
pub use context::{Context, ExpectedString, Order, STRINGS_MAX, Spread, TooManyStrings};
pub use heard::{Doubt, Health, Heard, Onset, Partials, Reading, Refusal, Refused, SampleTime, Timbre, Track};
pub use held::{Held, HeldTone};
pub use listener::Listener;
