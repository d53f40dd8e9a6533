//! Everything the shell can be asked to do.

use std::net::SocketAddr;

use consort_proto::{Binding, Fingerprint, JoinCode, Name, Proof, Report, Sequence, SessionId, Share, ToCoordinator};

use crate::event::Attempt;

/// What the link wants done; to be carried out in order.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Connect, and accept nobody but the holder of the key `expect` (its tag, when only that is known, is not enough);
    /// without one whoever answers, who then has to prove to know the code.
    Dial {
        /// The number to answer with.
        attempt: Attempt,
        /// Where.
        address: SocketAddr,
        /// Whom.
        expect: Option<Fingerprint>,
    },
    /// Say this on the attempt's link (a [`ToCoordinator::Beat`] goes as a datagram).
    Send {
        /// On whose link.
        attempt: Attempt,
        /// What.
        message: ToCoordinator,
    },
    /// Close the attempt's link.
    Close {
        /// Whose link.
        attempt: Attempt,
    },
    /// Begin to prove `code` on the attempt's link.
    Pair {
        /// On whose link.
        attempt: Attempt,
        /// Who answered there.
        peer: Fingerprint,
        /// What only the two ends of the link have in common.
        binding: Binding,
        /// The code that was typed.
        code: JoinCode,
    },
    /// Take in the coordinator's share and prove, as `name`, to know the code.
    ///
    /// What is no share is answered with [`crate::Event::Proof`].
    Confirm {
        /// On whose link.
        attempt: Attempt,
        /// The coordinator's session.
        session: SessionId,
        /// Its half of the exchange.
        share: Share,
        /// The harpist.
        name: Name,
    },
    /// Look whether the coordinator's proof is right, and answer with [`crate::Event::Proof`].
    CheckProof {
        /// On whose link.
        attempt: Attempt,
        /// What the ensemble calls itself.
        ensemble: Name,
        /// The proof.
        proof: Proof,
    },
    /// Write down that this coordinator is known; answer with [`crate::Event::Pinned`] once that cannot be lost any more.
    Pin {
        /// Its key.
        coordinator: Fingerprint,
        /// Where it was reached.
        address: SocketAddr,
    },
    /// Write the report into the journal; answer with [`crate::Event::Journalled`].
    Journal(Report),
    /// Drop journal entries: the coordinator has them.
    Forget {
        /// Of which session; `None` for any.
        session: Option<SessionId>,
        /// Up to this one.
        up_to: Sequence,
    },
    /// Remember this coordinator and where it was last reached.
    Remember {
        /// Its key.
        coordinator: Fingerprint,
        /// Where it was reached.
        address: SocketAddr,
    },
    /// What [`crate::Link::view`] shows has changed: the agreement, the state of the link, or both.
    Redraw,
}
