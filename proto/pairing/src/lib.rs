//! Proof that both ends of a link know the same joining code, without telling it to whoever does not.
//!
//! A password-authenticated key exchange gives both ends a common key if they used the same code; each then proves, with
//! that key and with what TLS exports of this very link, that it has it.
//! So a stranger gets one guess per try and nothing to guess at later, and whoever passes messages on between two links
//! gets nothing at all, since the two links export different material.
//! Nothing here reads a clock, draws a random number or opens a socket: the 32 random bytes of a try are handed in.
//!
//! Each side is a chain of types, so that a step cannot be left out or taken twice:
//!
//! ```text
//! station                                 coordinator
//! Station::start ─────── Share ─────────▸ Coordinator::answer
//! Station::confirm ◂──── Share ──────────
//!        └────── name, Proof ───────────▸ Coordinator::check
//! Confirming::check ◂─── ensemble, Proof ─ Accepting::accept
//! ```

mod coordinator;
mod keys;
mod pake;
mod seed;
mod station;

pub use coordinator::{Accepting, Coordinator};
pub use keys::Ends;
pub use pake::{Pake, Side, Spake2};
pub use seed::Seed;
pub use station::{Confirming, Station};

/// What TLS is asked to export for a [`consort_proto::Binding`], with an empty context.
pub const EXPORTER_LABEL: &[u8] = b"EXPORTER-consort-pair-1";

/// The two ends do not know the same code, or are not the ends of one link; which of it is not told to anyone.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[error("the code is not the same at both ends")]
pub struct NotPaired;
