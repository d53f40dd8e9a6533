//! Everything that can happen to a link.

use std::net::SocketAddr;
use std::time::Duration;

use crate::sighting::Stranger;
use consort_proto::message::{Content, Proposal};
use consort_proto::{Binding, Fingerprint, JoinCode, JoinLink, Reading, ToStation};

/// One attempt to connect, numbered by the link.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub struct Attempt(pub u64);

/// What the shell tells the link.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// The harpist pasted a join link.
    JoinLink(JoinLink),
    /// The harpist typed a joining code.
    JoinCode(JoinCode),
    /// The harpist typed an address.
    Address(SocketAddr),
    /// The harpist has no code and asks the leader to be let in: by the coordinator with this tag, or by whoever is at
    /// the typed address.
    AskIn(Option<String>),
    /// The harpist wants another laptop's seat.
    TakeOver {
        /// The seat's number.
        seat: u32,
    },
    /// The harpist says whether another laptop may have this one's seat.
    GiveUp {
        /// Whether it may.
        yes: bool,
    },
    /// The harpist wants help, or does not any more.
    Help(bool),
    /// An A was measured that the leader may agree on.
    Propose(Proposal),
    /// This laptop has a fresh key: whoever knew the old one does not know this one.
    Renewed,
    /// Discovery heard of a coordinator: a hint, not a proof.
    Sighted {
        /// What it claims to be.
        who: Stranger,
        /// Where.
        addresses: Vec<SocketAddr>,
    },
    /// The attempt reached a coordinator that proved to hold the key of `peer`.
    Connected {
        /// Which attempt.
        attempt: Attempt,
        /// Who answered.
        peer: Fingerprint,
        /// Where.
        address: SocketAddr,
        /// What only the two ends of the link have in common.
        binding: Binding,
    },
    /// The attempt came to nothing.
    AttemptFailed {
        /// Which attempt.
        attempt: Attempt,
        /// Why.
        why: AttemptFailure,
    },
    /// The link is gone.
    LinkClosed {
        /// Of which attempt.
        attempt: Attempt,
    },
    /// The coordinator said something.
    Heard {
        /// On the link of which attempt.
        attempt: Attempt,
        /// What.
        message: ToStation,
    },
    /// Whether the proof that the coordinator gave on the attempt's link is right.
    Proof {
        /// On whose link.
        attempt: Attempt,
        /// Whether.
        right: bool,
    },
    /// The key of a coordinator that proved to know the code rests on the disk.
    Pinned {
        /// The key.
        coordinator: Fingerprint,
        /// Where its holder was reached.
        address: SocketAddr,
    },
    /// A string was read or marked: to be reported.
    Observed(Content),
    /// A string was read that was plucked a while ago: to be reported.
    Plucked {
        /// The reading.
        reading: Reading,
        /// How long ago.
        since: Duration,
    },
    /// This laptop has other addresses than before: whoever did not answer may answer now.
    NetworkChanged,
    /// This laptop slept, or the program was stopped: whether the link still stands is not known.
    Woke,
    /// The journal entry up to this number rests on the disk.
    Journalled(consort_proto::Sequence),
    /// The time of [`crate::Link::poll_timeout`] has come.
    Tick,
}

/// Why an attempt came to nothing.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum AttemptFailure {
    /// Nobody answered.
    NoAnswer,
    /// Somebody answered who does not hold the expected key.
    OtherKey,
    /// Somebody answered who speaks another protocol or version.
    OtherVersion,
}
