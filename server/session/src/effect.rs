//! Everything the shell can be asked to do.

use consort_proto::ToStation;
use consort_proto::message::Refusal;

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
    /// What [`crate::Session::view`] shows has changed.
    Redraw,
}
