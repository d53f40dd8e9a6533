//! Which strings the plucks of a run were: each by what it added, and all by one another.

use super::order::{After, Belief, Says};
use super::{LIKELY, Run};
use crate::context::{Context, STRINGS_MAX};
use crate::history::History;

/// From this probability on it is sure which string a pluck is. While little is heard beside the run, as a share, the second is
/// enough: what is confused then are neighbours that both ring; players in the room are believed as surely, and are strangers.
const SURE: f64 = 0.9;
const SURE_ALONE: f64 = 0.8;
const FEW_OTHERS: f64 = 0.05;
/// A string that lies so many strings or fewer from one that was plucked shortly before or after it is one of the run.
const IN_STEP: usize = 2;
/// After a silence of this length another run begins, seconds.
const SILENCE_S: f64 = 4.0;
/// What adds this much less than plucks lately did, decibels, does not tell how much is usual.
const UNUSUAL_DB: f64 = 10.0;
/// Share of the newest pluck in what is usual.
const SHARE: f64 = 0.3;
/// What adds nothing at all is so much softer, decibels.
const NOTHING_DB: f64 = 30.0;
/// Of what begins to sound a share is no pluck of hers: until it is known, of the newest in it, and between which bounds.
pub(super) const OTHERS: f64 = 0.04;
const OTHERS_SHARE: f64 = 0.05;
const OTHERS_WITHIN: (f64, f64) = (0.005, 0.5);

impl Run {
    /// Which string the pluck at this place was, by what it added; and what that says of the others.
    pub(super) fn weigh(&mut self, at: usize, history: &History, context: &Context) {
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
        if verdict.sure > LIKELY && usual_db - added_db < UNUSUAL_DB {
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
    pub(super) fn begins(&self, at: usize) -> bool {
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
    pub(super) fn is_in_step(&self, at: usize) -> bool {
        let own = &self.plucks[at];
        own.weighed
            && self.plucks.iter().any(|other| {
                let steps = other.verdict.string.abs_diff(own.verdict.string);
                let is_string = other.weighed && other.verdict.none < other.verdict.sure;
                is_string && self.is_near(other.onset, own.onset) && (1..=IN_STEP).contains(&steps)
            })
    }

    /// From which probability on it is sure which string a pluck is.
    pub(super) fn sure(&self) -> f64 {
        if self.others < FEW_OTHERS { SURE_ALONE } else { SURE }
    }
}
