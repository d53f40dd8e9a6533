//! Music on her own harp, which she has tuned but for one string: chords, passages, glissandi, harmonics, pedals that move.

use consort_harp::chance::Chance;
use consort_harp::{Condition, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Cents, Harp, Letter, SampleRate, StringNumber, Tolerance, Tuning, order};

use super::memory::Memory;
use super::score::{Deed, Truth, Untrue, play};

/// What is played.
#[derive(Clone, Copy, Debug)]
pub(super) enum Music {
    Chords,
    Passages,
    Glissandi,
    Harmonics,
    /// Chords and passages with pedals in other positions, which move between them.
    Pedals,
}

/// A piece lasts so long, seconds.
pub(super) const PIECE_S: f64 = 90.0;
/// And every string that she tunes before it so long, seconds.
const TUNED_S: f64 = 1.7;

/// One piece of music and what was read of it that was not so.
pub(super) fn listen(harp: &Harp, music: Music, seed: u64, heard: &mut Untrue) -> Result<(), String> {
    let stage = Stage {
        rate: SampleRate::STUDIO,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room::default(),
    };
    let mut chance = Chance::new(seed ^ 0x6d75_7369);
    let condition = Condition {
        scatter_cents: 2.0,
        ..Condition::sound(seed)
    };
    let mut sounding = VirtualHarp::new(harp, &condition, stage);
    let standing = sounding.standing(&Tuning::default(), &Tolerance::default());
    let mut memory = Memory::new(harp, stage.rate, |number| {
        standing.get(number.index()).map(|string| Cents(string.cents))
    })?;
    // One string is left to be tuned.
    let asked = StringNumber::new(1 + chance.below(harp.len()) as u32).map_err(|why| why.to_string())?;
    let mut truth = Vec::new();
    let tuned_s = tune(&mut sounding, asked, seed, &mut memory, &mut truth);
    memory.ask(asked);
    let score = Composer {
        strings: harp.len(),
        chance: &mut chance,
        score: Vec::new(),
        at_s: 1.0,
    }
    .piece(music);
    let music = play(&mut sounding, &score, PIECE_S, |sound| memory.push(sound));
    truth.extend(music.into_iter().map(|pluck| pluck.later(tuned_s)));
    memory.finish();
    heard.judge(&memory, &truth, stage.rate, (tuned_s, tuned_s + PIECE_S));
    Ok(())
}

/// She plucks every string but one, as the desk asks her to; how long that takes, seconds.
fn tune(harp: &mut VirtualHarp, left: StringNumber, seed: u64, memory: &mut Memory, truth: &mut Vec<Truth>) -> f64 {
    let mut chance = Chance::new(seed ^ 0x7475_6e65);
    let order = order::usual_order(harp.harp());
    let mut now_s = 0.0;
    for string in order.into_iter().filter(|string| *string != left) {
        memory.ask(string);
        let pluck = Pluck {
            loudness: (0.15 * chance.spread()).exp(),
            place: chance.between(0.36, 0.47),
            ..Pluck::ORDINARY
        };
        let score = [(0.05, Deed::Pluck(string, pluck)), (TUNED_S - 0.1, Deed::Damp(string))];
        let plucked = play(harp, &score, TUNED_S, |sound| memory.push(sound));
        truth.extend(plucked.into_iter().map(|pluck| pluck.later(now_s)));
        now_s += TUNED_S;
    }
    now_s
}

/// Writes a piece down.
struct Composer<'a> {
    strings: usize,
    chance: &'a mut Chance,
    score: Vec<(f64, Deed)>,
    at_s: f64,
}

