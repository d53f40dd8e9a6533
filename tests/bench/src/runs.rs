//! What became of the plucks of runs, whatever sounded: counted, and held against the goals.

use consort_analysis::Reading;
use consort_proto::{Hz, SampleRate, StringNumber};

use crate::evening::memory::Memory;
use crate::figures::Figures;
use crate::report;
use crate::statistics::{percent, quantile};

/// Her fingers are this uneven, as a share of the time from one pluck to the next and in loudness, one standard deviation.
pub(crate) const UNEVEN: f64 = 0.06;
pub(crate) const LOUDNESS_SPREAD: f64 = 0.15;
/// So often she does not pluck the string that is next.
pub(crate) const WRONG: f64 = 0.03;
/// How far strings have moved since they were last heard, cents, one standard deviation.
pub(crate) const MOVED_CENTS: f64 = 2.0;
/// The run begins this long after the sound, and is listened to so long after its last pluck, seconds.
pub(crate) const LEAD_S: f64 = 1.0;
pub(crate) const TAIL_S: f64 = 3.0;
/// A reading belongs to the pluck whose moment lies this near, seconds; one that names a string that was plucked around then
/// is of that pluck, so far away: recorded low strings take a tenth of a second to rise.
const NEAR_S: f64 = 0.06;
const NEAR_OWN_S: f64 = 0.12;

/// How runs are played: plucks a second, how many of a hundred may be lost, and whether others play in the room, so many
/// decibels softer than a pluck.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pace {
    pub(crate) rate_hz: f64,
    pub(crate) lost: f64,
    pub(crate) others_db: Option<f64>,
}

/// The paces that are measured.
pub(crate) const PACES: [Pace; 4] = [
    Pace::quiet(2.0, 1.0),
    Pace::quiet(4.0, 1.0),
    Pace::quiet(6.0, 3.0),
    Pace {
        others_db: Some(20.0),
        ..Pace::quiet(4.0, 1.0)
    },
];

impl Pace {
    const fn quiet(rate_hz: f64, lost: f64) -> Self {
        Self {
            rate_hz,
            lost,
            others_db: None,
        }
    }

    pub(crate) fn name(self) -> String {
        let others = self.others_db;
        let others = others.map_or(String::new(), |db| format!(", among others {db} dB softer"));
        format!("{} a second{others}", self.rate_hz)
    }
}

/// A pluck, as it truly was.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Plucked {
    pub(crate) at_s: f64,
    pub(crate) string: StringNumber,
    pub(crate) hz: Hz,
}

/// What became of the plucks of runs.
#[derive(Debug, Default)]
pub(crate) struct Tally {
    plucks: usize,
    /// Settled as the string that they were.
    identified: usize,
    /// Named rightly, with or without a doubt.
    named: usize,
    /// Settled as another string.
    wrong: usize,
    /// Settled where nothing was plucked.
    strangers: usize,
    /// Distance from the truth of those that were identified, cents.
    errors: Vec<f64>,
    /// How many of these lie within one stated sigma, and within two.
    within: [usize; 2],
    /// Whether each pluck that was not identified is told.
    each: bool,
}

impl Tally {
    /// Nothing was played yet; what fails is told if `each` is.
    pub(crate) fn new(each: bool) -> Self {
        Self {
            each,
            ..Self::default()
        }
    }

