//! A harpist: she plucks, reads advice lines and nothing else, and turns pins.

mod round;
mod turn;
mod watch;

use std::collections::{BTreeSet, VecDeque};

use consort_proto::{Harp, Letter, StringNumber, Tolerance, Tuning, order};

use crate::advice::AdviceLine;
use crate::chance::Chance;
use crate::deed::{Deed, Done};
use crate::hand::{Hand, Pace};
use crate::harp::{TrueString, VirtualHarp};

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
    /// Strings that the last check found moved: once set, they are played again a little later, so often at most.
    doubted: BTreeSet<StringNumber>,
    looks_again: u32,
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

/// Screens that she may still be reading.
const SCREENS_MAX: usize = 32;
/// She looks up this often in a second.
const STEPS_PER_S: usize = 200;
/// Plucks of one string in one visit, before she gives it up.
const PLUCKS_MAX: u32 = 30;

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
            doubted: BTreeSet::new(),
            looks_again: 0,
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
