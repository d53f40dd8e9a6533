//! One pluck from its onset to its reading.

mod again;
pub(crate) mod doubt;
mod live;
mod measured;

use consort_proto::{Cents, Hz};

use self::again::Over;
use self::doubt::{Ending, SHORT_LIVED_HZ};
use self::measured::MEASURED_S;
pub(crate) use self::measured::Measured;
use crate::chase::Chase;
use crate::chord::own_above_others_db;
use crate::comb::grow_comb;
use crate::company::Company;
use crate::context::Context;
use crate::evidence::{Evidence, STRETCHES_S};
use crate::fit::PartialPitch;
use crate::heard::{Doubt, Refusal};
use crate::history::History;
use crate::identify::{Beliefs, Identifier, Verdict};
use crate::partials::{FOLLOWED_MAX, Follower, SLOW_HZ};
use crate::timbre::timbre;
use crate::trend::Trend;
use crate::trust::Signs;

/// At this look it has to be clear that a string sounds.
const DECISIVE_LOOK: usize = 4;
/// The least share of the sound that a string has to explain to be one.
const SCORE_MIN: f64 = 0.1;
/// A note that so many other strings crowd, and that is this old, seconds, is measured with what there is.
const CROWD: usize = 2;
const CROWDED_OUT_S: f64 = 0.45;
/// The partials of a pluck have at least this times the power that was in their bands before: a string swells by itself
/// when its lines beat, but not by so much.
const GROWTH_MIN: f64 = 2.0;
/// A high string that lost this much of its power (15 dB) shows no more of itself.
const GONE: f64 = 0.03;
/// While the newest sound stands further than this from what was measured so far, cents, so often in a row, the measure
/// is behind the string.
const BEHIND_CENTS: f64 = 2.5;
const BEHIND_HEARD: u32 = 3;
/// At the end of a measure, a string that stands this far from it was turned at the last moment, cents: by themselves first
/// partials of two in twelve recordings wander by as much while they fade, and are called turned from eight on.
const LEFT_BEHIND_CENTS: f64 = 6.5;
/// What is left of a pluck's power when a string is over (35 dB): by then it may swing the other way across, or another one
/// answers at its pitch, and of other harps than the first it then stands up to 15 cents elsewhere by itself.
const LEFT_OVER: f64 = 3e-4;
/// The power of a string relative to what was there before from which on its newest sound is believed (17 dB).
const STILL_SOUNDS: f64 = 50.0;
/// A pluck for certain explains this share of the sound and grew by so many times.
const CERTAIN_SCORE: f64 = 0.5;
const CERTAIN_GROWTH: f64 = 10.0;

/// What becomes of a note at a hop.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Progress {
    /// Nothing to say yet.
    Waiting,
    /// It is no string.
    Refused(Refusal),
    /// It may be this.
    Provisional(Measured),
    /// It is measured.
    Done(Measured, Option<Doubt>),
}

/// The tools that all notes share.
pub(crate) struct Tools {
    pub(crate) evidence: Evidence,
    pub(crate) identifier: Identifier,
    pub(crate) company: Company,
}

/// One pluck.
pub(crate) struct Note {
    pub(crate) onset: u64,
    /// Whether the note is being listened to, and whether it has been measured and is only followed.
    pub(crate) open: bool,
    pub(crate) measured: bool,
    /// Whether it was found to be a string.
    pub(crate) passed: bool,
    /// What its string did before, if that still rang and was stopped for this pluck.
    pub(crate) over: Option<Over>,
    /// Whether it may be no pluck but a swell of the same string, which sounded before.
    pub(crate) swells: bool,
    /// Whether something else began to sound since: what is heard now need not be this string.
    pub(crate) joined: bool,
    /// How often in a row the newest sound stood apart from what was measured so far.
    behind: u32,
    /// Whether the last track was told after a look beside it.
    looked_beside: bool,
    /// No sound from this sample on belongs to the note: its string was plucked again, or seems to have been.
    pub(crate) end: u64,
    /// Whether the other pluck proved to be one.
    pub(crate) ended: bool,
    /// The onset before this one, and the one after it: what sounds from then on says nothing about which string this is.
    earlier: u64,
    pub(crate) later: u64,
    /// The first onset after this one, whatever it proved to be.
    pub(crate) next: u64,
    /// When the first other string was plucked for certain, and how many were since.
    pub(crate) crowded: u64,
    pub(crate) crowd: usize,
    /// How loud it began, once that is known, decibels.
    pub(crate) level_db: Option<f64>,
    pub(crate) context: Context,
    rate: f64,
    beliefs: Beliefs,
    looks: usize,
    verdict: Option<Verdict>,
    follower: Follower,
    /// The string itself, once it is turned out of the bands in which it is followed.
    chase: Chase,
    /// The way that it takes, by the live tracks.
    trend: Trend,
    partials: Vec<(usize, f64)>,
    pitches: [PartialPitch; FOLLOWED_MAX],
    /// How much of the sound on the partials was the string's own when it was measured last, and the frames of that measure.
    own: f64,
    measured_over: (usize, usize),
    /// Whether it falls as a string does that was plucked hard.
    falls: bool,
    ceiling_hz: f64,
    sigma_max: f64,
}