    /// Counts what `memory` has heard of a run called `name`; its sound had this rate.
    pub(crate) fn judge(&mut self, memory: &Memory, truth: &[Plucked], rate: SampleRate, name: &str) {
        self.plucks += truth.len();
        let of = |reading: &Reading| {
            let apart_s = |at: &usize| (truth[*at].at_s - reading.onset.seconds(rate)).abs();
            let nearest = |some: &dyn Fn(&usize) -> bool, near_s: f64| {
                let at = (0..truth.len())
                    .filter(some)
                    .min_by(|a, b| apart_s(a).total_cmp(&apart_s(b)))?;
                (apart_s(&at) < near_s).then_some(at)
            };
            nearest(&|at| truth[*at].string.get() == reading.string, NEAR_OWN_S).or_else(|| nearest(&|_| true, NEAR_S))
        };
        let mut answered = vec![false; truth.len()];
        let (mut named, mut identified) = (answered.clone(), answered.clone());
        for (reading, doubt) in &memory.answers {
            let onset_s = reading.onset.seconds(rate);
            let Some(at) = of(reading) else {
                if doubt.is_none() {
                    self.strangers += 1;
                    let own = truth.iter().filter(|pluck| pluck.string.get() == reading.string);
                    let apart = own.map(|pluck| onset_s - pluck.at_s);
                    let apart_s = apart.min_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(f64::NAN);
                    self.tell_one(&format!(
                        "{name}, nothing plucked at {onset_s:.2} s: {} settled, {apart_s:+.3} s from its own",
                        reading.string,
                    ));
                }
                continue;
            };
            let pluck = truth[at];
            let right = pluck.string.get() == reading.string;
            let cents = reading.hz.cents_above(pluck.hz).0;
            named[at] |= right;
            answered[at] = true;
            if doubt.is_none() && right {
                identified[at] = true;
                self.err(cents.abs(), reading.sigma.0);
                continue;
            }
            self.wrong += usize::from(doubt.is_none());
            let as_what = doubt.map_or("settled".to_owned(), |doubt| format!("{doubt:?}"));
            self.tell_one(&format!(
                "{name}, string {} at {:.2} s: {} {as_what}, {cents:+.1} cents, sigma {:.2}",
                pluck.string.get(),
                pluck.at_s,
                reading.string,
                reading.sigma.0,
            ));
        }
        for (pluck, _) in truth.iter().zip(&answered).filter(|(_, answered)| !**answered) {
            let mut refused = memory.refused.iter();
            let why = refused.find(|(onset_s, _)| (onset_s - pluck.at_s).abs() < NEAR_S);
            self.tell_one(&format!(
                "{name}, string {} at {:.2} s: {}",
                pluck.string.get(),
                pluck.at_s,
                why.map_or("no onset".to_owned(), |(_, why)| format!("refused, {why:?}")),
            ));
        }
        let count = |plucks: &[bool]| plucks.iter().filter(|pluck| **pluck).count();
        self.named += count(&named);
        self.identified += count(&identified);
    }

    /// Counts how far one that was identified lies from the truth, and whether its sigma said so, cents.
    fn err(&mut self, error: f64, sigma: f64) {
        self.errors.push(error);
        for (within, sigmas) in self.within.iter_mut().zip([1.0, 2.0]) {
            *within += usize::from(error <= sigmas * sigma);
        }
    }

    /// Holds all that was counted of one pace against its goals.
    pub(crate) fn tell(mut self, pace: Pace, figures: &mut Figures) {
        let name = pace.name();
        let missed = |some: usize| percent(self.plucks - some, self.plucks);
        figures.at_most(
            pace.lost,
            format!("{name}: not identified"),
            missed(self.identified),
            "%",
        );
        figures.tell(
            format!("{name}: not named, with or without doubt"),
            missed(self.named),
            "%",
        );
        let wrong = percent(self.wrong, self.plucks);
        figures.at_most(0.0, format!("{name}: settled as another string"), wrong, "%");
        let strangers = self.strangers as f64;
        figures.at_most(
            0.0,
            format!("{name}: settled where none was plucked"),
            strangers,
            "readings",
        );
        let within = self.within.map(|within| percent(within, self.errors.len()));
        let mut error = |share| quantile(&mut self.errors, share);
        figures.at_most(0.5, format!("{name}: median error"), error(0.5), "cents");
        figures.at_most(2.0, format!("{name}: 95 % error"), error(0.95), "cents");
        figures.tell(format!("{name}: within one stated sigma, of 68"), within[0], "%");
        figures.tell(format!("{name}: within two stated sigmas, of 95"), within[1], "%");
    }

    /// Whether every pluck was settled as what it was, within so many cents, and nothing else.
    #[cfg(test)]
    pub(crate) fn is_as_played(&self, cents: f64) -> bool {
        self.identified == self.plucks
            && self.wrong + self.strangers == 0
            && self.errors.iter().all(|error| *error < cents)
    }

    fn tell_one(&self, what: &str) {
        if self.each {
            report(&format!("    {what}"));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_are_counted_within_one_and_two_of_their_own_sigmas() {
        let mut tally = Tally::new(false);
        for (error, sigma) in [(0.1, 0.2), (0.3, 0.2), (0.5, 0.2), (0.5, 1.0)] {
            tally.err(error, sigma);
        }
        assert_eq!(tally.within, [2, 3]);
    }
}
