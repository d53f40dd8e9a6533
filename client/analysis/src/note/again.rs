//! A string that is plucked anew while it rings: little of it is new, but it does not go on as it did.

use super::{Note, Progress};
use crate::evidence::STRETCHES_S;
use crate::fit::CENT;
use crate::heard::Refusal;
use crate::history::History;
use crate::partials::{FOLLOWED_MAX, Followed};

/// A pitch this near to a multiple of the string's, cents, may be that of some of its partials alone.
const MULTIPLE_CENTS: f64 = 40.0;

/// What a note knows of its string, for the note of its next pluck.
pub(crate) struct Known {
    verdict: crate::identify::Verdict,
    followed: [Followed; FOLLOWED_MAX],
    count: usize,
}

impl Note {
    /// What it knows of its string, if that was stopped and plucked anew at the onset of `later`, of which `progress` is said.
    pub(crate) fn plucked_anew(&self, later: &Self, progress: &Progress, history: &History) -> Option<Known> {
        let verdict = self.verdict?;
        let refused = matches!(
            progress,
            Progress::Refused(Refusal::NoPitch | Refusal::NotAString | Refusal::NotNew)
        );
        let but = match later.verdict.filter(|_| !refused) {
            None => 0,
            Some(other) if other.string == verdict.string => 0,
            Some(other) => multiple(other.hz, verdict.hz)?,
        };
        let anew = self.follower.is_plucked_anew(history, later.onset, but);
        anew.then(|| {
            let mut known = Known {
                verdict,
                followed: [Followed::default(); FOLLOWED_MAX],
                count: 0,
            };
            for (to, from) in known.followed.iter_mut().zip(self.follower.followed()) {
                *to = *from;
                known.count += 1;
            }
            known
        })
    }

    /// Goes on as the pluck of a string of which so much is `known`.
    pub(crate) fn take_over(&mut self, known: &Known, history: &History) {
        let followed = &known.followed[..known.count];
        if !self.passed || self.verdict.map(|verdict| verdict.string) != Some(known.verdict.string) {
            self.verdict = Some(known.verdict);
            self.partials.clear();
            self.partials.extend(followed.iter().map(|followed| (followed.n, followed.hz)));
            self.follower.follow(&self.partials, known.verdict.hz, history);
            // Longer looks would only show again that little is new.
            self.looks = STRETCHES_S.len();
        }
        self.follower.forget_itself(followed);
        self.passed = true;
        self.anew = true;
    }
}

/// Which multiple of `hz` this `other` pitch is, if it is one: 2 at least.
fn multiple(other: f64, hz: f64) -> Option<usize> {
    let times = (other / hz).round();
    let off = (other / hz / times).ln().abs() / CENT;
    (times >= 2.0 && off < MULTIPLE_CENTS).then_some(times as usize)
}
