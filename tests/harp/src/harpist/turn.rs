//! At the pin: she turns it, or looks first at what may be wrong.

use super::{Harpist, PLUCKS_MAX, State, told};
use crate::advice::{AdviceLine, Word};
use crate::deed::Deed;

/// A string that rings less than this, seconds to 1/e, is plucked again after each turn.
const RINGS_ON_S: f64 = 0.5;
/// What she raises or lowers at once when the string is far away, cents.
const FAR_STEP_CENTS: f64 = 45.0;

impl Harpist {
    pub(super) fn turn_by(&mut self, line: &AdviceLine) {
        self.visit.in_vain = 0;
        if self.visit.plucks > PLUCKS_MAX {
            self.in_vain();
            return;
        }
        let cents = line
            .cents
            .unwrap_or(if line.word == Word::Tighten { -3.0 } else { 3.0 });
        if let Some((before, expected)) = self.visit.expected.take() {
            let moved = cents - before;
            let answered = expected.abs() < 4.0 || moved / expected > 0.3;
            self.visit.unanswered = if answered { 0 } else { self.visit.unanswered + 1 };
            let notices = self.visit.unanswered > 1 || self.chance.is(self.pace.notices);
            if !answered && notices && self.look_at_the_pin() {
                return;
            }
        }
        // The word says the way; the figure how far.
        let size = if cents.abs() > 15.0 {
            0.9 * cents.abs()
        } else {
            cents.abs()
        };
        let up = if line.word == Word::Tighten { size } else { -size };
        self.turn_cents(up, cents);
    }

    /// Turns by what she believes to be `up` cents, having read that the string is `read` cents above its target.
    pub(super) fn turn_cents(&mut self, up: f64, read: f64) {
        let string = self.visit.string;
        let per_degree = self.harp.cents_per_degree(string) * self.feel[string.index()];
        let degrees = self.hand.turn(up / per_degree);
        self.visit.expected = Some((read, degrees * per_degree));
        self.state = State::Turning {
            left: degrees,
            all: degrees,
        };
    }

    pub(super) fn turned(&mut self, degrees: f64) {
        let now = self.now_s();
        let pin = self.hand.pin().unwrap_or(self.visit.string);
        let cents = self.true_cents(pin);
        let advice = self.read().map(|(line, _)| told(&line)).unwrap_or_default();
        self.note(Deed::Turned {
            string: pin.get(),
            meant: self.visit.string.get(),
            degrees,
            advice,
            cents,
        });
        self.visit.acted_s = now;
        let rings = self.harp.decay_s(self.visit.string) > RINGS_ON_S && now - self.visit.plucked_s < 1.6;
        if rings && self.chance.is(self.pace.follows) {
            self.state = State::Watching;
        } else {
            self.place();
        }
    }

    /// Looks whether the key is on the right pin; whether it was not.
    pub(super) fn look_at_the_pin(&mut self) -> bool {
        let (pin, meant) = (self.hand.pin(), self.visit.string);
        let took = self.hand.look_and_go_to(meant);
        self.visit.unanswered = 0;
        self.visit.looked = true;
        self.state = State::Moving(self.now_s() + took);
        let Some(wrong) = pin.filter(|pin| *pin != meant) else {
            return false;
        };
        self.note(Deed::FoundWrongPin {
            meant: meant.get(),
            turned: wrong.get(),
        });
        if self.memory[wrong.index()].seen && !self.next.contains(&wrong) {
            self.next.push_back(wrong);
        }
        true
    }

    /// A string far away: a look at the pin, then in steps.
    pub(super) fn far_turn(&mut self, line: &AdviceLine) {
        self.visit.in_vain = 0;
        if !self.visit.looked {
            self.look_at_the_pin();
            return;
        }
        if let Some(cents) = line.cents {
            let up = (-cents).clamp(-FAR_STEP_CENTS, FAR_STEP_CENTS);
            self.turn_cents(up, cents);
        }
    }

    pub(super) fn look_at_the_pedal(&mut self, line: &AdviceLine) {
        let letter = self.letter();
        if self.harp.pedal(letter) == 0 {
            self.far_turn(line);
            return;
        }
        self.harp.move_pedal(letter, 0);
        self.note(Deed::MovedPedal {
            letter: letter.to_string(),
            position: 0,
        });
        self.visit.in_vain = 0;
        // Strings of this letter that were seen to before were tuned against their disc.
        let harp = self.harp.harp().clone();
        for (number, string) in harp.numbered() {
            let seen = self.memory[number.index()].seen;
            if string.open.letter == letter && seen && number != self.visit.string && !self.next.contains(&number) {
                self.next.push_back(number);
            }
        }
        self.state = State::Moving(self.now_s() + 1.0);
    }

    pub(super) fn look_at_the_lever(&mut self, line: &AdviceLine) {
        let string = self.visit.string;
        if !self.harp.lever_is_up(string) {
            self.far_turn(line);
            return;
        }
        self.harp.move_lever(string, false);
        self.note(Deed::MovedLever { string: string.get() });
        self.visit.in_vain = 0;
        self.state = State::Moving(self.now_s() + 0.8);
    }
}
