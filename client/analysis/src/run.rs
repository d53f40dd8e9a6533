//! Runs: a scale or a sweep over the whole harp, none of its strings damped.
//!
//! A single pluck is judged by what it is while it sounds alone. In a run nothing sounds alone: by the end fifty strings ring,
//! and what is looked for is what each pluck adds. Plucks are found by how new the spectrum is ([`novelty`]), each is held
//! against every string by what it added ([`added`]), all together are judged by how runs go on ([`order`]), and each is
//! measured by those of its partials that lie clear of other strings' ([`pitch`]), which takes as long as for a single pluck.
//! What stands alone is left to those who judge single plucks.

mod added;
mod begun;
mod likeness;
mod novelty;
mod order;
mod pitch;
mod pluck;
mod weigh;

use std::collections::VecDeque;

use crate::context::Context;
use crate::fit::FittedString;
use crate::heard::{Doubt, Refusal};
use crate::history::History;

use self::added::Added;
use self::begun::begun;
use self::likeness::Likeness;
use self::novelty::Novelty;
use self::order::Verdict;
use self::pitch::{Later, Pitch};
use self::pluck::Pluck;
use self::weigh::OTHERS;

/// Plucks that are remembered: those of four seconds that wait to be measured, at six a second, and as many again.
const PLUCKS: usize = 48;
/// After its look a pluck is weighed this much later, seconds, unless another one follows: that is then known.
const KNOWN_S: f64 = 0.18;
/// However unclear, it is told this long after, seconds.
const LATEST_S: f64 = 1.9;
/// A pluck is told while it sounds from this probability on.
const LIKELY: f64 = 0.9;
/// A string is one of the run if one beside it was plucked within this time before or after it, seconds: who plucks more slowly
/// plucks single strings, and players in the room sound like strings, but not like neighbours.
const NEAR_S: f64 = 0.9;
/// What the run and others found within this time of one another is the same pluck, seconds; and what the run finds within
/// the other time.
const SAME_S: f64 = 0.1;
const ONE_PLUCK_S: f64 = 0.07;
/// So many plucks are remembered after they were told.
const TOLD_KEPT: usize = 5;
/// The least share of what was added that a string explains to be one, and to be sure.
const SCORE_MIN: f64 = 0.06;
const SCORE_SURE: f64 = 0.12;

/// What is told of a run.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Told {
    /// It will be about this.
    Provisional(Read),
    /// It is this.
    Done(Read, Option<Doubt>),
    /// What was plucked at this sample gives no reading.
    Refused(u64, Refusal),
}

/// One pluck of a run, measured.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Read {
    pub(crate) onset: u64,
    pub(crate) string: u8,
    pub(crate) fitted: FittedString,
}

/// Hears runs.
pub(crate) struct Run {
    rate: f64,
    sigma_max_cents: f64,
    novelty: Novelty,
    added: Added,
    pitch: Pitch,
    plucks: VecDeque<Pluck>,
    /// The level of the strongest new line of a pluck as usual lately, decibels.
    usual_db: Option<f64>,
    /// The share of what began to sound lately that was no pluck of hers.
    others: f64,
    told: VecDeque<Told>,
}

impl Run {
    /// `hop` working samples lie between looks.
    pub(crate) fn new(rate: f64, hop: usize, sigma_max_cents: f64) -> Self {
        Self {
            rate,
            sigma_max_cents,
            novelty: Novelty::new(rate, hop),
            added: Added::new(rate),
            pitch: Pitch::new(rate),
            plucks: VecDeque::with_capacity(PLUCKS),
            usual_db: None,
            others: OTHERS,
            told: VecDeque::with_capacity(4 * PLUCKS),
        }
    }

    /// A run may begin now.
    pub(crate) fn begin(&mut self) {
        self.novelty.begin();
        self.plucks.clear();
        self.usual_db = None;
        self.others = OTHERS;
    }

    /// Looks at the sound up to now, one hop after the last look. Never allocates.
    pub(crate) fn look(&mut self, history: &History, context: &Context) {
        let found = self.novelty.look(history);
        let newest = self.plucks.back().map_or(0, |pluck| pluck.onset);
        let same = (ONE_PLUCK_S * self.rate) as u64;
        if let Some((onset, novelty)) = found.filter(|(onset, _)| onset.saturating_sub(newest) > same) {
            if self.plucks.len() == PLUCKS
                && let Some(oldest) = self.plucks.pop_front()
                && !oldest.told
            {
                self.told.push_back(Told::Refused(oldest.onset, Refusal::TooMany));
            }
            self.plucks.push_back(Pluck::new(onset, novelty));
        }
        self.advance(history, context, false);
    }

    /// The sound ends here: judges what is still open with what there is.
    pub(crate) fn finish(&mut self, history: &History, context: &Context) {
        self.advance(history, context, true);
    }

