//! What is plucked in passing: strings that did not count, and strings that pedals or levers have raised.

use consort_proto::{Cents, StringNumber};

/// So many different strings in a row that did not count were plucked in passing, while no more than so many seconds lie
/// between one and the next (assumed).
const PASSED: usize = 2;
pub(crate) const PASSED_WITHIN_S: f64 = 4.5;
/// A string this far from its target, upwards or downwards, is no open string to be tuned, cents: a pedal or lever has raised it,
/// or the one below it, by a semitone or a whole tone, or it has slipped.
const ELSEWHERE: Cents = Cents(70.0);
/// For so long after two different strings stood so, seconds, others may sound like open strings that are none (assumed): then
/// what is plucked is music, until a string is plucked again and again.
const ELSEWHERE_WITHIN_S: f64 = 20.0;

/// A string that lies so far from where it was, nearly, cents, is another one: a pedal moves by a semitone or a whole tone, and a
/// key hardly ever does (assumed).
const PEDAL: [Cents; 2] = [Cents(100.0), Cents(200.0)];
const PEDAL_WITHIN: Cents = Cents(12.0);

/// Whether a string that seems to have moved by `leap` since it was last heard is another one, which a pedal has moved.
pub(crate) fn is_by_pedal(leap: Cents) -> bool {
    PEDAL
        .iter()
        .any(|pedal| Cents(leap.0.abs() - pedal.0).is_within(PEDAL_WITHIN))
}

/// Whether a string that stands `apart` from its target is not where any open string is tuned.
pub fn is_elsewhere(apart: Cents) -> bool {
    !apart.is_within(ELSEWHERE)
}

/// How many different strings in a row were read that did not count, the last one of them, and the last two that stood elsewhere.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Passing {
    strings: usize,
    last: Option<(f64, StringNumber)>,
    elsewhere: [Option<(f64, StringNumber)>; 2],
}

impl Passing {
    /// Whether a pluck at `onset_s` follows upon strings that were plucked in passing.
    pub(crate) fn goes_on_at(&self, onset_s: f64) -> bool {
        let lately = |elsewhere: &Option<(f64, StringNumber)>| {
            elsewhere.is_some_and(|(then_s, _)| (0.0..=ELSEWHERE_WITHIN_S).contains(&(onset_s - then_s)))
        };
        self.elsewhere.iter().all(lately) || self.strings >= PASSED && self.follows(onset_s)
    }

    /// A harmonic was plucked, which nobody tunes by: what follows upon it is music.
    pub(crate) fn harmonic(&mut self, onset_s: f64, string: StringNumber) {
        self.pass(onset_s, string);
        self.strings = self.strings.max(PASSED);
    }

    /// She plays: what comes after music is told by that.
    pub(crate) fn plays(&mut self) {
        (self.strings, self.last) = (0, None);
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

    /// `string` was plucked and stood where no open string does.
    pub(crate) fn elsewhere(&mut self, onset_s: f64, string: StringNumber) {
        let [_, newest] = self.elsewhere;
        if newest.is_some_and(|(_, newest)| newest == string) {
            self.elsewhere[1] = Some((onset_s, string));
        } else {
            self.elsewhere = [newest, Some((onset_s, string))];
        }
    }
}
