//! The course of the plucks: in a run each string lies beside the one before and is about as loud, and what else sounds falls
//! anywhere.

/// Plucks that are remembered.
const PLUCKS: usize = 12;
/// Plucks further apart than this, seconds, do not follow one another.
const FOLLOWS_S: f64 = 1.2;
/// What it is worth that a string lies beside the one plucked before it or after it, and that one between them is skipped,
/// nats: one string in 47 does so by chance, in runs nearly all of them. The same string again may be its own swell.
const BESIDE: f64 = 2.5;
const NEARLY: f64 = 1.5;
/// What it is worth besides that the step goes on in the direction of another one.
const ONWARD: f64 = 1.0;
/// All of it together is worth no more.
const MOST: f64 = 6.0;
/// A pluck that is this much softer than hers usually are, decibels, begins to be somebody else's, and by the second figure
/// it is: then no run speaks for it.
const SOFTER_DB: (f64, f64) = (4.0, 8.0);
/// Other strings, further than this from it, that sound within so many seconds and hardly softer are music or talk: each
/// speaks so much against it, nats, and all of them no more than the second figure.
const APART: i16 = 2;
const AMONG_S: f64 = 0.8;
const AMONG_DB: f64 = 8.0;
const AGAINST: (f64, f64) = (-2.0, -6.0);
/// Share of each pluck in what is usual.
const USUAL_SHARE: f64 = 0.15;
/// While none of hers is heard, so many decibels are forgotten in a second: she may have turned the gain down.
const FORGOTTEN_DB_PER_S: f64 = 0.05;

/// A pluck, as far as it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Known {
    onset: u64,
    string: i16,
    level_db: f64,
}

/// The newest plucks, oldest first, and how loud hers usually are.
pub(crate) struct Course {
    plucks: [Option<Known>; PLUCKS],
    /// What was usual when the last pluck of hers was heard, and when that was.
    usual: Option<(f64, u64)>,
    rate: f64,
}

impl Course {
    pub(crate) const fn new(rate: f64) -> Self {
        Self {
            plucks: [None; PLUCKS],
            usual: None,
            rate,
        }
    }

    /// The pluck at `onset` is taken for `string`; it may have been taken for another one before.
    pub(crate) fn note(&mut self, onset: u64, string: u8, level_db: f64) {
        let pluck = Known {
            onset,
            string: i16::from(string),
            level_db,
        };
        match self.plucks.iter_mut().flatten().find(|known| known.onset == onset) {
            Some(known) => *known = pluck,
            None => self.plucks[0] = Some(pluck),
        }
        self.sort();
    }

    /// The pluck at `onset` was none.
    pub(crate) fn forget(&mut self, onset: u64) {
        for pluck in &mut self.plucks {
            *pluck = pluck.filter(|known| known.onset != onset);
        }
        self.sort();
    }

    /// The pluck of hers at `onset` was this loud.
    pub(crate) fn heard_at(&mut self, onset: u64, level_db: f64) {
        let usual = self.usual.map_or(level_db, |(usual, _)| usual);
        self.usual = Some((usual + USUAL_SHARE * (level_db - usual), onset));
    }

    /// How much softer than hers usually are the pluck of this level at `onset` is, decibels; as loud while nothing is known.
    pub(crate) fn softer_db(&self, onset: u64, level_db: f64) -> f64 {
        self.usual.map_or(0.0, |(usual, last)| {
            let silent_s = onset.saturating_sub(last) as f64 / self.rate;
            usual - FORGOTTEN_DB_PER_S * silent_s - level_db
        })
    }

    /// How much the strings plucked around the pluck at `onset` speak for its string, nats; below zero against it.
    pub(crate) fn speaks_for(&self, onset: u64) -> f64 {
        let Some(own) = self.plucks.iter().flatten().find(|known| known.onset == onset) else {
            return 0.0;
        };
        let (loud, none) = SOFTER_DB;
        let believed = ((none - self.softer_db(own.onset, own.level_db)) / (none - loud)).clamp(0.0, 1.0);
        self.against(own) + believed * self.run(own)
    }

