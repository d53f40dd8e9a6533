//! What two ends of a link speak, as they agree on it in the handshake.

use consort_proto::discovery::{ALPN, ALPN_DEPUTY};

/// A protocol: its name carries the major version.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Protocol {
    /// A station and its coordinator.
    Station,
    /// A deputy and the coordinator.
    Deputy,
}

impl Protocol {
    /// Every protocol that a coordinator speaks.
    pub(crate) const ALL: [Self; 2] = [Self::Station, Self::Deputy];

    /// Its name in the handshake.
    pub const fn name(self) -> &'static [u8] {
        match self {
            Self::Station => ALPN,
            Self::Deputy => ALPN_DEPUTY,
        }
    }

    /// The protocol of that name.
    pub(crate) fn of(name: &[u8]) -> Option<Self> {
        Self::ALL.into_iter().find(|protocol| protocol.name() == name)
    }
}
