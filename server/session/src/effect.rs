//! Everything the shell can be asked to do.

use consort_proto::message::Refusal;
use consort_proto::{Binding, Fingerprint, JoinCode, Name, Proof, Share, ToStation};

use crate::event::LinkId;
use crate::record::{Record, Ticket};

/// What the session wants done; to be carried out in order.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Say this on the link's stream (a [`ToStation::Beat`] goes as a datagram).
    Send {
        /// On which link.
        link: LinkId,
        /// What to say.
        message: ToStation,
    },
    /// Say why, then close the link.
    Close {
        /// Which one.
        link: LinkId,
        /// Why.
        why: Refusal,
    },
    /// Write the record; answer with [`crate::Event::Persisted`] once it cannot be lost any more.
    Persist {
        /// Counts up with every record.
        ticket: Ticket,
        /// What to write.
        record: Record,
    },
    /// Draw a code at random and hand it in with [`crate::Event::Code`].
    DrawCode,
    /// Answer a station's share with this side's, as the holder of `code`; kept until the link closes.
    ///
    /// What is no share is answered with [`crate::Event::Proof`].
    AnswerShare {
        /// On which link.
        link: LinkId,
        /// Whose.
        peer: Fingerprint,
        /// What only the two ends of the link have in common.
        binding: Binding,
        /// The code on the screen.
        code: JoinCode,
        /// The station's half of the exchange.
        share: Share,
    },
    /// Look whether the proof is right, and answer with [`crate::Event::Proof`].
    CheckProof {
        /// On which link.
        link: LinkId,
        /// As whom it was made.
        name: Name,
        /// The proof.
        proof: Proof,
    },
    /// Prove to the station on this link, whose proof was right, that this side knows the code as well.
    Accept {
        /// Which link.
        link: LinkId,
        /// What the ensemble calls itself.
        ensemble: Name,
    },
    /// What [`crate::Session::view`] shows has changed.
    Redraw,
}
