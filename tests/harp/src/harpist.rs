//! A harpist: she plucks, reads advice lines and nothing else, and turns pins.

use std::collections::VecDeque;

use consort_proto::{Harp, Letter, StringNumber, Tolerance, Tuning, order};

use crate::advice::{AdviceLine, Word};
use crate::chance::Chance;
use crate::deed::{Deed, Done};
use crate::hand::{Hand, Pace};
use crate::harp::{TrueString, VirtualHarp};
use crate::pluck::Pluck;

/// A harpist at her harp; time is the sound that has been played.
#[derive(Clone, Debug)]
pub struct Harpist {
    harp: VirtualHarp,
    pace: Pace,
    hand: Hand,
    chance: Chance,
    /// What the targets are; only for what is written down, never for what she does.
    tuning: Tuning,
    order: Vec<StringNumber>,
    /// How far she believes a degree goes on each string, as a factor of what it does.
    feel: Vec<f64>,
    memory: Vec<Memory>,
    /// Strings to see to before she goes on in the usual order.
    next: VecDeque<StringNumber>,
    /// What the screen has shown, oldest first, and since when, seconds.
    screen: VecDeque<(f64, AdviceLine)>,
    state: State,
    visit: Visit,
    checks: Checks,
    samples: u64,
    /// Samples until she looks up again.
    until_step: usize,
    log: Vec<Done>,
}

/// What she remembers of a string.
#[derive(Clone, Copy, Debug, Default)]
struct Memory {
    /// Seen to, for better or worse.
    seen: bool,
    visits: u32,
}

/// What she knows of the string at hand.
#[derive(Clone, Copy, Debug)]
struct Visit {
    string: StringNumber,
    /// When it was plucked, seconds.
    plucked_s: f64,
    /// When she last did something that the screen has to answer, seconds.
    acted_s: f64,
    plucks: u32,
    /// Plucks since advice that could be used was read.
    in_vain: u32,
    /// What was read before the last turn, and what should have come of it, cents.
    expected: Option<(f64, f64)>,
    /// Turns in a row that changed nothing.
    unanswered: u32,
    /// Whether she has looked where the key is.
    looked: bool,
}

#[derive(Clone, Debug)]
enum State {
    /// On the way to a pin, until then.
    Moving(f64),
    /// The finger lies on the string, until then.
    Placing(f64),
    /// She watches the screen.
    Watching,
    /// The key turns: so many degrees are left, of so many.
    Turning { left: f64, all: f64 },
    /// She plays other strings: which are left, and when the next one comes.
    Playing(VecDeque<StringNumber>, f64),
    /// She has been through all strings and waits for a word, since then.
    Waiting(f64),
    /// She has finished.
    Finished,
}

/// How she checks the harp once all is set.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Checks {
    None,
    Due,
    Done,
}

/// What the screen shows sooner than this after a pluck or a turn, seconds, she takes for older than that: assumed.
const TAKES_IN_S: f64 = 0.25;
/// What stands on the screen for less than this, seconds, she does not see: assumed.
const FLASH_S: f64 = 0.15;
/// Screens that she may still be reading.
const SCREENS_MAX: usize = 32;
/// She looks up this often in a second.
const STEPS_PER_S: usize = 200;
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
/// A string that rings less than this, seconds to 1/e, is plucked again after each turn.
const RINGS_ON_S: f64 = 0.5;
/// What she raises or lowers at once when the string is far away, cents.
const FAR_STEP_CENTS: f64 = 45.0;
/// Plucks without a word that could be used, before she gives a string up.
const VAIN_MAX: u32 = 6;
/// Plucks of one string in one visit, before she gives it up.
const PLUCKS_MAX: u32 = 30;
/// Visits of one string after the first round, before she leaves it for good.
const VISITS_MAX: u32 = 4;
/// She waits this long for a word when all strings were seen to, seconds.
const WAITS_S: f64 = 12.0;
/// Time between two notes that she plays by the way, and between two strings of the last check, seconds.
const NOODLE_S: f64 = 0.25;
const CHECK_S: f64 = 0.9;

