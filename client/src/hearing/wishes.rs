//! What the harpist wishes, marks and says, as far as it changes how she is heard and guided.

use consort_guide::opening::Check;
use consort_guide::{Action, Advice, FollowUp, LastCheck, Pedals, Quick};
use consort_proto::{Accidental, Cents, Harp, HarpString, Mechanism, Note, StringNumber, Tuning};
use consort_record::settling::Settling;

use super::Hearing;
use crate::choices::Choices;

impl Hearing {
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
