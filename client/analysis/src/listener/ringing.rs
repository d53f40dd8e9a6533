//! What notes that ring together are to each other: a swell, an answer, the same string plucked again, or a crowd.

use super::{Listener, NOTES};
use crate::heard::Refusal;
use crate::identify::Verdict;
use crate::note::{Note, Progress};

/// A string that seems plucked anew this much softer than it still sounds from before only swells, decibels.
const SWELL_DB: f64 = 9.0;
/// The power of a string that is plucked anew grows by this much, the softer, the more; one that grows less and cannot be
/// measured well only swells.
const GROWTH_AGAIN: (f64, f64) = (2.0, 4.5);
/// Another string that seems plucked this much softer than one that still sounds only answers it, decibels.
const ANSWER_DB: f64 = 24.0;
/// Another string that was plucked later, no softer than this, decibels, and explains this share of the sound, crowds a note:
/// what sounds from then on is both of them.
const CROWDS_DB: f64 = 10.0;
const CROWDS_SCORE: f64 = 0.3;
/// What explains this share of the sound, and has not proved to be a pluck yet, may be the same string plucked again.
const SAME_SCORE: f64 = 0.4;

impl Listener {
    /// What is to be said of a note of which `progress` is said: where little of it is new, but the string before it was stopped
    /// for it, it is that string again.
    pub(super) fn hear_again(&mut self, at: usize, progress: Progress) -> Progress {
        let note = &self.notes[at];
        // A string that is chased gets out of step by itself, for its pin is turned.
        if self.in_hand.is_chased()
            || !note.is_just_decided()
            || !(note.passed || matches!(progress, Progress::Refused(_)))
        {
            return progress;
        }
        let before = self
            .notes
            .iter()
            .filter(|other| other.open && other.passed && other.onset < note.onset);
        let over = before
            .max_by_key(|other| other.onset)
            .and_then(|other| other.plucked_anew(note, &progress, &self.history));
        match (over, progress) {
            (Some(over), _) if self.notes[at].look_again(over, &self.history, &mut self.tools) => Progress::Waiting,
            // What it was taken for was what the string did before.
            (Some(_), Progress::Provisional(_)) => Progress::Refused(Refusal::NotAString),
            _ => progress,
        }
    }

    /// Whether a note that was just found is part of an earlier one that still sounds: so much softer that it is a swell
    /// of the same string, or an answer of the harp. One that may be a swell is marked.
    pub(super) fn is_echo(&mut self, at: usize) -> bool {
        let level = self.level(self.notes[at].onset);
        let string = self.notes[at].verdict().map(|verdict| verdict.string);
        let growth = self.notes[at].growth_again();
        let (mut echo, mut swells) = (false, false);
        for other in &self.notes {
            if !other.open || !other.passed || other.onset >= self.notes[at].onset {
                continue;
            }
            let softer_db = self.level(other.onset) - level;
            let same = other.verdict().map(|verdict| verdict.string) == string;
            echo |= softer_db > if same { SWELL_DB } else { ANSWER_DB };
            swells |= same && growth < growth_again(softer_db);
        }
        // What does not go on does not swell.
        self.notes[at].swells = swells && self.notes[at].over.is_none();
        echo
    }

    /// Ends notes whose string was plucked again, and those that were measured and followed by another.
    pub(super) fn end_plucked_again(&mut self) {
        for at in 0..NOTES {
            let note = &self.notes[at];
            let is_known = self.history.count() - note.onset >= self.beginning;
            if note.open && note.passed && is_known && note.level_db.is_none() {
                self.notes[at].level_db = Some(self.level(note.onset));
            }
        }
        for at in 0..NOTES {
            if !self.notes[at].open || self.notes[at].ended {
                continue;
            }
            let onset = self.notes[at].onset;
            let string = self.notes[at].verdict().map(|verdict| verdict.string);
            let later = || self.notes.iter().filter(move |note| note.open && note.onset > onset);
            let again = later().filter(|note| {
                let verdict = note.verdict().filter(|verdict| verdict.score > SAME_SCORE);
                let stopped = note.passed && note.over.is_some_and(|over| over.onset == onset);
                stopped || verdict.is_some_and(|verdict| Some(verdict.string) == string)
            });
            let again = again.map(|note| (note.onset, note.passed)).min();
            let followed = later().any(|note| note.passed);
            let next = later().map(|note| note.onset).min();
            let least = self.notes[at].level_db.map(|level| level - CROWDS_DB);
            let crowds = |other: &&Note| {
                let another = |verdict: Verdict| Some(verdict.string) != string && verdict.score > CROWDS_SCORE;
                other.verdict().is_some_and(another) && least.is_some() && other.level_db > least
            };
            let crowded = later().filter(crowds).map(|note| note.onset).min();
            let crowd = later().filter(crowds).count();
            let measured = self.notes[at].measured;
            let note = &mut self.notes[at];
            (note.end, note.ended) = again.unwrap_or((u64::MAX, false));
            note.crowded = crowded.unwrap_or(u64::MAX);
            note.crowd = crowd;
            note.later = next.unwrap_or(u64::MAX);
            if measured && followed {
                note.open = false;
            }
        }
    }

    /// Whether the string in hand may just have been plucked again.
    pub(super) fn is_in_doubt(&self) -> bool {
        let again = |note: &Note| {
            let verdict = note.verdict().filter(|verdict| verdict.score > SAME_SCORE);
            note.open && !note.passed && !note.measured && verdict.map(|verdict| verdict.string) == self.context.chosen
        };
        self.notes.iter().any(again)
    }
}

/// How many times the power of a string that still sounds has to grow to have been plucked anew, `softer_db` softer.
fn growth_again(softer_db: f64) -> f64 {
    (GROWTH_AGAIN.0 * 10.0_f64.powf(softer_db / 10.0)).clamp(GROWTH_AGAIN.0, GROWTH_AGAIN.1)
}