impl Harpist {
    /// A harpist of `pace` at `harp`; `seed` decides what is left to chance.
    ///
    /// `checks` makes her play every string once more when all is set, as one does before the concert.
    pub fn new(harp: VirtualHarp, pace: Pace, checks: bool, seed: u64) -> Self {
        let mut chance = Chance::new(seed ^ 0x4841_5250);
        let order = order::usual_order(harp.harp());
        let first = order[0];
        let count = harp.harp().len();
        let hand = Hand::new(pace, count, chance.apart());
        Self {
            feel: (0..count).map(|_| (pace.feel * chance.spread()).exp()).collect(),
            memory: vec![Memory::default(); count],
            hand,
            tuning: Tuning::default(),
            order,
            next: VecDeque::new(),
            screen: VecDeque::new(),
            state: State::Moving(0.5),
            visit: Visit::of(first),
            checks: if checks { Checks::Due } else { Checks::None },
            samples: 0,
            until_step: 0,
            log: Vec::new(),
            harp,
            pace,
            chance,
        }
        .at_the_first()
    }

    fn at_the_first(mut self) -> Self {
        let first = self.visit.string;
        self.go_to(first);
        self
    }

    /// The harp.
    pub fn harp(&self) -> &Harp {
        self.harp.harp()
    }

    /// The targets are those of `tuning` from now on; she does not know, but what is written down does.
    pub fn agreed(&mut self, tuning: Tuning) {
        self.tuning = tuning;
    }

    /// Every string as it truly is just now.
    pub fn standing(&self, tolerance: &Tolerance) -> Vec<TrueString> {
        self.harp.standing(&self.tuning, tolerance)
    }

    /// What she has done since this was last asked.
    pub fn take_log(&mut self) -> Vec<Done> {
        std::mem::take(&mut self.log)
    }

    /// Whether she has finished.
    pub const fn is_finished(&self) -> bool {
        matches!(self.state, State::Finished)
    }

    /// Whether she does nothing but wait for a word: a station that thinks in clock time needs some then.
    pub const fn is_waiting(&self) -> bool {
        matches!(self.state, State::Waiting(_))
    }

    /// Seconds of sound so far.
    pub fn now_s(&self) -> f64 {
        self.samples as f64 / self.harp.rate()
    }

    /// Reads `advice`, oldest first, and fills `out` with what is heard while she goes on.
    pub fn next_block(&mut self, advice: &[AdviceLine], out: &mut [f32]) {
        for line in advice {
            if self.screen.len() == SCREENS_MAX {
                self.screen.pop_front();
            }
            self.screen.push_back((self.now_s(), line.clone()));
        }
        let mut at = 0;
        while at < out.len() {
            if self.until_step == 0 {
                self.until_step = (self.harp.rate() as usize / STEPS_PER_S).max(1);
                self.step();
            }
            let count = self.until_step.min(out.len() - at);
            self.harp.render(&mut out[at..at + count]);
            self.samples += count as u64;
            self.until_step -= count;
            at += count;
        }
    }

    fn step(&mut self) {
        let now = self.now_s();
        match &mut self.state {
            State::Moving(until) if now >= *until => self.place(),
            State::Placing(until) if now >= *until => self.pluck(),
            State::Turning { left, all } => {
                let most = self.pace.degrees_per_s / STEPS_PER_S as f64;
                let by = left.clamp(-most, most);
                *left -= by;
                let (left, all) = (*left, *all);
                if let Some(pin) = self.hand.pin() {
                    self.harp.turn(pin, by);
                }
                if left == 0.0 {
                    self.turned(all);
                }
            }
            State::Watching => self.watch(),
            State::Playing(..) => self.play_on(),
            State::Waiting(since) => {
                let since = *since;
                self.wait(since);
            }
            State::Moving(_) | State::Placing(_) | State::Finished => {}
        }
    }

    // The string at hand.

    fn go_to(&mut self, string: StringNumber) {
        let took = self.hand.go_to(string);
        self.visit = Visit::of(string);
        self.memory[string.index()].visits += 1;
        self.state = State::Moving(self.now_s() + took);
    }

    fn place(&mut self) {
        self.harp.damp(self.visit.string);
        self.state = State::Placing(self.now_s() + PLACING_S);
    }

    fn pluck(&mut self) {
        let louder = if self.visit.in_vain > 1 { 1.3 } else { 1.0 };
        self.sound(self.visit.string, louder);
        self.visit.plucks += 1;
        self.visit.plucked_s = self.now_s();
        self.visit.acted_s = self.visit.plucked_s;
        self.state = State::Watching;
    }

