//! From string to string: in the usual order, then what the screen says is left.

use consort_proto::StringNumber;

use super::{Checks, Harpist, State};
use crate::advice::Word;
use crate::deed::Deed;

/// Visits of one string after the first round, before she leaves it for good.
const VISITS_MAX: u32 = 8;
/// She waits this long for a word when all strings were seen to, seconds.
const WAITS_S: f64 = 12.0;
/// Time between two notes that she plays by the way, and between two strings of the last check, seconds.
const NOODLE_S: f64 = 0.25;
const CHECK_S: f64 = 0.9;
/// A string that the check found moved is set, left for so long, seconds, and played again; so often at most.
const STANDS_S: f64 = 8.0;
const LOOKS_AGAIN_MAX: u32 = 4;

impl Harpist {
    /// Leaves the string: held, set aside, or given up for now.
    pub(super) fn leave(&mut self, held: Option<bool>) {
        let string = self.visit.string;
        let cents = self.true_cents(string);
        match held {
            Some(true) => self.note(Deed::Believed {
                string: string.get(),
                cents,
            }),
            Some(false) => self.note(Deed::LeftIt {
                string: string.get(),
                cents,
            }),
            None => {}
        }
        self.memory[string.index()].seen = true;
        if self.chance.is(self.pace.noodles) {
            let around = string.index();
            let count = self.harp.harp().len();
            let notes = (0..4 + self.chance.below(3)).filter_map(|_| {
                let near = (around + self.chance.below(12)).saturating_sub(6).min(count - 1);
                StringNumber::new(near as u32 + 1).ok()
            });
            self.state = State::Playing(notes.collect(), self.now_s() + NOODLE_S);
        } else {
            self.go_on();
        }
    }

    pub(super) fn go_on(&mut self) {
        let unseen = self
            .order
            .iter()
            .copied()
            .find(|number| !self.memory[number.index()].seen);
        match self.next.pop_front().or(unseen) {
            Some(string) => self.go_to(string),
            None => self.state = State::Waiting(self.now_s()),
        }
    }

    pub(super) fn play_on(&mut self) {
        let now = self.now_s();
        let State::Playing(notes, next_s) = &mut self.state else {
            return;
        };
        if now < *next_s {
            return;
        }
        let interval = if self.checks == Checks::Done { CHECK_S } else { NOODLE_S };
        *next_s = now + interval;
        match notes.pop_front() {
            Some(string) => self.sound(string, 1.0),
            None => self.go_on(),
        }
    }

    /// All strings were seen to: the screen says what is left.
    pub(super) fn wait(&mut self, since: f64) {
        let waited = self.now_s() - since;
        let word = self.read().map(|(line, _)| line);
        let asked = word
            .as_ref()
            .and_then(|line| line.string)
            .and_then(|string| StringNumber::new(string.into()).ok());
        match (word.map(|line| line.word), asked) {
            (Some(Word::AllSet), _) if self.checks == Checks::Due => {
                self.checks = Checks::Done;
                self.note(Deed::Checks);
                let all = self.order.iter().copied().collect();
                self.state = State::Playing(all, self.now_s() + CHECK_S);
            }
            (Some(Word::AllSet), _) if !self.doubted.is_empty() && self.looks_again < LOOKS_AGAIN_MAX => {
                self.looks_again += 1;
                let doubted = std::mem::take(&mut self.doubted).into_iter().collect();
                self.state = State::Playing(doubted, self.now_s() + STANDS_S);
            }
            (Some(Word::AllSet), _) if waited > 0.5 => self.finish(true),
            (Some(word), Some(string)) if word == Word::Pluck || waited > 4.0 => {
                if self.memory[string.index()].visits > VISITS_MAX {
                    self.finish(false);
                } else {
                    if self.checks == Checks::Done {
                        self.doubted.insert(string);
                    }
                    self.go_to(string);
                }
            }
            _ if waited > WAITS_S => self.finish(false),
            _ => {}
        }
    }

    pub(super) fn finish(&mut self, all_set: bool) {
        self.note(Deed::Finished { all_set });
        self.state = State::Finished;
    }
}
