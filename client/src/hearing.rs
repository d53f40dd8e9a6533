//! What the ear senses, made into what it most likely is: the string in hand, and what the plucks before it tell of it.

mod counts;
mod wishes;

use std::sync::Arc;

use consort_analysis::{Doubt, Refusal};
use consort_guide::opening::Check;
use consort_guide::{
    Advice, Attention, Hand, Heard, Pedals, Quick, Situation, Sounding, Standstill, Steady, Twins, Ways,
};
use consort_link::Link;
use consort_proto::{Cents, Harp, Readiness, Reading, Standing, StringNumber, Uptime};

use self::counts::{Left, Why, plucked};
use crate::ear::{Answer, Sensed, Verdict};
use crate::hand::Follower;
use crate::pace::Pace;

/// A string that nobody asks for is not shown before its pluck is so old, seconds; nor, before it is measured, where it is
/// further than this from where it stood (in 36 whole tunings, words to turn strings that were right came of such for 0.1 to
/// 0.9 s).
const UNASKED_S: f64 = 0.75;
const ELSEWHERE: Cents = Cents(30.0);

/// What is remembered from one pluck to the next.
#[derive(Debug)]
pub(crate) struct Hearing {
    /// The file whose sound is heard.
    file: Arc<str>,
    follower: Follower,
    twins: Twins,
    standstill: Standstill,
    opening: Check,
    attention: Attention<Answer>,
    /// What was measured last, where it does not count.
    left: Option<Left>,
    /// Onset of the newest pluck that is too soft to be followed, seconds of the sound.
    soft_s: Option<f64>,
    /// And of the newest one that is much stronger than usual.
    strong_s: Option<f64>,
    steady: Steady,
    pace: Pace,
    ways: Ways,
    /// Whether the opening check has said whether a quick pass is needed.
    weighed: bool,
}

impl Hearing {
    /// Nothing heard yet; the tuning opens with `opening`.
    pub(crate) fn new(opening: Check) -> Self {
        Self {
            file: "".into(),
            follower: Follower::default(),
            twins: Twins::default(),
            standstill: Standstill::default(),
            opening,
            attention: Attention::default(),
            left: None,
            soft_s: None,
            strong_s: None,
            steady: Steady::default(),
            pace: Pace::default(),
            ways: Ways::default(),
            weighed: false,
        }
    }

    /// How she is guided.
    pub(crate) const fn ways(&self) -> &Ways {
        &self.ways
    }

    /// Whether what is heard of `string` counts: not while its pedal, or that of one that sounds the same, is not in flat.
    pub(crate) fn counts(&self, string: StringNumber) -> bool {
        self.ways.pedals.as_ref().is_none_or(|pedals| pedals.is_open(string))
    }

    /// The harp as it sounds.
    fn sounding<'a>(&'a self, harp: &'a Harp) -> &'a Harp {
        self.ways.pedals.as_ref().map_or(harp, Pedals::sounding)
    }

    /// The file whose sound is heard.
    pub(crate) fn file(&self) -> Arc<str> {
        self.file.clone()
    }

    /// What comes now is of that file; another one is another sound.
    pub(crate) fn turn_to(&mut self, file: Arc<str>) {
        if self.file != file {
            self.file = file;
            self.begin_sound();
        }
    }

    /// Another sound begins, whose times start over.
    pub(crate) fn begin_sound(&mut self) {
        self.attention.begin_sound();
        self.left = None;
        (self.soft_s, self.strong_s) = (None, None);
        self.ways.plays = false;
        self.pace.begin_sound();
        self.follower.begin_sound();
        self.twins.begin_sound();
        self.opening.begin_sound();
    }

    /// What was sensed, as the string that it is more likely to be, knowing that the desk shows advice about `shown`; what the
    /// ear doubts because it is soft is settled where she has said that it is hers.
    pub(crate) fn told_apart(
        &mut self,
        sensed: Sensed,
        harp: &Harp,
        link: &Link,
        shown: Option<StringNumber>,
    ) -> Sensed {
        let mut told = self.told_by_pitch(sensed, harp, link, shown);
        if let Sensed::Answer(answer) = &mut told
            && answer.verdict == Verdict::Unsure(Doubt::Soft)
            && self.attention.is_trusted(&plucked(answer, harp, link.tuning()))
        {
            answer.verdict = Verdict::Settled;
        }
        told
    }

