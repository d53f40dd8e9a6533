//! The agreement: what the whole ensemble tunes to, sent whole and never in part.

use std::fmt;

use crate::name::Name;
use crate::readiness::Tolerance;
use crate::target::Tuning;

/// One opening of the coordinator's store: 128 random bits, new only when the store was lost.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub struct SessionId(pub [u8; 16]);

impl fmt::Display for SessionId {
    /// The first four bytes in hexadecimal: enough for a person to tell two sessions apart.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0[..4].iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

/// How often the agreement has changed in this session; never goes back, not even when the coordinator is killed.
#[derive(Clone, Copy, Debug, Default, Eq, Ord, PartialEq, PartialOrd)]
pub struct Revision(pub u64);

/// One tuning of everything; a new one is called for an intermission. Counts from 1.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub struct Round(pub u32);

impl Default for Round {
    fn default() -> Self {
        Self(1)
    }
}

/// What everyone tunes to.
///
/// The start time is not in here: it travels as seconds remaining, since clocks of laptops differ.
#[derive(Clone, Debug, PartialEq)]
pub struct Agreement {
    /// The session that agreed.
    pub session: SessionId,
    /// How often it has changed.
    pub revision: Revision,
    /// What the ensemble calls itself.
    pub ensemble: Name,
    /// Reference pitch, temperament, setting.
    pub tuning: Tuning,
    /// How far off a string may be.
    pub tolerance: Tolerance,
    /// The round that is being tuned.
    pub round: Round,
}