    /// What is not plucked one by one.
    fn against(&self, own: &Known) -> f64 {
        let among = self.plucks.iter().flatten().filter(|other| {
            self.apart_s(own, other) < AMONG_S
                && (own.string - other.string).abs() > APART
                && other.level_db > own.level_db - AMONG_DB
        });
        (AGAINST.0 * among.count() as f64).max(AGAINST.1)
    }

    /// What lies in a run.
    fn run(&self, own: &Known) -> f64 {
        let mut earlier = self
            .plucks
            .iter()
            .flatten()
            .rev()
            .filter(|known| known.onset < own.onset);
        let after = self.plucks.iter().flatten().find(|known| known.onset > own.onset);
        let (before, older) = (earlier.next(), earlier.next());
        let step = |from: Option<&Known>, to: Option<&Known>| {
            let (from, to) = (from?, to?);
            (self.apart_s(from, to) < FOLLOWS_S).then_some(to.string - from.string)
        };
        let (to, on, into) = (step(before, Some(own)), step(Some(own), after), step(older, before));
        let worth = |step: Option<i16>| match step.map(i16::abs) {
            Some(1) => BESIDE,
            Some(2) => NEARLY,
            _ => 0.0,
        };
        let onward = |a: Option<i16>, b: Option<i16>| match (a, b) {
            (Some(a), Some(b)) if a * b > 0 && a.abs() <= APART && b.abs() <= APART => ONWARD,
            _ => 0.0,
        };
        (worth(to) + worth(on) + onward(into, to) + onward(to, on)).min(MOST)
    }

    fn apart_s(&self, a: &Known, b: &Known) -> f64 {
        a.onset.abs_diff(b.onset) as f64 / self.rate
    }

    fn sort(&mut self) {
        self.plucks.sort_unstable_by_key(|pluck| pluck.map(|known| known.onset));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn course(strings: &[u8], every: u64, level_db: f64) -> Course {
        let mut course = Course::new(1000.0);
        for (number, string) in (1_u64..).zip(strings) {
            course.note(every * number, *string, level_db);
        }
        course
    }

    /// Strings half a second apart, the pluck that is asked about, and what the others are worth for it.
    #[test]
    fn a_run_speaks_for_the_strings_that_lie_in_it_and_music_against_its_own() {
        for (strings, at, least, most) in [
            (&[20, 21, 22, 23, 24][..], 2, MOST, MOST),
            (&[24, 23, 22, 21, 20], 2, MOST, MOST),
            (&[20, 21], 1, BESIDE, BESIDE),
            (&[20, 21, 23, 24], 2, 4.0, MOST),
            (&[7], 0, 0.0, 0.0),
            (&[7, 7], 1, 0.0, 0.0),
            (&[20, 31, 22], 1, -4.0, -4.0),
            (&[30, 12, 41, 5], 2, -4.0, -4.0),
        ] {
            let worth = course(strings, 500, -27.0).speaks_for(500 * (at + 1));
            assert!((least..=most).contains(&worth), "{strings:?}: {worth}");
        }
        assert_eq!(
            course(&[20, 31, 5], 1_000, -27.0).speaks_for(2_000),
            0.0,
            "plucked slowly"
        );
    }

    #[test]
    fn no_run_speaks_for_what_is_much_softer_than_her_plucks() {
        let mut soft = course(&[20, 21, 22, 23, 24], 500, -27.0);
        soft.heard_at(500, -25.0);
        assert_eq!(soft.speaks_for(1_500), MOST);
        soft.heard_at(500, 20.0);
        assert_eq!(
            soft.speaks_for(1_500),
            0.0,
            "{} dB softer",
            soft.softer_db(1_500, -27.0)
        );
        assert!(soft.softer_db(600_000, -27.0) < 0.0, "she plays softly now");
    }

    #[test]
    fn what_was_no_pluck_or_is_long_ago_says_nothing() {
        let mut course = course(&[20, 21], 500, -27.0);
        course.forget(500);
        assert_eq!(course.speaks_for(1_000), 0.0);
        course.note(3_000, 22, -27.0);
        assert_eq!(course.speaks_for(3_000), 0.0);
        course.note(1_000, 30, -27.0);
        course.note(1_500, 31, -27.0);
        assert_eq!(course.speaks_for(1_500), BESIDE);
    }
}