    fn sound(&mut self, string: StringNumber, louder: f64) {
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
    fn read(&self) -> Option<(AdviceLine, bool)> {
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

    fn watch(&mut self) {
        let now = self.now_s();
        let since_pluck = now - self.visit.plucked_s;
        let since_act = now - self.visit.acted_s;
        let Some((line, fresh)) = self.read() else {
            if since_act > PATIENCE_S {
                self.in_vain();
            }
            return;
        };
        let mine = line.string == Some(self.visit.string.get());
        let late = since_act > PATIENCE_S;
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
            Word::LetItRing => {
                if late {
                    self.place();
                }
            }
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
            Word::WhichPin => self.far_turn(&line),
            Word::PedalUp => self.look_at_the_pedal(&line),
            Word::LeverDown => self.look_at_the_lever(&line),
        }
    }

    /// Plucks again because the screen asks for it.
    fn again(&mut self) {
        self.visit.in_vain = 0;
        self.place();
    }

    /// Plucks again because nothing came of the last pluck.
    fn in_vain(&mut self) {
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

    fn turn_by(&mut self, line: &AdviceLine) {
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
    fn turn_cents(&mut self, up: f64, read: f64) {
        let string = self.visit.string;
        let per_degree = self.harp.cents_per_degree(string) * self.feel[string.index()];
        let degrees = self.hand.turn(up / per_degree);
        self.visit.expected = Some((read, degrees * per_degree));
        self.state = State::Turning {
            left: degrees,
            all: degrees,
        };
    }

    fn turned(&mut self, degrees: f64) {
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
        if rings && self.chance.is(0.5) {
            self.state = State::Watching;
        } else {
            self.place();
        }
    }

    /// Looks whether the key is on the right pin; whether it was not.
    fn look_at_the_pin(&mut self) -> bool {
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
    fn far_turn(&mut self, line: &AdviceLine) {
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

    fn look_at_the_pedal(&mut self, line: &AdviceLine) {
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

    fn look_at_the_lever(&mut self, line: &AdviceLine) {
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

    // From string to string.

    /// Leaves the string: held, set aside, or given up for now.
    fn leave(&mut self, held: Option<bool>) {
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

    fn go_on(&mut self) {
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

    fn play_on(&mut self) {
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
    fn wait(&mut self, since: f64) {
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
            (Some(Word::AllSet), _) if waited > 0.5 => self.finish(true),
            (Some(word), Some(string)) if word == Word::Pluck || waited > 4.0 => {
                if self.memory[string.index()].visits > VISITS_MAX {
                    self.finish(false);
                } else {
                    self.go_to(string);
                }
            }
            _ if waited > WAITS_S => self.finish(false),
            _ => {}
        }
    }

    fn finish(&mut self, all_set: bool) {
        self.note(Deed::Finished { all_set });
        self.state = State::Finished;
    }

    // What is written down.

    fn letter(&self) -> Letter {
        self.harp.harp().strings()[self.visit.string.index()].open.letter
    }

    fn true_cents(&self, string: StringNumber) -> f64 {
        self.standing(&Tolerance::default())[string.index()].cents
    }

    fn note(&mut self, deed: Deed) {
        self.log.push(Done {
            time_s: self.now_s(),
            deed,
        });
    }

    fn note_line(&mut self, line: &AdviceLine, other: bool) {
        let string = self.visit.string.get();
        let advice = told(line);
        self.note(match line.string.filter(|_| other) {
            Some(read) => Deed::ReadOfAnother { string, read, advice },
            None => Deed::ReadNothing { string, advice },
        });
    }
}

impl Visit {
    const fn of(string: StringNumber) -> Self {
        Self {
            string,
            plucked_s: 0.0,
            acted_s: 0.0,
            plucks: 0,
            in_vain: 0,
            expected: None,
            unanswered: 0,
            looked: false,
        }
    }
}

/// Advice as one reads it.
fn told(line: &AdviceLine) -> String {
    let cents = line.cents.map(|cents| format!(" {cents:+.1}")).unwrap_or_default();
    let string = line
        .string
        .map(|string| format!("string {string}: "))
        .unwrap_or_default();
    format!("{string}{:?}{cents}", line.word)
}
