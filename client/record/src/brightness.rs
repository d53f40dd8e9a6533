//! How bright a string is against itself when it was new, whatever pickup and hand make of all strings alike.

use std::collections::VecDeque;

use crate::robust;

/// One string's brightness since it was fitted, or first heard.
#[derive(Clone, Debug, Default)]
pub(crate) struct Brightness {
    /// Its first tunings.
    fresh: VecDeque<f64>,
    /// Its newest ones, newest last.
    newest: VecDeque<f64>,
}

/// So many tunings say how bright a string is: a finger that plucks elsewhere changes it by a decibel or two.
const TUNINGS: usize = 4;
/// What so many strings have in common is the pickup's, the hand's or the room's doing, and no string's.
const IN_COMMON: usize = 5;
/// Upper partials that have gone by so much are dull, decibels: assumed.
const DULL_DB: f64 = 5.0;
/// And by so many standard deviations of what tunings differ by: some hundred strings are looked at in a year.
const BEYOND_CHANCE: f64 = 4.0;
/// Tunings are taken to differ by at least this, decibels, one standard deviation.
const SPREAD_LEAST_DB: f64 = 1.0;

impl Brightness {
    /// A new string is on.
    pub(crate) fn renew(&mut self) {
        *self = Self::default();
    }

    fn fresh(&self) -> Option<f64> {
        middle(&self.fresh)
    }

    fn newest(&self) -> Option<f64> {
        middle(&self.newest)
    }

    fn take(&mut self, db: f64) {
        if self.fresh.len() < TUNINGS {
            self.fresh.push_back(db);
            return;
        }
        if self.newest.len() >= TUNINGS {
            self.newest.pop_front();
        }
        self.newest.push_back(db);
    }
}

/// The middle of enough tunings: a pluck of which nothing above was heard must not count for more than one.
fn middle(tunings: &VecDeque<f64>) -> Option<f64> {
    let mut levels: Vec<f64> = tunings.iter().copied().collect();
    (levels.len() >= TUNINGS).then(|| robust::median(&mut levels)).flatten()
}

/// Takes in what one tuning heard: each string's level of its upper partials against its lower ones, decibels.
pub(crate) fn take<'a>(heard: impl Iterator<Item = (&'a mut Brightness, f64)>) {
    let mut heard: Vec<_> = heard.collect();
    let mut apart: Vec<f64> = heard
        .iter()
        .filter_map(|(string, db)| Some(db - string.fresh()?))
        .collect();
    let common = if apart.len() >= IN_COMMON {
        robust::median(&mut apart).unwrap_or(0.0)
    } else {
        0.0
    };
    for (string, db) in &mut heard {
        string.take(*db - common);
    }
}

/// How much less of its upper partials `string` has than when it was new, decibels, if it has grown dull; tunings differ
/// by `spread`.
pub(crate) fn dull_db(string: &Brightness, spread: f64) -> Option<f64> {
    let db = string.fresh()? - string.newest()?;
    // The middle of normal errors is uncertain by a quarter more than their mean.
    let chance = BEYOND_CHANCE * spread * 1.25 * (2.0 / TUNINGS as f64).sqrt();
    (db >= DULL_DB.max(chance)).then_some(db)
}

/// How much a string's brightness differs from one tuning to the next, decibels, by all of `strings`.
pub(crate) fn spread<'a>(strings: impl Iterator<Item = &'a Brightness>) -> f64 {
    let steps = strings.flat_map(|string| {
        let after = string.newest.iter().skip(1);
        string.newest.iter().zip(after).map(|(before, after)| after - before)
    });
    let differs = robust::spread(steps).unwrap_or(0.0) / std::f64::consts::SQRT_2;
    differs.max(SPREAD_LEAST_DB)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is said of the last of `strings` strings after tunings in which they sound as `db(tuning, string)`.
    fn said(strings: usize, tunings: usize, db: impl Fn(usize, usize) -> f64) -> Option<f64> {
        let mut all = vec![Brightness::default(); strings];
        for tuning in 0..tunings {
            take(all.iter_mut().enumerate().map(|(string, track)| {
                // A hand that is never the same, with no chance in it.
                let hand = [1.1, -0.6, 0.2, -1.3, 0.9, -0.3][(5 * tuning + 7 * string) % 6];
                (track, -20.0 + hand + db(tuning, string))
            }));
        }
        dull_db(all.last()?, spread(all.iter()))
    }

    #[test]
    fn a_string_that_loses_its_upper_partials_is_dull() {
        let loses = |tuning, string| if tuning >= 6 && string == 11 { -8.0 } else { 0.0 };
        let db = said(12, 14, loses).expect("dull");
        assert!((db - 8.0).abs() < 1.5, "{db}");
        assert_eq!(said(12, 7, loses), None);
        assert_eq!(said(12, 40, |_, _| 0.0), None);
    }

    #[test]
    fn another_pickup_makes_no_string_dull() {
        assert_eq!(said(12, 14, |tuning, _| if tuning >= 6 { -9.0 } else { 0.0 }), None);
        let both = |tuning, string| match (tuning >= 6, string == 11) {
            (true, true) => -18.0,
            (true, false) => -9.0,
            _ => 0.0,
        };
        let db = said(12, 14, both).expect("dull");
        assert!((db - 9.0).abs() < 1.5, "{db}");
    }

    #[test]
    fn a_restless_harp_has_to_lose_more() {
        let wild = |tuning: usize, string: usize| 6.0 * [1.0, -1.0, 0.5, -0.7][(3 * tuning + string) % 4];
        let loses = |tuning, string| wild(tuning, string) - if tuning >= 6 && string == 11 { 7.0 } else { 0.0 };
        assert_eq!(said(12, 14, loses), None);
    }
}
