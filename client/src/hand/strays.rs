//! Strings whose sound strays from their pitch by itself while they die away, as if a key turned them.
//!
//! One pluck cannot tell which it was. The next one can: a string whose pin was turned begins elsewhere.

use std::collections::BTreeMap;

use consort_proto::{Cents, Hz, StringNumber};

/// What is known of such strings.
#[derive(Clone, Debug, Default)]
pub(super) struct Strays {
    /// Where a string was measured last, and how far its sound was from there by then, while nobody knows why.
    doubted: BTreeMap<StringNumber, (Hz, Cents)>,
    /// How far the sound of a string has strayed by itself.
    known: BTreeMap<StringNumber, Cents>,
}

/// A string that is plucked again is where it was within this, cents (measured on recorded plucks beside others who warm up:
/// 0.3 at most).
const SAME_CENTS: f64 = 1.0;

impl Strays {
    /// `string` was measured at `hz`: if it is where it was, it strayed by itself.
    pub(super) fn measured(&mut self, string: StringNumber, hz: Hz) {
        let doubted = self.doubted.remove(&string);
        if let Some((before, strayed)) = doubted
            && hz.cents_above(before).is_within(Cents(SAME_CENTS))
        {
            let known = self.known.entry(string).or_insert(strayed);
            if strayed.0.abs() > known.0.abs() {
                *known = strayed;
            }
        }
    }

    /// `string` was measured at `hz` and sounds `strayed` from there; nothing tells whether it was turned.
    pub(super) fn doubt(&mut self, string: StringNumber, hz: Hz, strayed: Cents) {
        self.doubted.insert(string, (hz, strayed));
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

    /// What is allowed of string 13, upwards, once it was measured so after its sound had strayed by four cents.
    fn allowed_after(strings: &[(u32, f64)]) -> f64 {
        let mut strays = Strays::default();
        strays.doubt(string(13), hz(0.0), Cents(4.0));
        for &(number, cents) in strings {
            strays.measured(string(number), hz(cents));
        }
        strays.allows(string(13), Cents(3.5))
    }

    #[test]
    fn a_string_that_is_where_it_was_strays_by_itself() {
        assert_eq!(allowed_after(&[(13, 0.3)]), 4.0);
        assert_eq!(allowed_after(&[(12, 0.3), (13, -0.9)]), 4.0);
    }

    #[test]
    fn a_string_that_is_elsewhere_was_turned() {
        assert_eq!(allowed_after(&[]), 0.0);
        assert_eq!(allowed_after(&[(12, 0.0)]), 0.0);
        assert_eq!(allowed_after(&[(13, 4.0)]), 0.0);
        // Who brings it back has turned it all the same.
        assert_eq!(allowed_after(&[(13, 4.0), (13, 0.0)]), 0.0);
    }

    #[test]
    fn it_strays_one_way() {
        let mut strays = Strays::default();
        strays.doubt(string(13), hz(0.0), Cents(4.0));
        strays.measured(string(13), hz(0.0));
        assert_eq!(strays.allows(string(13), Cents(-3.5)), 0.0);
        assert_eq!(strays.allows(string(12), Cents(3.5)), 0.0);
        // As far as it has ever gone.
        strays.doubt(string(13), hz(0.0), Cents(3.2));
        strays.measured(string(13), hz(0.0));
        assert_eq!(strays.allows(string(13), Cents(1.0)), 4.0);
    }
}