    fn told_by_pitch(&mut self, mut sensed: Sensed, harp: &Harp, link: &Link, shown: Option<StringNumber>) -> Sensed {
        let (onset_s, string, hz, settled) = match &mut sensed {
            Sensed::Answer(answer) => {
                let settled = answer.verdict == Verdict::Settled;
                (answer.onset_s, &mut answer.string, answer.hz, settled)
            }
            Sensed::Track {
                onset_s, string, hz, ..
            } => (*onset_s, string, *hz, false),
            Sensed::Refused { .. } | Sensed::Input(_) => return sensed,
        };
        if self.ways.pedals.is_some() || self.ways.chosen.is_some() {
            // Nothing is asked for, and where the pedals stand is known; or the ear knows which string is meant.
            return sensed;
        }
        if let Some(asked) = self.opening.takes(harp, link.tuning(), onset_s, hz) {
            *string = asked;
            return sensed;
        }
        let sounding = Sounding {
            onset_s,
            heard: *string,
            hz,
            settled,
        };
        let readiness = link.readiness();
        let asked = consort_guide::asked(&self.situation(harp, link, &readiness), shown);
        *string = self.twins.tell(sounding, asked, harp, link.tuning(), &readiness);
        sensed
    }

    /// The newest pluck that may belong to playing, seconds of the sound.
    pub(crate) fn newest_pluck_s(&self) -> Option<f64> {
        self.attention.newest_s()
    }

    /// Whether she plays, now that this is sensed; a run that she was asked for is not playing.
    pub(crate) fn plays(&mut self, sensed: &Sensed) -> bool {
        let (onset_s, time_s, string, is_final) = match sensed {
            Sensed::Answer(_) | Sensed::Track { .. } if self.is_another_harps(sensed) => return self.ways.plays,
            Sensed::Answer(answer) => {
                let is_final = answer.verdict != Verdict::Provisional;
                (answer.onset_s, answer.time_s, answer.string, is_final)
            }
            Sensed::Track {
                onset_s,
                time_s,
                string,
                ..
            } => (*onset_s, *time_s, *string, false),
            Sensed::Refused { onset_s, why } => {
                if *why == Refusal::TooSoft {
                    self.attention.hears_another(*onset_s);
                } else if is_no_pluck(*why) {
                    self.attention.forget(*onset_s);
                }
                return self.ways.plays;
            }
            Sensed::Input(_) => return self.ways.plays,
        };
        let run = self.ways.last_check.is_some();
        let plays = self.attention.pluck(onset_s, time_s, string, is_final, run);
        if plays {
            self.follower.plays(onset_s);
            if !self.ways.plays {
                self.follower.let_go();
            }
        }
        self.ways.plays = plays;
        plays
    }

    /// Follows the string that sounds; whether the hand has changed.
    pub(crate) fn follow(&mut self, sensed: &Sensed, harp: &Harp, link: &Link) -> bool {
        let tuning = link.tuning();
        if let Sensed::Answer(Answer { time_s, .. }) | Sensed::Track { time_s, .. } = *sensed {
            self.pace.hear(time_s);
        }
        if let Sensed::Answer(answer) = sensed
            && self.attention.is_strong(&plucked(answer, harp, tuning))
        {
            self.strong_s = Some(answer.onset_s);
        }
        if let Sensed::Answer(answer) = sensed {
            let is_left = |left: Left| left.onset_s == answer.onset_s && left.why != Why::Waits;
            if !self.left.is_some_and(is_left) {
                self.follower.learn(answer);
            }
        }
        let passes = self.is_another_harps(sensed) || self.comes_unasked(sensed, harp, link);
        let mut changed = !passes && self.follower.follow(sensed);
        if let (Sensed::Answer(answer), Some(left)) = (sensed, self.left)
            && answer.onset_s == left.onset_s
        {
            match left.why {
                Why::Waits => self.follower.waits(left.onset_s, answer.hz),
                Why::Strong => self.follower.is_strong(left.onset_s),
                Why::TooSoft => self.follower.is_too_soft(left.onset_s),
                Why::NotHers => self.follower.is_not_hers(left.onset_s),
            }
            changed = true;
        }
        if changed
            && let Some(hand) = self.follower.hand(self.sounding(harp), tuning)
            && self.counts(hand.string)
        {
            if self.ways.looked_at.is_some_and(|string| string != hand.string) {
                self.ways.looked_at = None;
            }
            let is_asked = || {
                let readiness = link.readiness();
                consort_guide::asked(&self.situation(harp, link, &readiness), None) == Some(hand.string)
            };
            let near = match hand.heard {
                Heard::Settled(cents) => Some(cents),
                Heard::Live(cents) | Heard::Moved(cents) if is_asked() => Some(cents),
                _ => None,
            };
            if let (Some(quick), Some(cents)) = (&mut self.ways.quick, near) {
                quick.hear(hand.string, cents);
            }
        }
        changed
    }

