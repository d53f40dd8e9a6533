//! Strings whose sound strays from their pitch by itself while they die away, as if a key turned them.
//!
//! One pluck cannot tell which it was. The next one can: a string whose pin was turned begins elsewhere.

use std::collections::BTreeMap;

use consort_proto::{Cents, Hz, StringNumber};

/// What is known of such strings.
#[derive(Clone, Debug, Default)]
pub(super) struct Strays {
    /// The newest pluck of each string, once it was measured.
    newest: BTreeMap<StringNumber, Measured>,
    /// How far the sound of a string has strayed by itself.
    known: BTreeMap<StringNumber, Cents>,
}

#[derive(Clone, Copy, Debug)]
struct Measured {
    onset_s: f64,
    hz: Hz,
    /// How far its sound was from there since, at most; `None` before it is heard.
    strayed: Option<Cents>,
    /// Whether that was taken for a turn.
    doubted: bool,
}

/// A string that is plucked again is where it was within this, cents (measured on recorded plucks beside others who warm up:
/// 0.3 at most), if it is known as well.
const SAME_CENTS: f64 = 1.0;
const SURE_CENTS: f64 = 0.5;
/// Plucks further apart than this, seconds, do not tell of each other: a pin may have slipped back.
const APART_S: f64 = 20.0;
/// A string that was never further from its pitch than this, cents, does not stray.
const STILL_CENTS: f64 = 1.5;
/// No more than this is allowed for, cents: further, and with all its partials, only a key takes a string.
const ALLOWED_MOST_CENTS: f64 = 6.0;

impl Strays {
    /// Another sound begins, whose times start over.
    pub(super) fn begin_sound(&mut self) {
        self.newest.clear();
    }

    /// The pluck of `string` at `onset_s` was measured at `hz`: if it is where it was, what its sound did was its own.
    pub(super) fn measured(&mut self, string: StringNumber, onset_s: f64, hz: Hz, sigma: Cents) {
        let measured = Measured {
            onset_s,
            hz,
            strayed: None,
            doubted: false,
        };
        if !sigma.is_within(Cents(SURE_CENTS)) {
            self.newest.remove(&string);
            return;
        }
        let Some((before, strayed)) = self
            .newest
            .insert(string, measured)
            .and_then(|before| Some((before, before.strayed?)))
        else {
            return;
        };
        let is_same = hz.cents_above(before.hz).is_within(Cents(SAME_CENTS));
        if strayed.is_within(Cents(STILL_CENTS)) {
            self.known.remove(&string);
        } else if before.doubted && is_same && onset_s - before.onset_s <= APART_S {
            let most = strayed.0.clamp(-ALLOWED_MOST_CENTS, ALLOWED_MOST_CENTS);
            self.known.insert(string, Cents(most));
        }
    }

    /// The newest pluck of `string` says nothing about where it is.
    pub(super) fn forget(&mut self, string: StringNumber) {
        self.newest.remove(&string);
    }

    /// The pluck at `onset_s` is heard at `hz`.
    pub(super) fn heard(&mut self, string: StringNumber, onset_s: f64, hz: Hz) {
        if let Some(newest) = self.newest.get_mut(&string).filter(|newest| newest.onset_s == onset_s) {
            let strayed = hz.cents_above(newest.hz);
            if newest.strayed.is_none_or(|most| strayed.abs().0 > most.abs().0) {
                newest.strayed = Some(strayed);
            }
        }
    }

    /// What is heard of the pluck at `onset_s` is taken for a turn.
    pub(super) fn doubt(&mut self, string: StringNumber, onset_s: f64) {
        if let Some(newest) = self.newest.get_mut(&string).filter(|newest| newest.onset_s == onset_s) {
            newest.doubted = true;
        }
    }

