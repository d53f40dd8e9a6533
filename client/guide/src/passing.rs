//! What is plucked in passing: strings that did not count, and strings that pedals or levers have raised.

use consort_proto::{Cents, StringNumber};

/// So many different strings in a row that did not count were plucked in passing, while no more than so many seconds lie
/// between one and the next (assumed).
const PASSED: usize = 2;
pub(crate) const PASSED_WITHIN_S: f64 = 4.5;
/// A string this far from its target is no open string to be tuned, cents: a pedal or lever has raised it by a semitone, or
/// a whole tone.
const RAISED: Cents = Cents(70.0);
/// For so long after one that was raised, seconds, others may sound like open strings that are none (assumed): then what is
/// plucked is music, until a string is plucked again and again.
const RAISED_WITHIN_S: f64 = 20.0;

/// Whether a string that stands `apart` from its target, upwards or downwards, was raised by a pedal or a lever.
pub fn is_raised(apart: Cents) -> bool {
    !apart.is_within(RAISED)
}

/// How many different strings in a row were read that did not count, the last one of them, and when one was raised.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Passing {
    strings: usize,
    last: Option<(f64, StringNumber)>,
    raised_s: Option<f64>,
}

impl Passing {
    /// Whether a pluck at `onset_s` follows upon strings that were plucked in passing.
    pub(crate) fn goes_on_at(&self, onset_s: f64) -> bool {
        let raised = self
            .raised_s
            .is_some_and(|raised_s| onset_s - raised_s <= RAISED_WITHIN_S);
        raised || self.strings >= PASSED && self.follows(onset_s)
    }

    fn follows(&self, onset_s: f64) -> bool {
        self.last.is_some_and(|(last_s, _)| onset_s - last_s <= PASSED_WITHIN_S)
    }

    /// `string` was plucked and did not count.
    pub(crate) fn pass(&mut self, onset_s: f64, string: StringNumber) {
        let follows = self.follows(onset_s);
        let another = self.last.is_none_or(|(_, last)| last != string);
        self.strings = if follows {
            self.strings + usize::from(another)
        } else {
            1
        };
        self.last = Some((onset_s, string));
    }

    /// A string was plucked that pedals or levers have raised.
    pub(crate) const fn raised(&mut self, onset_s: f64) {
        self.raised_s = Some(onset_s);
    }
}
