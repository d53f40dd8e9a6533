//! How loud the plucks of this harp usually are, so that another harp beside it is told by being softer.

use crate::context::STRINGS_MAX;

/// A string is compared with those that were plucked within an octave of it, since a pickup hears one end of the harp softer
/// than the other.
const NEAR: usize = 7;
/// Share of each pluck in what is usual for its string, and for the harp.
const SHARE: f64 = 0.4;
const HARP_SHARE: f64 = 0.15;
/// While no pluck of the harp is heard, so many decibels are forgotten in a second: the gain may have been turned down.
const FORGOTTEN_DB_PER_S: f64 = 0.05;

/// The levels of settled plucks.
pub(crate) struct Loudness {
    strings: [Option<f64>; STRINGS_MAX + 1],
    /// The level of all of them, and when the last one was.
    harp: Option<(f64, u64)>,
    rate: f64,
}

impl Loudness {
    pub(crate) const fn new(rate: f64) -> Self {
        Self {
            strings: [None; STRINGS_MAX + 1],
            harp: None,
            rate,
        }
    }

    /// The harp's `string` was plucked at `onset`, this loud.
    pub(crate) fn heard(&mut self, string: u8, onset: u64, level_db: f64) {
        if let Some(usual) = self.strings.get_mut(usize::from(string)) {
            *usual = Some(usual.map_or(level_db, |usual| usual + SHARE * (level_db - usual)));
        }
        let usual = self.harp.map_or(level_db, |(usual, _)| usual);
        self.harp = Some((usual + HARP_SHARE * (level_db - usual), onset));
    }

    /// `string` was taken by hand and is the harp's however soft: the gain was turned, for all strings alike.
    pub(crate) fn turn_to(&mut self, string: u8, onset: u64, level_db: f64) {
        let moved = -self.softer_db(string, onset, level_db).max(0.0);
        self.strings.iter_mut().flatten().for_each(|usual| *usual += moved);
        if let Some((usual, _)) = &mut self.harp {
            *usual += moved;
        }
    }

    /// How much softer than usual a pluck of this level at `onset` is, decibels; as loud while nothing is known.
    pub(crate) fn softer_db(&self, string: u8, onset: u64, level_db: f64) -> f64 {
        self.harp.map_or(0.0, |(harp, last)| {
            let silent_s = onset.saturating_sub(last) as f64 / self.rate;
            self.near(string).unwrap_or(harp) - FORGOTTEN_DB_PER_S * silent_s - level_db
        })
    }

    /// What is usual for the strings around this one.
    fn near(&self, string: u8) -> Option<f64> {
        let string = usize::from(string);
        let near = string.saturating_sub(NEAR)..(string + NEAR + 1).min(self.strings.len());
        let known = || self.strings[near.clone()].iter().flatten();
        let count = known().count();
        (count > 0).then(|| known().sum::<f64>() / count as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pluck_is_compared_with_those_of_its_own_octave() {
        let mut loudness = Loudness::new(1000.0);
        assert_eq!(loudness.softer_db(20, 0, -60.0), 0.0, "nothing is known");
        for string in 18..25 {
            loudness.heard(string, 1_000, -20.0);
        }
        for string in 42..47 {
            loudness.heard(string, 2_000, -34.0);
        }
        assert_eq!(loudness.softer_db(20, 2_000, -32.0), 12.0);
        assert_eq!(loudness.softer_db(44, 2_000, -36.0), 2.0, "the bass is softer");
        let harp = loudness.softer_db(2, 2_000, -36.0);
        assert!((2.0..16.0).contains(&harp), "{harp}: nothing near it was plucked");
    }

    #[test]
    fn what_is_usual_follows_her_and_is_forgotten_slowly() {
        let mut loudness = Loudness::new(1000.0);
        loudness.heard(20, 0, -20.0);
        assert!(loudness.softer_db(20, 300_000, -34.0) < 0.0, "five minutes of silence");
        for _ in 0..10 {
            loudness.heard(20, 1_000, -30.0);
        }
        assert!(loudness.softer_db(20, 1_000, -30.0) < 0.1);
    }

    #[test]
    fn one_string_that_is_taken_by_hand_tells_that_the_gain_was_turned_down() {
        let mut loudness = Loudness::new(1000.0);
        for string in 1..48 {
            loudness.heard(string, 1_000, -20.0);
        }
        loudness.turn_to(20, 1_000, -34.0);
        assert!(
            [5, 20, 40]
                .iter()
                .all(|string| loudness.softer_db(*string, 1_000, -34.0).abs() < 1e-9)
        );
        loudness.turn_to(20, 1_000, -14.0);
        assert_eq!(loudness.softer_db(5, 1_000, -34.0), 0.0, "a louder one is only loud");
    }
}