impl Composer<'_> {
    fn piece(mut self, music: Music) -> Vec<(f64, Deed)> {
        while self.at_s < PIECE_S {
            match music {
                Music::Chords => self.chords(),
                Music::Passages => self.passage(),
                Music::Glissandi => self.glissando(),
                Music::Harmonics => self.harmonics(),
                Music::Pedals => {
                    for letter in Letter::ALL {
                        if self.chance.is(0.4) {
                            let position = self.chance.below(3) as u8;
                            self.score.push((self.at_s, Deed::Pedal(letter, position)));
                        }
                    }
                    self.at_s += self.chance.between(0.1, 0.6);
                    if self.chance.is(0.5) {
                        self.chords();
                    } else {
                        self.passage();
                    }
                }
            }
        }
        self.score.sort_by(|a, b| a.0.total_cmp(&b.0));
        self.score
    }

    /// The string at `place` from the top, counted from 0 and kept on the harp.
    fn string(&self, place: i32) -> StringNumber {
        let last = self.strings as i32;
        // A place on the harp is a number from 1 to 47.
        StringNumber::new(place.clamp(0, last - 1) as u32 + 1).expect("a string of the harp")
    }

    fn pluck(&mut self, at_s: f64, place: i32) {
        let pluck = Pluck {
            loudness: (0.3 * self.chance.spread()).exp(),
            place: self.chance.between(0.33, 0.47),
            ..Pluck::ORDINARY
        };
        let string = self.string(place);
        self.score.push((at_s, Deed::Pluck(string, pluck)));
    }

    /// Some bars of chords, three to seven strings, broken or not, damped or left to ring.
    fn chords(&mut self) {
        let bars = 2 + self.chance.below(5);
        let beat_s = self.chance.between(0.5, 1.6);
        for _ in 0..bars {
            let spread_s = if self.chance.is(0.5) {
                0.012
            } else {
                self.chance.between(0.03, 0.12)
            };
            let mut place = 20 + self.chance.below(20) as i32;
            for note in 0..3 + self.chance.below(5) {
                self.pluck(self.at_s + spread_s * note as f64, place);
                place -= 2 + self.chance.below(3) as i32;
            }
            if self.chance.is(0.4) {
                self.score.push((self.at_s + 0.9 * beat_s, Deed::DampAll));
            }
            self.at_s += beat_s;
        }
        self.at_s += self.chance.between(0.0, 1.5);
    }

    /// A melody of 2 to 9 notes a second over single low strings.
    fn passage(&mut self) {
        let pace_s = 1.0 / self.chance.between(2.0, 9.0);
        let notes = 8 + self.chance.below(30);
        let mut place = 8 + self.chance.below(22) as i32;
        for note in 0..notes {
            self.pluck(self.at_s, place);
            if note % 4 == 0 && self.chance.is(0.6) {
                let low = 30 + self.chance.below(16) as i32;
                self.pluck(self.at_s + 0.01, low);
            }
            if self.chance.is(0.5) {
                let string = self.string(place);
                self.score.push((self.at_s + pace_s, Deed::Damp(string)));
            }
            self.at_s += pace_s * if self.chance.is(0.12) { 2.0 } else { 1.0 };
            let leap = if self.chance.is(0.7) {
                1
            } else {
                2 + self.chance.below(4) as i32
            };
            place += if self.chance.is(0.5) { leap } else { -leap };
            place = place.clamp(2, 34);
        }
        self.at_s += self.chance.between(0.2, 2.0);
    }

    /// A finger over ten to forty strings, 12 to 40 in a second.
    fn glissando(&mut self) {
        let pace_s = 1.0 / self.chance.between(12.0, 40.0);
        let strings = 10 + self.chance.below(30) as i32;
        let first = self.chance.below(self.strings) as i32;
        let down = first < self.strings as i32 / 2;
        for step in 0..strings {
            let place = if down { first + step } else { first - step };
            if !(0..self.strings as i32).contains(&place) {
                break;
            }
            self.pluck(self.at_s, place);
            self.at_s += pace_s;
        }
        self.at_s += self.chance.between(0.3, 2.5);
        if self.chance.is(0.5) {
            self.score.push((self.at_s - 0.1, Deed::DampAll));
        }
    }

    /// Harmonics in the middle of the harp, some of them over a low string.
    fn harmonics(&mut self) {
        for _ in 0..3 + self.chance.below(6) {
            let place = 16 + self.chance.below(16) as i32;
            let string = self.string(place);
            self.score.push((self.at_s, Deed::Harmonic(string)));
            if self.chance.is(0.3) {
                let low = 32 + self.chance.below(14) as i32;
                self.pluck(self.at_s + 0.015, low);
            }
            self.at_s += self.chance.between(0.3, 1.5);
        }
        self.at_s += self.chance.between(0.2, 1.0);
    }
}