impl Note {
    pub(crate) fn new(rate: f64, hop: usize, sigma_max: f64) -> Self {
        Self {
            onset: 0,
            open: false,
            measured: false,
            passed: false,
            over: None,
            swells: false,
            joined: false,
            behind: 0,
            looked_beside: false,
            end: u64::MAX,
            ended: false,
            earlier: 0,
            later: u64::MAX,
            next: u64::MAX,
            crowded: u64::MAX,
            crowd: 0,
            level_db: None,
            context: Context::concert_harp(Hz::new(440.0).expect("a constant above zero")),
            rate,
            beliefs: Beliefs::new(),
            looks: 0,
            verdict: None,
            follower: Follower::new(rate, hop),
            chase: Chase::new(rate),
            trend: Trend::default(),
            partials: Vec::with_capacity(FOLLOWED_MAX + 1),
            pitches: [PartialPitch::default(); FOLLOWED_MAX],
            own: 0.0,
            measured_over: (0, 0),
            falls: false,
            ceiling_hz: (0.4 * rate).min(5800.0),
            sigma_max,
        }
    }

    /// Begins a note at sample `onset`, after another onset at `earlier`.
    pub(crate) fn start(&mut self, onset: u64, earlier: u64, context: &Context) {
        self.onset = onset;
        self.open = true;
        self.measured = false;
        self.passed = false;
        self.over = None;
        self.swells = false;
        self.joined = false;
        self.behind = 0;
        self.looked_beside = false;
        self.end = u64::MAX;
        self.ended = false;
        self.earlier = earlier;
        self.later = u64::MAX;
        self.next = u64::MAX;
        self.crowded = u64::MAX;
        self.crowd = 0;
        self.level_db = None;
        self.context = *context;
        self.beliefs = Beliefs::new();
        self.looks = 0;
        self.verdict = None;
        self.follower.start(onset);
        self.chase.end();
        self.trend.end();
    }

    /// Whether it was just decided whether it is a string.
    pub(crate) fn is_just_decided(&self) -> bool {
        self.looks == DECISIVE_LOOK + 1 && !self.measured
    }

    /// The string and pitch most believed now.
    pub(crate) fn verdict(&self) -> Option<Verdict> {
        self.verdict
    }

    /// Whether it explains what sounds so well, and grew out of it so much, that it is no swell of strings that answer.
    pub(crate) fn is_pluck_for_certain(&self) -> bool {
        self.verdict.is_some_and(|verdict| verdict.score > CERTAIN_SCORE) && self.growth() > CERTAIN_GROWTH
    }

    /// How many times the power of the partials grew at its onset.
    pub(crate) fn growth(&self) -> f64 {
        self.follower.growth()
    }

    /// How many times the power of the partials grew, if the string itself sounded before.
    pub(crate) fn growth_again(&self) -> f64 {
        self.follower.growth_again()
    }

    /// Takes note of the sound that arrived since the last hop.
    pub(crate) fn advance(&mut self, history: &History, tools: &mut Tools) -> Progress {
        let now = history.count().min(self.end);
        let (mut looked, mut decisive) = (false, false);
        while !self.measured && self.looks < STRETCHES_S.len() {
            let until = self.onset + tools.evidence.stretch(self.looks) as u64;
            let decided = self.looks > DECISIVE_LOOK;
            if until > now || decided && (until > self.later || self.is_gone()) {
                break;
            }
            self.look(history, tools);
            looked = true;
            if self.looks == DECISIVE_LOOK + 1 {
                match self.verdict {
                    None => return Progress::Refused(Refusal::NoPitch),
                    Some(verdict) if verdict.score < SCORE_MIN => return Progress::Refused(Refusal::NotAString),
                    Some(_) => {
                        decisive = true;
                        self.passed = true;
                    }
                }
            }
        }
        let frames = self.follower.count();
        self.follower.advance(history, now);
        if decisive && self.follower.growth() < GROWTH_MIN {
            return Progress::Refused(Refusal::NotNew);
        }
        if self.measured {
            return Progress::Waiting;
        }
        let age_s = (now - self.onset) as f64 / self.rate;
        // While another pluck is in doubt, nothing after it is used and nothing is final.
        let complete = self.end == u64::MAX && age_s >= MEASURED_S.1 + 0.5 * self.follower.frame_s();
        let crowded_out = self.end == u64::MAX && self.crowd >= CROWD && age_s > CROWDED_OUT_S;
        if complete || crowded_out || self.ended {
            return self.finish(history, &tools.company);
        }
        let every = if age_s < 0.4 { 1 } else { 4 };
        let due = self.follower.count() > frames && self.follower.count().is_multiple_of(every);
        let measured = if looked || due { self.measure() } else { None };
        let Some(measured) = measured else {
            return Progress::Waiting;
        };
        self.behind = if self.is_behind(&measured) { self.behind + 1 } else { 0 };
        // Only the live track speaks of a string that moves.
        if self.behind < BEHIND_HEARD {
            Progress::Provisional(measured)
        } else {
            Progress::Waiting
        }
    }

