//! New strings in steps: a string that was just put on is brought up by and by, and stands in between.

use consort_proto::{Cents, StringNumber};
use consort_words::{Arg, Key};

use crate::Phrase;
use crate::ways::Ways;

/// One step on a new string's way up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Step {
    /// Its place among the steps.
    pub(crate) place: usize,
    /// Where it ends, above the target.
    pub(crate) at: Cents,
}

/// A whole tone low first, then a semitone, then the pitch (common practice: a tone low for a whole new set).
const STEPS: [Cents; 3] = [Cents(-200.0), Cents(-100.0), Cents(0.0)];
/// A step is reached this near: what stretches is not worth more.
const REACHED_WITHIN: Cents = Cents(20.0);

impl Step {
    /// The step that ends at the pitch.
    pub(crate) const LAST: Self = Self {
        place: STEPS.len() - 1,
        at: STEPS[STEPS.len() - 1],
    };

    /// The step that a string is on that stands `cents` above its target and has taken so many.
    pub(crate) fn of(cents: Cents, taken: usize) -> Self {
        let ahead = STEPS.iter().copied().enumerate().skip(taken);
        let step = ahead.map(|(place, at)| Self { place, at });
        step.into_iter()
            .find(|step| cents.0 < step.at.0 + REACHED_WITHIN.0)
            .unwrap_or(Self::LAST)
    }

    /// Whether a string that stands `cents` above its target has reached it, and it is not the last.
    pub(crate) fn is_at(self, cents: Cents) -> bool {
        self != Self::LAST && (cents - self.at).is_within(REACHED_WITHIN)
    }

    /// What is said once it is reached.
    pub(crate) fn reached(self) -> Phrase {
        self.phrase(Key::WhyNewReached)
    }

    /// What is said on the way to it.
    pub(crate) fn ahead(self) -> Phrase {
        self.phrase(Key::WhyNewAhead)
    }

    fn phrase(self, key: Key) -> Phrase {
        let semitones = (-self.at.0 / 100.0).round() as u64;
        Phrase {
            key,
            args: vec![("semitones", Arg::from(semitones))],
        }
    }
}

impl Ways {
    /// How many steps the new string has taken.
    pub(crate) fn taken(&self, string: StringNumber) -> usize {
        self.steps.get(&string).copied().unwrap_or_default()
    }

    /// A new string is left where it is, so far above its target: the step that it is at is taken.
    pub fn leave_new(&mut self, string: StringNumber, cents: Cents) {
        let step = Step::of(cents, self.taken(string));
        if step.is_at(cents) {
            self.steps.insert(string, step.place + 1);
        }
    }
}
