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

use std::collections::VecDeque;

use crate::context::{Context, STRINGS_MAX};
use crate::fit::FittedString;
use crate::heard::{Doubt, Refusal};
use crate::history::History;

use self::added::Added;
use self::begun::begun;
use self::likeness::Likeness;
use self::novelty::Novelty;
use self::order::{After, Belief, Says, Verdict};
use self::pitch::{Later, Pitch};

/// Plucks that are remembered: those of four seconds that wait to be measured, at six a second, and as many again.
const PLUCKS: usize = 48;
/// After its look a pluck is weighed this much later, seconds, unless another one follows: that is then known.
const KNOWN_S: f64 = 0.18;
/// However unclear, it is told this long after, seconds.
const LATEST_S: f64 = 1.9;
/// Which string it is, is sure from this probability on; and it is told while it sounds from this one on.
const SURE: f64 = 0.9;
const LIKELY: f64 = 0.9;
/// While little is heard beside the run, as a share, this is enough: what is confused then are neighbours that both ring; players
/// in the room are believed as surely, and are strangers.
const SURE_ALONE: f64 = 0.8;
const FEW_OTHERS: f64 = 0.05;
/// A string is one of the run if one beside it, or the one after that, was plucked within this time before or after it, seconds:
/// who plucks more slowly plucks single strings, and players in the room sound like strings, but not like neighbours.
const NEAR_S: f64 = 0.9;
const IN_STEP: usize = 2;
/// What the run and others found within this time of one another is the same pluck, seconds; and what the run finds within
/// the other time.
const SAME_S: f64 = 0.1;
const AGAIN_S: f64 = 0.07;
/// After a silence of this length another run begins, seconds.
const SILENCE_S: f64 = 4.0;
/// So many plucks are remembered after they were told.
const TOLD_KEPT: usize = 5;
/// The least share of what was added that a string explains to be one, and to be sure.
const SCORE_MIN: f64 = 0.06;
const SCORE_SURE: f64 = 0.12;

/// What adds this much less than plucks lately did, decibels, does not tell how much is usual.
const SOFTER_DB: f64 = 10.0;
/// The share of what begins to sound that is no pluck of hers: until it is known, of the newest in it, and between which bounds.
const OTHERS: f64 = 0.04;
const OTHERS_SHARE: f64 = 0.05;
const OTHERS_WITHIN: (f64, f64) = (0.005, 0.5);
/// What adds nothing at all is so much softer, decibels.
const NOTHING_DB: f64 = 30.0;
/// Share of the newest pluck in what is usual.
const SHARE: f64 = 0.3;

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

/// What is known of one pluck.
#[derive(Clone, Debug)]
struct Pluck {
    onset: u64,
    /// How new the sound is, as a share of it.
    novelty: f64,
    likeness: [Likeness; STRINGS_MAX],
    /// The level of the strongest line that it added, decibels.
    added_db: f64,
    says: Says,
    /// What is believed of it from the plucks before.
    belief: Belief,
    weighed: bool,
    verdict: Verdict,
    /// When its string began to sound, once that was sought, and which string that is.
    begun: Option<(usize, u64)>,
    foretold: bool,
    /// Whether nobody but the run tells of it.
    claimed: bool,
    told: bool,
}

impl Pluck {
    const fn new(onset: u64, novelty: f64) -> Self {
        Self {
            onset,
            novelty,
            likeness: [Likeness::NONE; STRINGS_MAX],
            added_db: 0.0,
            says: Says::NOTHING,
            belief: Belief::ANY,
            weighed: false,
            verdict: Verdict {
                string: 0,
                sure: 0.0,
                none: 0.0,
            },
            begun: None,
            foretold: false,
            claimed: false,
            told: false,
        }
    }

    fn hz(&self) -> f64 {
        self.likeness[self.verdict.string].hz
    }
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
        let same = (AGAIN_S * self.rate) as u64;
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