    /// How far beyond what else is usual, cents, the sound of `string` may be this way from where it was measured.
    pub(super) fn allows(&self, string: StringNumber, strayed: Cents) -> f64 {
        let known = self.known.get(&string).filter(|known| known.0 * strayed.0 > 0.0);
        known.map_or(0.0, |known| known.0.abs())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn string(number: u32) -> StringNumber {
        StringNumber::new(number).expect("a string")
    }

    fn hz(cents: f64) -> Hz {
        Hz::new(740.0).expect("hertz").raised_by(Cents(cents))
    }

    /// A pluck of a string: when, where it is measured, and how far its sound strays from there; one that strays by three cents
    /// more than is allowed is taken for turned.
    fn pluck(strays: &mut Strays, number: u32, onset_s: f64, at: f64, by: f64) {
        strays.measured(string(number), onset_s, hz(at), Cents(0.2));
        strays.heard(string(number), onset_s, hz(at + by));
        if by.abs() > 3.0 + strays.allows(string(number), Cents(by)) {
            strays.doubt(string(number), onset_s);
        }
    }

    /// What is allowed of string 13, upwards and downwards, after these plucks of it.
    #[track_caller]
    fn check(plucks: &[(f64, f64, f64)], expected: [f64; 2]) {
        let mut strays = Strays::default();
        for &(onset_s, at, by) in plucks {
            pluck(&mut strays, 13, onset_s, at, by);
        }
        let allowed = [3.5, -3.5].map(|by| strays.allows(string(13), Cents(by)));
        for (allowed, expected) in allowed.into_iter().zip(expected) {
            assert!((allowed - expected).abs() < 1e-6, "{allowed} {expected}");
        }
    }

    #[test]
    fn a_string_that_is_where_it_was_strays_by_itself() {
        check(&[(0.0, 0.0, 4.0)], [0.0, 0.0]);
        check(&[(0.0, 0.0, 4.0), (3.0, 0.3, 4.0)], [4.0, 0.0]);
        check(&[(0.0, 0.0, -4.0), (3.0, 0.3, -4.0)], [0.0, 4.0]);
        // No further than any string would.
        check(&[(0.0, 0.0, 11.0), (3.0, 0.3, 4.0)], [6.0, 0.0]);
    }

    #[test]
    fn a_string_that_is_elsewhere_was_turned() {
        check(&[(0.0, 0.0, 4.0), (3.0, 4.0, 0.5)], [0.0, 0.0]);
        // Who brings it back has turned it all the same.
        check(&[(0.0, 0.0, 4.0), (3.0, 4.0, 0.5), (6.0, 0.0, 0.5)], [0.0, 0.0]);
        // Meanwhile a pin may have slipped back.
        check(&[(0.0, 0.0, 4.0), (30.0, 0.0, 4.0)], [0.0, 0.0]);
    }

    #[test]
    fn a_string_that_strays_no_more_has_been_turned_back() {
        check(&[(0.0, 0.0, 4.0), (3.0, 0.0, 0.5), (6.0, 0.0, 0.5)], [0.0, 0.0]);
        check(
            &[(0.0, 0.0, 4.0), (3.0, 0.0, 3.5), (6.0, 0.0, 3.8), (90.0, 0.0, 4.0)],
            [4.0, 0.0],
        );
    }

    #[test]
    fn what_says_nothing_tells_nothing() {
        type Between = fn(&mut Strays);
        let between: [(Between, f64); 4] = [
            (|_| {}, 4.0),
            (|strays| strays.forget(string(13)), 0.0),
            (Strays::begin_sound, 0.0),
            (|strays| strays.measured(string(13), 2.0, hz(0.0), Cents(2.0)), 0.0),
        ];
        for (between, expected) in between {
            let mut strays = Strays::default();
            pluck(&mut strays, 13, 0.0, 0.0, 4.0);
            pluck(&mut strays, 12, 1.0, 0.0, 0.0);
            between(&mut strays);
            pluck(&mut strays, 13, 3.0, 0.0, 4.0);
            assert_eq!(strays.allows(string(13), Cents(3.5)).round(), expected);
            assert_eq!(strays.allows(string(12), Cents(3.5)), 0.0);
        }
    }
}
