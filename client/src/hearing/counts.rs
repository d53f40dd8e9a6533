//! What counts of what is heard, and what does not.

use consort_analysis::Doubt;
use consort_guide::{Heeded, Plucked, Taken, Wanted, is_elsewhere};
use consort_link::Link;
use consort_proto::{Cents, Harp, Note, StringNumber, Tuning};

use super::Hearing;
use crate::ear::{Answer, Sensed, Verdict};

/// A pluck that was measured and does not count.
#[derive(Clone, Copy, Debug)]
pub(super) struct Left {
    pub(super) onset_s: f64,
    pub(super) why: Why,
}

#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Why {
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

    /// Whether what is not measured yet is much softer than this harp: what it is shows once it is measured.
    pub(super) fn is_another_harps(&mut self, sensed: &Sensed) -> bool {
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

    /// Whether the opening check takes a pluck for a string that it does not ask for, by its pitch alone: it may be the one
    /// that is asked for, whose pedal stands elsewhere.
    pub(crate) fn passes_over(&self, onset_s: f64, string: StringNumber) -> bool {
        self.ways.pedals.is_none() && self.ways.chosen.is_none() && self.opening.passes_over(onset_s, string)
    }
}

/// The pluck of an answer, which is the last word on it.
pub(super) fn plucked(answer: &Answer, harp: &Harp, tuning: &Tuning) -> Plucked {
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
