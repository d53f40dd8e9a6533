//! Everything the shell can be asked to do.

use std::net::SocketAddr;

use consort_proto::{Fingerprint, Report, Sequence, ToCoordinator};

use crate::event::Attempt;

/// What the link wants done; to be carried out in order.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Connect, and accept nobody but the holder of the key `expect` (its tag, when only that is known, is not enough).
    Dial {
        /// The number to answer with.
        attempt: Attempt,
        /// Where.
        address: SocketAddr,
        /// Whom.
        expect: Fingerprint,
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
    /// Write the report into the journal; answer with [`crate::Event::Journalled`].
    Journal(Report),
    /// Drop journal entries up to this one: the coordinator has them.
    Forget(Sequence),
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
