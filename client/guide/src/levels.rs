//! How loud this harp is in the readings that counted, so that another harp in the room is told by being softer.

use consort_proto::StringNumber;

/// A string is compared with those that counted within an octave of it, since a pickup hears one end of the harp softer than
/// the other; where there is none, with the nearest of all.
const NEAR: u8 = 7;
/// How much strings of one harp differ from those around them, one standard deviation, and so much more for each string that
/// they lie further away than an octave; how much plucks of one string differ, decibels.
const SPREAD_DB: f64 = 3.3;
const FURTHER_DB: f64 = 0.12;
const OWN_SPREAD_DB: f64 = 2.2;
/// Share of what a string was itself in what is usual for it.
const OWN_SHARE: f64 = 0.8;
/// Share of a pluck in what its string was before.
const SHARE: f64 = 0.4;
/// Share of each pluck, which is this much louder or softer at most, decibels, in what is usual for all strings.
const GAIN_SHARE: f64 = 0.15;
const GAIN_AT_MOST_DB: f64 = 6.0;
/// Of what was taken by hand beside strings that are known, so much is her chair or the gain, and the rest that string.
const TURNED_SHARE: f64 = 0.7;
/// Two plucks in a row that are so much louder than usual, decibels, say that the gain was turned up, by what the lesser of
/// them says. That it was turned down is believed slowly of plucks, which another harp's may be.
const TURNED_UP_DB: f64 = 6.0;

/// The levels of plucks that counted, decibels below full scale, string by string.
#[derive(Clone, Debug, Default)]
pub(crate) struct Levels {
    known: Vec<(StringNumber, f64)>,
    /// How many plucks have counted.
    plucks: usize,
    /// How much louder than usual the last pluck was, decibels.
    louder: f64,
}

impl Levels {
    /// `string` counted, this loud.
    pub(crate) fn count(&mut self, string: StringNumber, level_dbfs: f64) {
        if !level_dbfs.is_finite() {
            return;
        }
        self.plucks += 1;
        let louder = -self.softer_db(string, level_dbfs);
        let turned = louder.min(self.louder);
        self.louder = louder;
        if turned > TURNED_UP_DB {
            self.known.iter_mut().for_each(|(_, level)| *level += turned);
            self.louder = 0.0;
        }
        // What all strings have in common is her chair, her hand or the gain.
        let common = -GAIN_SHARE
            * self
                .softer_db(string, level_dbfs)
                .clamp(-GAIN_AT_MOST_DB, GAIN_AT_MOST_DB);
        self.known.iter_mut().for_each(|(_, level)| *level += common);
        match self.known.iter_mut().find(|(known, _)| *known == string) {
            Some((_, level)) => *level += SHARE * (level_dbfs - *level),
            None => self.known.push((string, level_dbfs)),
        }
    }

    /// `string` is this harp's, however soft: the gain was turned down, or where nothing was heard of the string before, it is
    /// one that the pickup hears softer.
    pub(crate) fn turn_to(&mut self, string: StringNumber, level_dbfs: f64) {
        if !level_dbfs.is_finite() {
            return;
        }
        match self.known.iter().find(|(known, _)| *known == string) {
            Some((_, own)) => {
                let moved = level_dbfs - own;
                self.known.iter_mut().for_each(|(_, level)| *level += moved);
            }
            None => {
                if self
                    .known
                    .iter()
                    .any(|(known, _)| known.get().abs_diff(string.get()) <= NEAR)
                {
                    let moved = -TURNED_SHARE * self.softer_db(string, level_dbfs);
                    self.known.iter_mut().for_each(|(_, level)| *level += moved);
                }
                self.known.push((string, level_dbfs));
            }
        }
    }

    /// How many plucks have counted.
    pub(crate) const fn plucks(&self) -> usize {
        self.plucks
    }

    /// How much softer than usual a pluck of `string` is, decibels; as loud while nothing is known.
    pub(crate) fn softer_db(&self, string: StringNumber, level_dbfs: f64) -> f64 {
        self.usual(string).map_or(0.0, |(usual, _)| usual - level_dbfs)
    }