    /// Whether a high string has faded so far that longer looks would show other sounds than it.
    fn is_gone(&self) -> bool {
        self.verdict.is_some_and(|verdict| verdict.hz > SHORT_LIVED_HZ) && self.follower.faded() < GONE
    }

    /// Whether nothing that began to sound since proved to be a string: what is heard now is this one.
    fn is_alone(&self) -> bool {
        !self.joined || self.later == u64::MAX
    }

    /// Whether the string still stands so far above what was there before it, or what sounds beside it, that its newest
    /// sound is its own; of what is left when it is over, the last that was more.
    fn still_sounds(&self) -> bool {
        let tells = self.verdict.is_some_and(|verdict| verdict.hz > SLOW_HZ) && self.is_clear();
        let faded = self.follower.faded().max(LEFT_OVER);
        tells || faded * self.follower.growth() > STILL_SOUNDS
    }

    /// Whether the string has moved away from where it was measured on the whole.
    fn is_behind(&mut self, measured: &Measured) -> bool {
        self.track().is_some_and(|now| {
            let apart = now.hz.cents_above(measured.hz).abs().0;
            // That a measure is unsure because the string moves does not excuse that it is behind.
            apart > BEHIND_CENTS + 3.0 * now.still.0.hypot(measured.still.0)
        })
    }

    /// Whether it went away from where it was measured, beyond what it fell by itself.
    fn has_left(&self, measured: &Measured) -> bool {
        self.went().is_some_and(|went| {
            // By then it has fallen by no more than on the whole.
            let fell = if self.falls {
                went.cents.clamp(measured.moved.0.min(0.0), 0.0)
            } else {
                0.0
            };
            (went.cents - fell).abs() > LEFT_BEHIND_CENTS + 3.0 * went.sigma_cents.hypot(measured.still.0)
        })
    }

    /// Judges the note with what there is, and by what `company` it has.
    pub(crate) fn finish(&mut self, history: &History, company: &Company) -> Progress {
        let now = history.count().min(self.end);
        if self.looks < DECISIVE_LOOK {
            return Progress::Refused(Refusal::Stopped);
        }
        if self.looks < STRETCHES_S.len() {
            self.follower.advance(history, now);
        }
        let Some(verdict) = self.verdict else {
            return Progress::Refused(Refusal::NoPitch);
        };
        let Some(mut measured) = self.measure() else {
            return Progress::Refused(Refusal::NotAString);
        };
        // What began and proved to be no pluck was perhaps this string's own swell.
        let next_s = (self.later.min(self.end).saturating_sub(self.onset)) as f64 / self.rate;
        let partials = self.partials_above(measured.hz.get());
        measured.timbre = timbre(&self.follower, partials, next_s, measured.hz.get(), self.ceiling_hz);
        let age_s = (now - self.onset) as f64 / self.rate;
        let offset = self
            .context
            .string(verdict.string)
            .map_or(0.0, |s| measured.hz.cents_above(s.target).0);
        let signs = Signs {
            hz: measured.hz.get(),
            lead: verdict.lead,
            growth: self.follower.growth(),
            late_s: self.follower.late_s(self.next),
            sigma_cents: measured.sigma.0,
            inharmonicity_at_most: measured.inharmonicity_at_most,
            joined: self.joined,
            own: self.own,
            company: if self.context.expects(verdict.string) {
                0
            } else {
                company.of(self.onset, verdict.string)
            },
        };
        let ending = Ending {
            verdict,
            glide_cents: measured.moved.0,
            together_cents: measured.together.0,
            falls: self.falls,
            sigma_cents: measured.sigma.0,
            still_cents: measured.still.0,
            sigma_max_cents: self.sigma_max,
            left_behind: self.is_alone() && self.still_sounds() && self.has_left(&measured),
            joined: self.joined,
            followed: self.follower.followed().len(),
            measured: measured.count,
            own_above_others_db: own_above_others_db(&self.follower.loudest()),
            company: signs.company,
            trust: signs.trust(),
            offset_cents: offset,
            chosen: self.context.chosen == Some(verdict.string),
            age_s,
            fading: self.follower.fading(),
        };
        measured.unheard = Cents(self.unheard_cents());
        let doubt = ending.doubt();
        if self.swells && doubt.is_some() {
            return Progress::Refused(Refusal::NotNew);
        }
        Progress::Done(measured, doubt)
    }

    fn look(&mut self, history: &History, tools: &mut Tools) {
        let index = self.looks;
        self.looks += 1;
        let over = self.over.as_ref().map_or(&[][..], Over::partials);
        tools.evidence.gather(history, self.onset, self.earlier, index, over);
        let (peaks, seconds) = (tools.evidence.peaks(), tools.evidence.seconds());
        tools.identifier.look(&tools.evidence, &self.context, &mut self.beliefs);
        self.verdict = self.beliefs.verdict(&self.context);
        if let Some(verdict) = self.verdict {
            let (hz, _) = grow_comb(peaks, verdict.hz, seconds, self.ceiling_hz, &mut self.partials);
            self.follower.follow(&self.partials, hz, history);
            self.follower.forget(over);
        }
    }
}
