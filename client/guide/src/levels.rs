//! How loud this harp is in the readings that counted, so that another harp in the room is told by being softer.

use consort_proto::StringNumber;

/// A string is compared with those that counted within an octave of it, since a pickup hears one end of the harp softer than
/// the other; where there is none, with the nearest of all.
const NEAR: u8 = 7;
/// Share of a pluck in what is usual for its string, and of a louder one in what is usual for all: the gain may have been
/// turned up. That it was turned down is not believed of a pluck, which another harp's may be.
const SHARE: f64 = 0.4;
const SHARE_OF_ALL: f64 = 0.3;

/// The levels of plucks that counted, decibels below full scale, string by string.
#[derive(Clone, Debug, Default)]
pub(crate) struct Levels {
    known: Vec<(StringNumber, f64)>,
}

impl Levels {
    /// `string` counted, this loud.
    pub(crate) fn count(&mut self, string: StringNumber, level_dbfs: f64) {
        if !level_dbfs.is_finite() {
            return;
        }
        let louder = -self.softer_db(string, level_dbfs).min(0.0);
        for (_, level) in &mut self.known {
            *level += SHARE_OF_ALL * louder;
        }
        match self.known.iter_mut().find(|(known, _)| *known == string) {
            Some((_, level)) => *level += SHARE * (level_dbfs - *level),
            None => self.known.push((string, level_dbfs)),
        }
    }

    /// The gain was turned until `string` sounds as loud as this.
    pub(crate) fn turn_to(&mut self, string: StringNumber, level_dbfs: f64) {
        let moved = -self.softer_db(string, level_dbfs);
        if moved.is_finite() {
            self.known.iter_mut().for_each(|(_, level)| *level += moved);
        }
    }

    /// How much softer than usual a pluck of `string` is, decibels; as loud while nothing is known.
    pub(crate) fn softer_db(&self, string: StringNumber, level_dbfs: f64) -> f64 {
        self.usual(string).map_or(0.0, |usual| usual - level_dbfs)
    }

    /// What is usual for `string`: what it was itself, or those around it.
    fn usual(&self, string: StringNumber) -> Option<f64> {
        if let Some((_, own)) = self.known.iter().find(|(known, _)| *known == string) {
            return Some(*own);
        }
        let away = |known: StringNumber| known.get().abs_diff(string.get());
        let nearest = self.known.iter().map(|(known, _)| away(*known)).min()?;
        let reach = nearest.max(NEAR);
        let near = || self.known.iter().filter(|(known, _)| away(*known) <= reach);
        Some(near().map(|(_, level)| level).sum::<f64>() / near().count() as f64)
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
    fn a_gain_that_was_turned_up_is_learnt_and_one_that_was_turned_down_is_told() {
        let mut levels = Levels::default();
        for number in 1..=47 {
            levels.count(string(number), -30.0);
        }
        for number in 10..=14 {
            levels.count(string(number), -20.0);
        }
        assert!(levels.softer_db(string(40), -20.0) > -3.0);
        for number in 10..=14 {
            levels.count(string(number), -30.0);
        }
        assert!(levels.softer_db(string(40), -30.0) > 6.0);
        levels.turn_to(string(12), -30.0);
        assert!(levels.softer_db(string(40), -30.0).abs() < 4.0);
        // A level that is none is no level.
        levels.count(string(40), f64::NAN);
        levels.turn_to(string(40), f64::NEG_INFINITY);
        assert!(levels.softer_db(string(40), -30.0).abs() < 4.0);
    }
}