    /// What is usual for `string`, decibels below full scale, and how much that may differ from the next pluck, one standard
    /// deviation: most of it is what it was itself, if that is known, and the rest what those around it were.
    pub(crate) fn usual(&self, string: StringNumber) -> Option<(f64, f64)> {
        let away = |known: StringNumber| known.get().abs_diff(string.get());
        let nearest = self.known.iter().map(|(known, _)| away(*known)).min()?;
        let reach = nearest.max(NEAR);
        let near = || self.known.iter().filter(|(known, _)| away(*known) <= reach);
        let around = near().map(|(_, level)| level).sum::<f64>() / near().count() as f64;
        let own = near().find(|(known, _)| *known == string);
        let further = f64::from(nearest.saturating_sub(NEAR));
        Some(own.map_or((around, SPREAD_DB + FURTHER_DB * further), |(_, own)| {
            (OWN_SHARE * own + (1.0 - OWN_SHARE) * around, OWN_SPREAD_DB)
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn string(number: u32) -> StringNumber {
        StringNumber::new(number).expect("a string")
    }

    #[test]
    fn a_pluck_is_compared_with_those_of_its_own_octave_or_the_nearest() {
        let mut levels = Levels::default();
        assert_eq!(levels.softer_db(string(20), -60.0), 0.0, "nothing is known");
        for number in 18..25 {
            levels.count(string(number), -20.0);
        }
        levels.known.push((string(44), -34.0));
        assert_eq!(levels.softer_db(string(20), -32.0), 12.0);
        assert_eq!(levels.softer_db(string(45), -36.0), 2.0, "the bass is softer");
        assert_eq!(levels.softer_db(string(1), -22.0), 2.0, "the nearest ones");
    }

    #[test]
    fn a_gain_that_was_turned_up_is_learnt_at_once_and_one_that_was_turned_down_slowly_or_when_told() {
        let mut levels = Levels::default();
        for number in 1..=47 {
            levels.count(string(number), -30.0);
        }
        levels.count(string(10), -18.0);
        assert!(levels.softer_db(string(40), -30.0).abs() < 1.0, "one pluck may be loud");
        levels.count(string(11), -20.0);
        assert!(levels.softer_db(string(40), -20.0).abs() < 2.0);
        for number in 10..=14 {
            levels.count(string(number), -30.0);
        }
        assert!((3.0..6.0).contains(&levels.softer_db(string(40), -30.0)));
        levels.turn_to(string(40), -30.0);
        assert!(levels.softer_db(string(30), -30.0).abs() < 1.0);
        // A level that is none is no level.
        levels.count(string(40), f64::NAN);
        levels.turn_to(string(40), f64::NEG_INFINITY);
        assert!(levels.softer_db(string(30), -30.0).abs() < 1.0);
    }

    #[test]
    fn a_string_that_the_pickup_hears_softer_moves_no_other() {
        let mut levels = Levels::default();
        for number in 18..25 {
            levels.count(string(number), -20.0);
        }
        levels.turn_to(string(44), -34.0);
        assert!(levels.softer_db(string(20), -20.0).abs() < 1e-9);
        assert!(levels.softer_db(string(44), -34.0).abs() < 1e-9);
        levels.count(string(21), -20.0);
        assert!(levels.softer_db(string(44), -34.0).abs() < 1e-9);
    }

    /// Fingers are uneven, and strings differ: hers are heard out all the same, again and again.
    #[test]
    fn walks_over_an_uneven_harp_are_hers() {
        let mut levels = Levels::default();
        let mut seed = 1_u32;
        let mut scatter = |reach: f64| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            reach * (f64::from(seed >> 8) / f64::from(1_u32 << 23) - 1.0)
        };
        let own: Vec<f64> = (1..=47)
            .map(|number| -20.0 - 0.25 * f64::from(number) + scatter(2.0))
            .collect();
        let mut softest = f64::NEG_INFINITY;
        for _ in 0..4 {
            for (number, own) in (1..=47).zip(&own) {
                let level = own + scatter(2.5);
                softest = softest.max(levels.softer_db(string(number), level));
                levels.count(string(number), level);
            }
        }
        assert!(softest < 7.0, "{softest}");
        assert!(softest > 2.0, "the harp is even: {softest}");
    }
}
