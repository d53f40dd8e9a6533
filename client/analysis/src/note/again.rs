//! A string that is plucked anew while it rings: little of it is new, but it does not go on as it did.

use super::{DECISIVE_LOOK, Note, Progress, SCORE_MIN, Tools};
use crate::fit::CENT;
use crate::history::History;
use crate::identify::Beliefs;
use crate::partials::{FOLLOWED_MAX, Followed};

/// A pitch this near to a multiple of the string's, cents, may be that of some of its partials alone.
const MULTIPLE_CENTS: f64 = 40.0;

/// What a string did that was stopped: it is no part of what sounds since.
#[derive(Clone, Copy)]
pub(crate) struct Over {
    /// When it was plucked.
    pub(crate) onset: u64,
    partials: [Followed; FOLLOWED_MAX],
    count: usize,
}

impl Over {
    /// The partials that it had.
    pub(crate) fn partials(&self) -> &[Followed] {
        &self.partials[..self.count]
    }
}

impl Note {
    /// What its string did, if that was stopped and plucked anew at the onset of `later`, of which `progress` is said.
    pub(crate) fn plucked_anew(&self, later: &Self, progress: &Progress, history: &History) -> Option<Over> {
        let verdict = self.verdict?;
        let refused = matches!(progress, Progress::Refused(_));
        let but = match later.verdict.filter(|_| !refused) {
            None => 0,
            Some(other) if other.string == verdict.string => 0,
            Some(other) => multiple(other.hz, verdict.hz)?,
        };
        if !self.follower.is_plucked_anew(history, later.onset, but) {
            return None;
        }
        let followed = self.follower.followed();
        let mut partials = [Followed::default(); FOLLOWED_MAX];
        for (to, from) in partials.iter_mut().zip(followed) {
            *to = *from;
        }
        Some(Over {
            onset: self.onset,
            partials,
            count: followed.len().min(FOLLOWED_MAX),
        })
    }

    /// Looks once more at what was plucked while its string rang, now that what it did is `over`; whether a string is heard.
    pub(crate) fn look_again(&mut self, over: Over, history: &History, tools: &mut Tools) -> bool {
        self.over = Some(over);
        self.beliefs = Beliefs::new();
        self.looks = 0;
        while self.looks <= DECISIVE_LOOK {
            self.look(history, tools);
        }
        self.follower.advance(history, history.count());
        self.passed = self.verdict.is_some_and(|verdict| verdict.score >= SCORE_MIN);
        self.passed
    }
}

/// Which multiple of `hz` this `other` pitch is, if it is one: 2 at least.
fn multiple(other: f64, hz: f64) -> Option<usize> {
    let times = (other / hz).round();
    let off = (other / hz / times).ln().abs() / CENT;
    (times >= 2.0 && off < MULTIPLE_CENTS).then_some(times as usize)
}
