//! What the ear senses, made into what it most likely is: the string in hand, and what the plucks before it tell of it.

use std::sync::Arc;

use consort_analysis::{Doubt, Refusal};
use consort_guide::opening::Check;
use consort_guide::{
    Action, Advice, Attention, FollowUp, Hand, Heard, Heeded, LastCheck, Pedals, Plucked, Quick, Situation, Sounding,
    Standstill, Steady, Taken, Twins, Wanted, Ways, is_elsewhere,
};
use consort_link::Link;
use consort_proto::{
    Accidental, Cents, Harp, HarpString, Mechanism, Note, Readiness, Reading, StringNumber, Tuning, Uptime,
};
use consort_record::settling::Settling;

use crate::choices::Choices;
use crate::ear::{Answer, Sensed, Verdict};
use crate::hand::Follower;
use crate::pace::Pace;

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

/// A pluck that was measured and does not count.
#[derive(Clone, Copy, Debug)]
struct Left {
    onset_s: f64,
    why: Why,
}

#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Why {
    /// It may count later.
    Waits,
    /// It was plucked too strongly.
    Strong,
    /// It is too soft.
    TooSoft,
    /// It is another harp's.
    NotHers,
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

    /// Guides as she has chosen, with the start `urgent` or not, on a `harp` that is tuned to `tuning`.
    pub(crate) fn guide_by(&mut self, choices: &Choices, urgent: bool, harp: &Harp, tuning: &Tuning) {
        if self.ways.order != choices.order() {
            self.ways.order = choices.order();
            self.ways.reached = None;
        }
        self.ways.naming = choices.naming();
        self.ways.key = choices.way(harp.name());
        self.ways.urgent = urgent;
        let rises = rises(harp, tuning);
        if self.ways.rises != rises {
            self.ways.rises = rises;
            self.ways.judge_anew();
            self.attention.forget_places();
        }
    }

    /// How she is guided.
    pub(crate) const fn ways(&self) -> &Ways {
        &self.ways
    }

    /// What `shown` doubts of `string` was looked at, or what was too soft was hers: its next pluck that is no softer counts.
    /// Whether it was doubted that it was hers.
    pub(crate) fn look_at(&mut self, string: StringNumber, shown: &Advice) -> bool {
        if self.follower.is_soft(string) {
            let is_hers = self.attention.take_for_hers(string);
            if is_hers {
                self.follower.let_go();
            }
            return is_hers;
        }
        let is_doubted = shown.string == Some(string) && shown.can_be_overruled() && !shown.doubts_whose();
        if self.opening.doubt().is_some_and(|doubt| doubt.string == string) {
            self.opening.overrule(string);
        } else if is_doubted {
            self.ways.looked_at = Some(string);
        }
        false
    }

    /// She has chosen a string by hand, or lets it go.
    pub(crate) fn choose(&mut self, string: Option<StringNumber>) {
        self.ways.chosen = string;
        self.attention.take_back();
        self.follower.let_go();
    }

    /// The pedals stand as she says; `None` for all in flat, or levers down.
    pub(crate) fn declare(&mut self, pedals: Option<Pedals>) {
        if pedals.is_some() {
            // Any string is heard then.
            self.ways.chosen = None;
        }
        self.ways.pedals = pedals;
        self.attention.take_back();
        self.attention.forget_passing();
        self.follower.let_go();
    }

    /// She has marked `string` as missing: it is in nobody's hand.
    pub(crate) fn is_missing(&mut self, string: StringNumber) {
        if self.follower.holds(string) {
            self.follower.let_go();
        }
    }

    /// Another round begins: the opening is `opening`, and nothing was heard.
    pub(crate) fn begin_round(&mut self, opening: Check) {
        self.opening = opening;
        self.weighed = false;
        self.ways.set_quick(None);
        self.ways.set_last_check(None);
    }

    /// Whether what is heard of `string` counts: not while its pedal, or that of one that sounds the same, is not in flat.
    pub(crate) fn counts(&self, string: StringNumber) -> bool {
        self.ways.pedals.as_ref().is_none_or(|pedals| pedals.is_open(string))
    }

    /// The harp as it sounds.
    fn sounding<'a>(&'a self, harp: &'a Harp) -> &'a Harp {
        self.ways.pedals.as_ref().map_or(harp, Pedals::sounding)
    }

    /// A quick pass begins or ends by her wish.
    pub(crate) fn set_quick(&mut self, quick: Option<Quick>) {
        self.ways.set_quick(quick);
    }

    /// A last check begins or ends by her wish.
    pub(crate) fn set_last_check(&mut self, check: Option<LastCheck>) {
        self.ways.set_last_check(check);
        self.attention.take_back();
        self.follower.let_go();
    }

    /// New strings come to hold like this.
    pub(crate) fn settle(&mut self, settling: &[Settling]) {
        let follow_up = settling.iter().map(|one| {
            let (again, holds) = (one.again.to_string(), one.holds.to_string());
            (one.string, FollowUp { again, holds })
        });
        self.ways.follow_up = follow_up.collect();
    }

    /// She has rested from playing.
    pub(crate) fn rest(&mut self) {
        self.attention.rest();
        self.ways.plays = false;
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

    /// What counts of `answer`, the last word on a pluck, and of those before it: a string that nobody asked for counts
    /// once it is plucked twice, or has stood alone. `called` is the string that the leader has called.
    pub(crate) fn what_counts(
        &mut self,
        answer: &Answer,
        called: Option<Note>,
        harp: &Harp,
        link: &Link,
    ) -> Vec<Answer> {
        let string = answer.string;
        let is_called = harp.string(string).is_some_and(|own| Some(own.open) == called);
        let wanted = if self.ways.chosen == Some(string) {
            Wanted::ByHand
        } else if is_called
            || self.ways.last_check.is_some()
            || self.ways.pedals.is_some()
            || self.passes_over(answer.onset_s, string)
        {
            Wanted::Any
        } else {
            let readiness = link.readiness();
            consort_guide::asked(&self.situation(harp, link, &readiness), None).map_or(Wanted::Nothing, Wanted::Near)
        };
        let onset_s = answer.onset_s;
        let leave = |why| Some(Left { onset_s, why });
        let plucked = plucked(answer, harp, link.tuning());
        let is_told = matches!(
            answer.verdict,
            Verdict::Settled | Verdict::Unsure(Doubt::FarFromAll | Doubt::Which)
        );
        if is_told && is_elsewhere(plucked.apart) {
            self.attention.stands_elsewhere(plucked, wanted);
        }
        if answer.verdict != Verdict::Settled {
            // What others play comes as doubts as well: they do not wait, and a soft one takes no string out of her hand.
            let is_soft =
                answer.verdict == Verdict::Unsure(Doubt::Soft) || self.attention.is_too_soft(string, answer.own_dbfs);
            let heeded = self.attention.heeds(&plucked, wanted, is_soft);
            match heeded {
                Heeded::TooSoft => self.left = leave(Why::TooSoft),
                Heeded::No if is_soft => self.left = leave(Why::NotHers),
                Heeded::Yes | Heeded::No => {}
            }
            return (heeded == Heeded::Yes).then_some(*answer).into_iter().collect();
        }
        let (left, counts) = match self.attention.take(plucked, wanted, *answer) {
            Taken::Counts(answers) => (None, answers),
            Taken::Waits => (leave(Why::Waits), Vec::new()),
            Taken::Strong => (leave(Why::Strong), Vec::new()),
            Taken::TooSoft => (leave(Why::TooSoft), Vec::new()),
            Taken::NotHers => (leave(Why::NotHers), Vec::new()),
        };
        self.left = left;
        counts
    }

    /// Whether what is in hand does not count, for now or at all.
    pub(crate) const fn is_left(&self) -> bool {
        self.follower.is_left()
    }

    /// When what waits has stood alone for long enough, seconds of the sound.
    pub(crate) fn alone_at(&self) -> Option<f64> {
        self.attention.alone_at()
    }

    /// What waits and has stood alone, now that the sound has come to `time_s` or has ended: it counts.
    pub(crate) fn stood_alone(&mut self, time_s: f64) -> Vec<Answer> {
        let answers = self.attention.stood_alone(time_s);
        if let Some(last) = answers.last() {
            self.left = None;
            self.follower.counts(last.onset_s, last.hz);
        }
        answers
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
        let mut changed = !self.is_another_harps(sensed) && self.follower.follow(sensed);
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
                Heard::Live(cents) if is_asked() => Some(cents),
                _ => None,
            };
            if let (Some(quick), Some(cents)) = (&mut self.ways.quick, near) {
                quick.hear(hand.string, cents);
            }
        }
        changed
    }

    /// Whether what is not measured yet is much softer than this harp: what it is shows once it is measured.
    fn is_another_harps(&mut self, sensed: &Sensed) -> bool {
        match sensed {
            Sensed::Answer(answer) if answer.verdict == Verdict::Provisional => {
                let by_hand = self.ways.chosen == Some(answer.string);
                let soft = !by_hand && self.attention.is_too_soft(answer.string, answer.own_dbfs);
                if soft {
                    self.soft_s = Some(answer.onset_s);
                } else if self.soft_s == Some(answer.onset_s) {
                    self.soft_s = None;
                }
                soft
            }
            Sensed::Track { onset_s, .. } => self.soft_s == Some(*onset_s),
            Sensed::Answer(_) | Sensed::Refused { .. } | Sensed::Input(_) => false,
        }
    }

    /// The string is done, as `advice` says: between strings, nothing is in hand. Whether it was one that she had chosen.
    pub(crate) fn let_go(&mut self, advice: &Advice) -> bool {
        self.follower.let_go();
        if let (Action::LeaveIt, Some(string), Some(cents)) = (advice.action, advice.string, advice.cents) {
            self.ways.leave_new(string, cents);
        }
        let is_done = matches!(advice.action, Action::Holds | Action::LeaveIt);
        self.ways
            .chosen
            .take_if(|chosen| is_done && advice.string == Some(*chosen))
            .is_some()
    }

    /// Whether the opening check takes a pluck for a string that it does not ask for, by its pitch alone: it may be the one
    /// that is asked for, whose pedal stands elsewhere.
    pub(crate) fn passes_over(&self, onset_s: f64, string: StringNumber) -> bool {
        self.ways.pedals.is_none() && self.ways.chosen.is_none() && self.opening.passes_over(onset_s, string)
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
            .is_some_and(|hand| matches!(hand.heard, Heard::Young(_) | Heard::Live(_)));
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

/// The pluck of an answer, which is the last word on it.
fn plucked(answer: &Answer, harp: &Harp, tuning: &Tuning) -> Plucked {
    let target = harp.string(answer.string).map(|own| tuning.open_target(own));
    Plucked {
        onset_s: answer.onset_s,
        string: answer.string,
        apart: target.map_or(Cents(0.0), |target| answer.hz.cents_above(target)),
        glide: answer.glide,
        level_dbfs: answer.own_dbfs,
        whole_dbfs: answer.level_dbfs,
        stiffness: answer.inharmonicity,
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

/// How far the target of each string lies above the pitch that it is made for: its open note at A4 = 440 Hz.
///
/// A string without discs and levers takes the note that a piece wants, a semitone either side of the natural.
fn rises(harp: &Harp, tuning: &Tuning) -> Vec<Cents> {
    let usual = Tuning::default();
    let rise = |string: &HarpString| {
        let made_for = match string.mechanism {
            Mechanism::Fixed => usual.frequency(Note::new(string.open.letter, Accidental::Natural, string.open.octave)),
            Mechanism::Discs | Mechanism::Lever => usual.open_target(string),
        };
        tuning.open_target(string).cents_above(made_for)
    };
    harp.strings().iter().map(rise).collect()
}

#[cfg(test)]
mod tests;
