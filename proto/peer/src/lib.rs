//! Links between the programs: identities, mutual TLS with pinned keys, framed QUIC streams.
//!
//! The one crate through which coordinator and station touch the network's cryptography.
//! Who a peer is, is its key and nothing else: names, dates and issuers in certificates are ignored, the proof that the
//! peer holds the key is always checked.

pub mod dialer;
pub mod identity;
pub mod link;
pub mod listener;
pub mod message;
mod protocol;
mod transport;
mod trust;

pub use dialer::{DialError, Dialer};
pub use identity::{Identity, IdentityError};
pub use link::{Hear, HearError, Link, Say, SayError};
pub use listener::{AdmitError, Caller, ListenError, Listener, Met};
pub use message::Message;
pub use protocol::Protocol;
