//! At the string: she plucks, reads what the screen says of it, and decides.

use consort_proto::StringNumber;

use super::{Harpist, PLUCKS_MAX, State, Visit};
use crate::advice::{AdviceLine, Word};
use crate::deed::Deed;
use crate::pluck::Pluck;

/// What the screen shows sooner than this after a pluck or a turn, seconds, she takes for older than that: assumed.
const TAKES_IN_S: f64 = 0.25;
/// What stands on the screen for less than this, seconds, she does not see: assumed.
const FLASH_S: f64 = 0.15;
/// A finger lies on the string this long before it plucks, seconds: assumed.
const PLACING_S: f64 = 0.08;
/// She does not act on a pluck or a turn younger than this, seconds, far from the mark and near it.
const FAR_AFTER_S: f64 = 0.4;
const NEAR_AFTER_S: f64 = 0.9;
/// Nearer than this it is near, cents.
const NEAR_CENTS: f64 = 10.0;
/// She waits this long for a word on a pluck, seconds.
const PATIENCE_S: f64 = 2.2;
/// She follows a ringing string this long after a turn, then plucks again, seconds.
const FOLLOWS_S: f64 = 0.8;
/// Plucks without a word that could be used, before she gives a string up.
const VAIN_MAX: u32 = 6;

impl Harpist {
    pub(super) fn go_to(&mut self, string: StringNumber) {
        let took = self.hand.go_to(string);
        self.visit = Visit::of(string);
        self.memory[string.index()].visits += 1;
        self.state = State::Moving(self.now_s() + took);
    }

    pub(super) fn place(&mut self) {
        self.harp.damp(self.visit.string);
        self.state = State::Placing(self.now_s() + PLACING_S);
    }

    pub(super) fn pluck(&mut self) {
        let louder = if self.visit.in_vain > 1 { 1.3 } else { 1.0 };
        self.sound(self.visit.string, louder);
        self.visit.plucks += 1;
        self.visit.plucked_s = self.now_s();
        self.visit.acted_s = self.visit.plucked_s;
        self.state = State::Watching;
    }

    pub(super) fn sound(&mut self, string: StringNumber, louder: f64) {
        let pluck = Pluck {
            loudness: louder * self.chance.between(0.75, 1.25),
            place: self.chance.between(0.36, 0.47),
            plane: self.chance.between(0.3, 0.7),
        };
        let hz = self.harp.pluck(string, pluck);
        let target = self.harp.harp().strings()[string.index()];
        let cents = hz.cents_above(self.tuning.open_target(&target)).0;
        self.note(Deed::Plucked {
            string: string.get(),
            hz: hz.get(),
            cents,
        });
    }

    /// What she has read by now, and whether it answers what she did last.
    ///
    /// She is a little behind the screen, and does not see what only flashes up.
    pub(super) fn read(&self) -> Option<(AdviceLine, bool)> {
        let until = self.now_s() - self.pace.reaction_s;
        let gone = self
            .screen
            .iter()
            .skip(1)
            .map(|(since, _)| *since)
            .chain([f64::INFINITY]);
        let stood = self
            .screen
            .iter()
            .zip(gone)
            .filter(|((since, _), gone)| gone - since >= FLASH_S);
        let ((since, line), _) = stood.filter(|((since, _), _)| *since <= until).last()?;
        Some((line.clone(), *since > self.visit.acted_s + TAKES_IN_S))
    }

    pub(super) fn watch(&mut self) {
        let now = self.now_s();
        let since_pluck = now - self.visit.plucked_s;
        let since_act = now - self.visit.acted_s;
        let Some((line, fresh)) = self.read() else {
            if since_act > PATIENCE_S + self.pace.reaction_s {
                self.in_vain();
            }
            return;
        };
        let mine = line.string == Some(self.visit.string.get());
        let late = since_act > PATIENCE_S + self.pace.reaction_s;
        match line.word {
            Word::AllSet if fresh => self.leave(None),
            _ if !fresh => {
                // She turned and the string has died away, or nobody has heard her.
                let follows = self.visit.acted_s > self.visit.plucked_s;
                if follows && since_act > FOLLOWS_S {
                    self.place();
                } else if late && mine && matches!(line.word, Word::Tighten | Word::Loosen) {
                    self.turn_by(&line);
                } else if late {
                    self.note_line(&line, false);
                    self.in_vain();
                }
            }
            Word::Pluck if !mine => self.go_where_asked(&line),
            Word::PedalUp | Word::LeverDown if !mine => self.go_where_asked(&line),
            Word::Pluck | Word::Other if !late => {}
            Word::Pluck | Word::Other | Word::AllSet => {
                self.note_line(&line, false);
                self.in_vain();
            }
            _ if !mine => {
                if since_act > 1.3 {
                    self.note_line(&line, true);
                    self.in_vain();
                }
            }
            Word::Tighten | Word::Loosen => {
                let near = line.cents.is_none_or(|cents| cents.abs() < NEAR_CENTS);
                let ripe = since_pluck > if near { NEAR_AFTER_S } else { FAR_AFTER_S };
                if ripe && since_act > FAR_AFTER_S {
                    self.turn_by(&line);
                }
            }
            Word::LetItRing if late => {
                self.note_line(&line, false);
                self.in_vain();
            }
            Word::LetItRing => {}
            Word::OnceMore => self.again(),
            Word::Again => {
                if self.visit.in_vain > 1 {
                    self.harp.damp_all();
                }
                self.note_line(&line, false);
                self.in_vain();
            }
            Word::Holds => self.leave(Some(true)),
            Word::LeaveIt => self.leave(Some(false)),
            Word::NextOne => self.leave(None),
            Word::WhichPin => self.far_turn(&line),
            Word::PedalUp => self.look_at_the_pedal(&line),
            Word::LeverDown => self.look_at_the_lever(&line),
        }
    }

    /// The screen asks for another string: she goes there, and looks at its pedal or lever if she is to.
    fn go_where_asked(&mut self, line: &AdviceLine) {
        let asked = line.string.and_then(|string| StringNumber::new(string.into()).ok());
        let Some(string) = asked.filter(|string| string.index() < self.memory.len()) else {
            return;
        };
        self.go_to(string);
        match line.word {
            Word::PedalUp => self.look_at_the_pedal(line),
            Word::LeverDown => self.look_at_the_lever(line),
            _ => {}
        }
    }

    /// Plucks again because the screen asks for it.
    pub(super) fn again(&mut self) {
        self.visit.in_vain = 0;
        self.place();
    }

    /// Plucks again because nothing came of the last pluck.
    pub(super) fn in_vain(&mut self) {
        self.visit.in_vain += 1;
        if self.visit.in_vain > VAIN_MAX || self.visit.plucks > PLUCKS_MAX {
            let string = self.visit.string;
            let cents = self.true_cents(string);
            self.note(Deed::GaveUp {
                string: string.get(),
                cents,
            });
            self.leave(None);
        } else {
            self.place();
        }
    }
}
