//! The agreement: what the whole ensemble tunes to, sent whole and never in part.

use std::fmt;
use std::time::Duration;

use crate::name::Name;
use crate::note::Note;
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
    /// The string that everyone is asked to pluck, by its letter and octave; harps count their strings differently.
    pub called: Option<Note>,
}

/// A seat as one station holds it: reports of an earlier holder are not taken for those of the present one.
#[derive(Clone, Copy, Debug, Default, Eq, Ord, PartialEq, PartialOrd)]
pub struct Tenure {
    /// The seat's number in the order of joining, from 1; 0 where no seat is held.
    pub seat: u32,
    /// How often the seat has had another holder, the first one included; 0 where no seat is held.
    pub epoch: u32,
}

/// A seat as everyone sees it.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Seat {
    /// Its number, and how often it changed hands.
    pub tenure: Tenure,
    /// The harpist.
    pub name: Name,
}

/// The agreement as it is sent, whole each time: with everything else that a station has to know of the session.
#[derive(Clone, Debug, PartialEq)]
pub struct Document {
    /// What everyone tunes to.
    pub agreement: Agreement,
    /// How often the coordinator has started in this session.
    pub epoch: u32,
    /// Time left until the start, when it is sent; `None` when no start is set.
    pub start_in: Option<Duration>,
    /// The pause between two heartbeats of a station.
    pub beat_every: Duration,
    /// The seats that are held, in the order of their numbers; at most [`SEATS_MAX`].
    pub seats: Vec<Seat>,
}

/// The most seats in one document, and so the most that are given: with the longest names it still fits into one frame.
pub const SEATS_MAX: usize = 64;