    /// Whether what was plucked at sample `onset` is one of a run, as far as is known by now: then the run tells of it, and
    /// nobody else. One that stands alone is no run, nor is one without neighbours.
    pub(crate) fn claims(&self, onset: u64) -> bool {
        let Some(at) = self.of(onset) else {
            // What only answers stands nowhere in a run.
            let near = |place: &usize| self.is_near(self.plucks[*place].onset, onset);
            return (0..self.plucks.len()).filter(near).any(|place| self.is_in_step(place));
        };
        let own = &self.plucks[at];
        let may_be = |other: &Pluck| {
            let open = !own.weighed || !other.weighed;
            open && other.onset != own.onset && self.is_near(other.onset, own.onset)
        };
        own.claimed || self.is_in_step(at) || self.plucks.iter().any(may_be)
    }

    /// What was plucked at sample `onset` is told of by the run alone, or by others alone.
    pub(crate) fn divide(&mut self, onset: u64, claimed: bool) {
        if let Some(at) = self.of(onset) {
            let pluck = &mut self.plucks[at];
            pluck.claimed |= claimed;
            pluck.told |= !claimed && !pluck.claimed;
        }
    }

    /// The pluck that was found at `onset`, or a moment beside it.
    fn of(&self, onset: u64) -> Option<usize> {
        let apart = |at: &usize| self.plucks[*at].onset.abs_diff(onset);
        let nearest = (0..self.plucks.len()).min_by_key(apart)?;
        (apart(&nearest) as f64 / self.rate < SAME_S).then_some(nearest)
    }

    fn is_near(&self, other: u64, own: u64) -> bool {
        (other.abs_diff(own) as f64 / self.rate) < NEAR_S
    }

    /// The next thing that is told.
    pub(crate) fn poll(&mut self) -> Option<Told> {
        self.told.pop_front()
    }

    fn advance(&mut self, history: &History, context: &Context, ends: bool) {
        let rate = self.rate;
        let age_s = |pluck: &Pluck| (history.count() - pluck.onset) as f64 / rate;
        let whole_s = Added::whole_s() + KNOWN_S;
        while let Some(at) = self.plucks.iter().position(|pluck| !pluck.weighed) {
            let known = at + 1 < self.plucks.len() || age_s(&self.plucks[at]) > whole_s;
            if !(known || ends) {
                break;
            }
            self.weigh(at, history, context);
        }
        for at in 0..self.plucks.len() {
            let pluck = &self.plucks[at];
            if pluck.told || !pluck.weighed {
                continue;
            }
            let age_s = age_s(pluck);
            // What is not clear yet may become so by the plucks that follow.
            let is_clear = pluck.verdict.sure >= self.sure() && self.is_in_step(at);
            if ends || age_s > LATEST_S || age_s > Pitch::whole_s(pluck.hz()) && is_clear {
                self.plucks[at].told = true;
                if self.is_in_step(at) || self.plucks[at].claimed {
                    let told = self.measure(at, history);
                    self.told.push_back(told);
                }
            } else if !pluck.foretold
                && self.is_in_step(at)
                && pluck.verdict.sure > LIKELY
                && age_s > Pitch::begun_s(pluck.hz())
            {
                self.plucks[at].foretold = true;
                if let Told::Done(read, None) = self.measure(at, history) {
                    self.told.push_back(Told::Provisional(read));
                }
            }
        }
        // Those that were told last are still what the next ones follow.
        while self.plucks.len() > TOLD_KEPT && self.plucks.iter().take(TOLD_KEPT + 1).all(|pluck| pluck.told) {
            self.plucks.pop_front();
        }
    }

    /// Measures the pluck at this place with the sound that there is.
    fn measure(&mut self, at: usize, history: &History) -> Told {
        let pluck = &self.plucks[at];
        let Verdict { string, sure, none } = pluck.verdict;
        let Likeness { score, hz, .. } = pluck.likeness[string];
        // A string that is plucked again adds little to its own ringing.
        let again = !self.begins(at) && {
            let before = self.plucks[at - 1].verdict;
            before.string == string && before.none < before.sure
        };
        if none > sure || score < SCORE_MIN && !again {
            return Told::Refused(pluck.onset, Refusal::NotAString);
        }
        let others = self.plucks.iter().skip(at + 1);
        let later = others
            .filter(|other| other.verdict.string != string)
            .map(|other| Later {
                onset: other.onset,
                hz: other.hz(),
            });
        let Some(fitted) = self.pitch.measure(history, pluck.onset, (hz, again), later) else {
            return Told::Refused(pluck.onset, Refusal::TooMany);
        };
        let sought = pluck.begun.filter(|(of, _)| *of == string);
        let onset = sought.map_or_else(|| begun(history, self.rate, fitted.hz, pluck.onset), |(_, onset)| onset);
        self.plucks[at].begun = Some((string, onset));
        let read = Read {
            onset,
            string: string as u8 + 1,
            fitted,
        };
        let doubt = if !self.is_in_step(at) {
            Some(Doubt::NotAlone)
        } else if sure < self.sure() {
            Some(Doubt::Which)
        } else if score < SCORE_SURE && !again {
            Some(Doubt::Faint)
        } else if fitted.sigma_cents > self.sigma_max_cents {
            Some(Doubt::Scattered)
        } else {
            None
        };
        Told::Done(read, doubt)
    }
}