    /// Which string the pluck at this place was, by what it added; and what that says of the others.
    fn weigh(&mut self, at: usize, history: &History, context: &Context) {
        let earlier = at.checked_sub(1).map_or(0, |before| self.plucks[before].onset);
        if self.begins(at) {
            self.usual_db = None;
        }
        let later = self.plucks.get(at + 1).map_or(u64::MAX, |after| after.onset);
        let before = at.checked_sub(1).map(|before| &self.plucks[before]);
        let last = before.map(|before| (before.hz(), before.verdict.sure));
        let pluck = &mut self.plucks[at];
        let around = (earlier, later);
        let added = self
            .added
            .weigh(history, pluck.onset, around, last, context, &mut pluck.likeness);
        let added_db = added.unwrap_or_else(|| self.usual_db.unwrap_or(0.0) - NOTHING_DB);
        pluck.added_db = added_db;
        pluck.weighed = true;
        self.believe(at, context);
        let mut after = After::NOTHING;
        let verdict = self.plucks[at].belief.verdict(&after);
        self.others += OTHERS_SHARE * (verdict.none - self.others);
        self.others = self.others.clamp(OTHERS_WITHIN.0, OTHERS_WITHIN.1);
        let usual_db = self.usual_db.unwrap_or(added_db);
        if verdict.sure > LIKELY && usual_db - added_db < SOFTER_DB {
            self.usual_db = Some(usual_db + SHARE * (added_db - usual_db));
            self.believe_anew(at, context);
        }
        for place in (0..=at).rev() {
            if !self.plucks[place].told {
                self.plucks[place].verdict = self.plucks[place].belief.verdict(&after);
            }
            if self.begins(place) {
                break;
            }
            after = after.before(&self.plucks[place].says);
        }
    }

    /// Plucks that were not told yet, up to this one, are judged by how loud plucks are by now.
    fn believe_anew(&mut self, at: usize, context: &Context) {
        let open = (0..=at).rev().take_while(|place| !self.plucks[*place].told);
        for place in open.last().unwrap_or(at)..=at {
            self.believe(place, context);
        }
    }

    /// Whether a run begins with the pluck at this place.
    fn begins(&self, at: usize) -> bool {
        let before = at.checked_sub(1).map(|before| self.plucks[before].onset);
        let silent_s = |before| self.plucks[at].onset.saturating_sub(before) as f64 / self.rate;
        before.is_none_or(|before| silent_s(before) > SILENCE_S)
    }

    /// What is believed of the pluck at this place, by its own sound and by what is believed of those before it.
    fn believe(&mut self, at: usize, context: &Context) {
        let begins = self.begins(at);
        let before = if begins {
            Belief::ANY
        } else {
            self.plucks[at - 1].belief
        };
        let mut rings = [false; STRINGS_MAX];
        for other in self.plucks.iter().take(at) {
            rings[other.verdict.string] |= other.verdict.none < other.verdict.sure;
        }
        let pluck = &mut self.plucks[at];
        let likeness = &pluck.likeness[..context.len()];
        let softer_db = self.usual_db.map_or(0.0, |usual_db| usual_db - pluck.added_db);
        pluck.says = Says::new(likeness, &rings, (pluck.novelty, softer_db), self.others);
        if begins {
            pluck.says = pluck.says.first();
        }
        pluck.belief = before.forward(&pluck.says);
    }

    /// Whether the string of the pluck at this place lies beside others that were plucked shortly before or after it.
    fn is_in_step(&self, at: usize) -> bool {
        let own = &self.plucks[at];
        own.weighed
            && self.plucks.iter().any(|other| {
                let steps = other.verdict.string.abs_diff(own.verdict.string);
                let is_string = other.weighed && other.verdict.none < other.verdict.sure;
                is_string && self.is_near(other.onset, own.onset) && (1..=IN_STEP).contains(&steps)
            })
    }

    /// From which probability on it is sure which string a pluck is.
    fn sure(&self) -> f64 {
        if self.others < FEW_OTHERS { SURE_ALONE } else { SURE }
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
        let Some((fitted, _)) = self.pitch.measure(history, pluck.onset, (hz, again), later) else {
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