    /// Whether what is not measured yet is taken for a string that nobody asks for and that is not in hand, and is too young or
    /// too far from where that string stood to be believed: what a finger or a key leaves of another string sounds so.
    fn comes_unasked(&self, sensed: &Sensed, harp: &Harp, link: &Link) -> bool {
        let (onset_s, time_s, string, hz) = match *sensed {
            Sensed::Answer(Answer {
                onset_s,
                time_s,
                string,
                hz,
                verdict: Verdict::Provisional,
                ..
            })
            | Sensed::Track {
                onset_s,
                time_s,
                string,
                hz,
                ..
            } => (onset_s, time_s, string, hz),
            Sensed::Answer(_) | Sensed::Refused { .. } | Sensed::Input(_) => return false,
        };
        let goes_by_itself = self.ways.pedals.is_some() || self.ways.last_check.is_some() || self.ways.chosen.is_some();
        if goes_by_itself || self.follower.holds(string) {
            return false;
        }
        let readiness = link.readiness();
        if consort_guide::asked(&self.situation(harp, link, &readiness), None) == Some(string) {
            return false;
        }
        let stood = readiness.of(string).and_then(Standing::cents);
        let target = harp.string(string).map(|own| link.tuning().open_target(own));
        let is_elsewhere = stood
            .zip(target)
            .is_some_and(|(stood, target)| !(hz.cents_above(target) - stood).is_within(ELSEWHERE));
        is_elsewhere || time_s - onset_s < UNASKED_S
    }

    /// Takes in the reading of a pluck that was measured to its end; what the leader has called was not plucked for the
    /// opening check.
    pub(crate) fn settled(&mut self, onset_s: f64, reading: &Reading, is_called: bool, harp: &Harp, link: &Link) {
        let off = harp.string(reading.string).and_then(|string| {
            let cents = reading.hz.cents_above(link.tuning().open_target(string));
            (!cents.is_within(link.tolerance().of(string))).then_some(cents)
        });
        self.standstill.hear(reading, off);
        let opens = self.opening.asks().is_some() || self.opening.doubt().is_some();
        if !opens && consort_guide::is_in_turn(&self.situation(harp, link, &link.readiness()), reading.string) {
            self.ways.reached = Some(reading.string);
        }
        if self.ways.pedals.is_none() && self.ways.chosen.is_none() && !is_called {
            self.opening
                .hear(harp, link.tuning(), onset_s, reading.string, reading.hz);
        }
        if let Some(check) = &mut self.ways.last_check {
            check.hear(reading.string);
        }
        if !self.weighed
            && let Some(mean) = self.opening.mean().filter(|_| self.opening.asks().is_none())
        {
            self.weighed = true;
            self.ways.quick = Quick::for_mean(mean);
        }
    }

    /// What to do at `now`; words that come of a moving string are calmed.
    pub(crate) fn advise(&mut self, harp: &Harp, link: &Link, now: Uptime) -> Advice {
        let readiness = link.readiness();
        self.ways.end_passes(harp, &readiness);
        let situation = self.situation(harp, link, &readiness);
        let moving = situation
            .hand
            .is_some_and(|hand| matches!(hand.heard, Heard::Young(_) | Heard::Live(_) | Heard::Moved(_)));
        let advice = consort_guide::advise(&situation);
        self.steady.show(advice, moving, self.pace.pass(now))
    }

    /// When a word that waits is due.
    pub(crate) fn until(&self) -> Option<Uptime> {
        self.steady.until().map(|at| self.pace.when(at))
    }

    /// The string that comes after the one that is shown.
    pub(crate) fn following(&self, harp: &Harp, link: &Link, shown: Option<StringNumber>) -> Option<StringNumber> {
        if self.ways.pedals.is_some() {
            return None;
        }
        let readiness = link.readiness();
        consort_guide::following(&self.situation(harp, link, &readiness), shown?)
    }

    fn situation<'a>(&'a self, harp: &'a Harp, link: &'a Link, readiness: &'a Readiness) -> Situation<'a> {
        Situation {
            harp,
            tolerance: link.tolerance(),
            readiness,
            hand: self
                .follower
                .hand(self.sounding(harp), link.tuning())
                .map(|hand| match hand.heard {
                    // A stretched string finds its pitch for longer.
                    Heard::Live(cents) if self.strong_s.is_some() && self.follower.onset_s() == self.strong_s => {
                        let heard = Heard::Young(cents);
                        Hand { heard, ..hand }
                    }
                    _ => hand,
                }),
            stands_still: self
                .follower
                .sounds()
                .is_some_and(|(string, hz)| self.standstill.holds(string, hz)),
            opening: Some(&self.opening),
            ways: &self.ways,
        }
    }
}

/// Whether what is refused for this reason was no pluck: a knock, a word, a finger that damps.
const fn is_no_pluck(why: Refusal) -> bool {
    match why {
        Refusal::NoPitch | Refusal::NotAString | Refusal::Stopped | Refusal::NotNew => true,
        // More strings at once than can be told apart are plucks all the same.
        _ => false,
    }
}

#[cfg(test)]
mod tests;
