//! One pluck of a run.

use super::likeness::Likeness;
use super::order::{Belief, Says, Verdict};
use crate::context::STRINGS_MAX;

/// What is known of one pluck.
#[derive(Clone, Debug)]
pub(super) struct Pluck {
    pub(super) onset: u64,
    /// How new the sound is, as a share of it.
    pub(super) novelty: f64,
    pub(super) likeness: [Likeness; STRINGS_MAX],
    /// The level of the strongest line that it added, decibels.
    pub(super) added_db: f64,
    pub(super) says: Says,
    /// What is believed of it from the plucks before.
    pub(super) belief: Belief,
    pub(super) weighed: bool,
    pub(super) verdict: Verdict,
    /// When its string began to sound, once that was sought, and which string that is.
    pub(super) begun: Option<(usize, u64)>,
    pub(super) foretold: bool,
    /// Whether nobody but the run tells of it.
    pub(super) claimed: bool,
    pub(super) told: bool,
}

impl Pluck {
    pub(super) const fn new(onset: u64, novelty: f64) -> Self {
        Self {
            onset,
            novelty,
            likeness: [Likeness::NONE; STRINGS_MAX],
            added_db: 0.0,
            says: Says::NOTHING,
            belief: Belief::ANY,
            weighed: false,
            verdict: Verdict {
                string: 0,
                sure: 0.0,
                none: 0.0,
            },
            begun: None,
            foretold: false,
            claimed: false,
            told: false,
        }
    }

    /// About its pitch, hertz.
    pub(super) fn hz(&self) -> f64 {
        self.likeness[self.verdict.string].hz
    }
}
