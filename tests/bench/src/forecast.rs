//! Hundreds of simulated harpists, from professional to student: what was foretold of each harp beside when it was done, and
//! beside what remained when a start was called for.

mod ahead;
mod tunings;

use consort_outlook::TOLD_FROM;

use crate::figures::Figures;
use crate::report;
use crate::statistics::{percent, quantile};
use ahead::{Ahead, CALLED_AT};
use tunings::{Harpist, Tuned};

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str = "when each harp will be ready and what would remain in three minutes, foretold and true, of simulated harpists [--json FILE]";

/// Harpists, and the first one's number: the figures of the forecast were fitted to others.
const HARPISTS: u64 = 1_200;
const FROM: u64 = 10_000;
/// Goals: true ends inside the range of eight of ten, in a hundred, either side; error at half-time of twelve minutes.
const GOAL_INSIDE: (f64, f64) = (75.0, 85.0);
const GOAL_HALF_S: f64 = 60.0;
/// The tuning by which errors at half-time are told, seconds, and which tunings are of about that length.
const TWELVE_MINUTES_S: f64 = 720.0;
const ABOUT_TWELVE_S: std::ops::Range<f64> = 600.0..840.0;

/// Forecasts beside what then happened.
#[derive(Debug, Default)]
struct Score {
    told: usize,
    inside: usize,
    sooner: usize,
    /// Errors at half-time, as a share of the tuning, and of those that took about twelve minutes in seconds.
    half: Vec<f64>,
    half_of_twelve_s: Vec<f64>,
}

impl Score {
    fn add(&mut self, tuned: &Tuned) {
        let half = tuned.foretold.iter().find(|(at_s, _)| *at_s >= tuned.done_s / 2.0);
        if let Some((at_s, told)) = half {
            let error = (told.likely.as_secs_f64() - (tuned.done_s - at_s)).abs();
            self.half.push(error / tuned.done_s);
            if ABOUT_TWELVE_S.contains(&tuned.done_s) {
                self.half_of_twelve_s.push(error);
            }
        }
        for (at_s, told) in &tuned.foretold {
            let left = tuned.done_s - at_s;
            self.told += 1;
            self.sooner += usize::from(left < told.soonest.as_secs_f64());
            self.inside += usize::from((told.soonest.as_secs_f64()..=told.latest.as_secs_f64()).contains(&left));
        }
    }
}

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut figures = Figures::new("forecast", words)?;
    let mut score = Score::default();
    let mut lasted = Vec::new();
    let mut never = 0;
    let mut ahead = Ahead::default();
    for seed in FROM..FROM + HARPISTS {
        let Some((harpist, tuned)) = Harpist::of(seed).and_then(|one| Some((one.clone(), one.tunes()?))) else {
            never += 1;
            continue;
        };
        score.add(&tuned);
        lasted.push(tuned.done_s / 60.0);
        for (moment, share) in CALLED_AT.into_iter().enumerate() {
            if let Some(called) = harpist.is_called(share * tuned.done_s) {
                ahead.add(moment, called);
            }
        }
    }
    report(&format!(
        "forecasts of {HARPISTS} tunings, told from {TOLD_FROM} strings on after every reading"
    ));
    for (name, share) in [("shortest", 0.0), ("median", 0.5), ("longest", 1.0)] {
        figures.tell(format!("a tuning lasts, {name}"), quantile(&mut lasted, share), "min");
    }
    figures.tell("tunings that came to no end", f64::from(never), "");
    let inside = percent(score.inside, score.told);
    figures.at_most(GOAL_INSIDE.1, "true ends inside the range of eight in ten", inside, "%");
    figures.at_most(100.0 - GOAL_INSIDE.0, "true ends outside it", 100.0 - inside, "%");
    figures.tell("of all, sooner than the range", percent(score.sooner, score.told), "%");
    figures.at_most(
        GOAL_HALF_S,
        "error at half-time, median, told of 12 min",
        TWELVE_MINUTES_S * quantile(&mut score.half, 0.5),
        "s",
    );
    figures.at_most(
        GOAL_HALF_S,
        "the same of tunings of 10 to 14 min",
        quantile(&mut score.half_of_twelve_s, 0.5),
        "s",
    );
    report(&format!(
        "what would remain in three minutes, foretold when a start is called for at {CALLED_AT:?} of a tuning"
    ));
    ahead.tell(&mut figures);
    figures.close()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_would_remain_of_a_section_in_three_minutes_is_foretold_within_a_quarter() {
        let mut ahead = Ahead::default();
        for harpist in (0..60).filter_map(Harpist::of) {
            let done_s = harpist.tunes().expect("the tuning comes to an end").done_s;
            for (moment, share) in CALLED_AT.into_iter().enumerate() {
                if let Some(called) = harpist.is_called(share * done_s) {
                    ahead.add(moment, called);
                }
            }
        }
        let error = ahead.error_of_sections();
        assert!(error <= 0.25, "{error}");
    }

    #[test]
    fn the_range_holds_eight_of_ten_and_half_time_is_foretold_within_a_minute() {
        let mut score = Score::default();
        for seed in 0..150 {
            let harpist = Harpist::of(seed).expect("a harpist");
            score.add(&harpist.tunes().expect("the tuning comes to an end"));
        }
        let inside = percent(score.inside, score.told);
        assert!((75.0..=85.0).contains(&inside), "{inside} %");
        let half_s = TWELVE_MINUTES_S * quantile(&mut score.half, 0.5);
        assert!(half_s <= GOAL_HALF_S, "{half_s} s");
    }
}
