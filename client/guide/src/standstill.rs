//! Standstill: a string that does not move although its key is turned has the key on another pin.

use consort_proto::{Cents, Hz, Reading, StringNumber};

/// Plucks after the first that find a string where it was, before its pin is doubted: one turn may be too fine to hear.
const STILL_PLUCKS: u32 = 2;
/// Two plucks of a string that nobody turned lie no further apart than this, and their own doubt (measured on recorded
/// plucks); the finest turn of a hand moves it by more.
const STILL_WITHIN: Cents = Cents(0.5);
/// The live track wavers by this much around a string that stands still.
const TRACK_WITHIN: Cents = Cents(1.5);

/// A string that is off by this much is turned so far that it has moved by the next pluck, or the key is on another pin:
/// a pin that is turned in error must not go far unnoticed.
pub(crate) const FAR_OFF: Cents = Cents(20.0);

/// Counts the plucks of one string that find it where it was.
#[derive(Clone, Copy, Debug, Default)]
pub struct Standstill {
    /// The string, where it stood at the first of these plucks, and how many more have found it there.
    still: Option<(StringNumber, Hz, u32)>,
    /// Whether it is far off.
    far: bool,
}

impl Standstill {
    /// Takes in the reading of another pluck, and how far it was off: a string in tune, `None`, is not expected to move.
    pub fn hear(&mut self, reading: &Reading, off: Option<Cents>) {
        let (number, hz) = (reading.string, reading.hz);
        self.far = off.is_some_and(|cents| !cents.is_within(FAR_OFF));
        let within = Cents(STILL_WITHIN.0 + 2.0 * reading.sigma.0);
        self.still = match self.still {
            _ if off.is_none() => None,
            Some((string, first, plucks)) if string == number && hz.cents_above(first).is_within(within) => {
                Some((string, first, plucks.saturating_add(1)))
            }
            _ => Some((number, hz, 0)),
        };
    }

    /// Whether the string has stood still for several plucks, and still sounds like that.
    pub fn holds(&self, number: StringNumber, hz: Hz) -> bool {
        self.still.is_some_and(|(string, first, plucks)| {
            string == number
                && plucks >= if self.far { 1 } else { STILL_PLUCKS }
                && hz.cents_above(first).is_within(TRACK_WITHIN)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(string: u32, cents: f64, sigma: f64) -> Reading {
        let hz = Hz::new(440.0).expect("hertz").raised_by(Cents(cents));
        Reading::new(StringNumber::new(string).expect("a string"), hz, Cents(sigma)).expect("a reading")
    }

    /// Plucks of (string, cents), each known within a tenth of a cent, and whether string 9 then stands still at `now`.
    #[track_caller]
    fn check(plucks: &[(u32, f64)], now: f64, expected: bool) {
        let mut standstill = Standstill::default();
        for &(string, cents) in plucks {
            standstill.hear(&reading(string, cents, 0.1), (cents != 0.0).then_some(Cents(cents)));
        }
        let now = reading(9, now, 0.1);
        assert_eq!(standstill.holds(now.string, now.hz), expected, "after {plucks:?}");
    }

    #[test]
    fn three_plucks_at_one_pitch_are_a_standstill() {
        check(&[(9, -2.5), (9, -2.4)], -2.5, false);
        check(&[(9, -2.5), (9, -2.4), (9, -2.6)], -2.5, true);
    }

    #[test]
    fn a_string_that_moves_or_moved_between_does_not_stand_still() {
        check(&[(9, -2.5), (9, -1.5), (9, -1.6)], -1.5, false);
        check(&[(9, -2.5), (9, -2.4), (9, -2.6)], 0.0, false);
        check(&[(9, -0.2), (9, 0.0), (9, -0.2), (9, -0.1)], -0.1, false);
        // It creeps: no two neighbours are far apart, but it has come a long way since the first.
        check(&[(9, -2.5), (9, -2.0), (9, -1.5)], -1.5, false);
    }

    #[test]
    fn a_string_that_is_far_off_has_moved_by_the_next_pluck_or_stands_still() {
        check(&[(9, -42.0)], -42.0, false);
        check(&[(9, -42.0), (9, -42.1)], -42.0, true);
        check(&[(9, -42.0), (9, -25.0)], -25.0, false);
    }

    #[test]
    fn another_string_between_begins_anew() {
        check(&[(9, -2.5), (9, -2.4), (8, 0.0), (9, -2.6)], -2.5, false);
        check(&[(8, -2.5), (8, -2.4), (8, -2.6)], -2.5, false);
    }
}
