//! She tunes string by string as a desk asks her to: what she plucks has to count.

use consort_harp::chance::Chance;
use consort_harp::{Condition, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Cents, Harp, SampleRate, StringNumber, order};

use super::memory::Memory;
use super::score::{Deed, Truth, Untrue, play};
use crate::report;

/// What goes on while she tunes.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum While {
    Alone,
    /// She plays a little between her strings.
    Music,
    /// From a third of the strings on she sits further away, or plucks more softly.
    Softer,
    /// Another harp is tuned beside hers.
    Another,
}

/// So much softer she is then, and so is the other harp, decibels.
const SOFTER_DB: f64 = 6.0;
const ANOTHER_DB: f64 = -10.0;
/// After so many strings she plays, and rests for so long afterwards, seconds.
const PLAYS_AFTER: usize = 5;
const RESTS_S: f64 = 2.5;
/// Her first pluck comes so late, seconds.
const FIRST_S: f64 = 1.0;
/// Until she plucks a string again she waits for this long, seconds; where it has not counted, for so much longer at most: some
/// are slow (assumed).
const PAUSE_S: (f64, f64) = (1.9, 3.0);
const LONGER_S: f64 = 9.0;
/// A string is plucked until it has counted, but no more often than this, and then once more.
const TRIES: usize = 3;

/// How her plucks counted.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Counts {
    /// Times that she meant a string.
    pub(super) meant: usize,
    /// Those that did not count by the first pluck, and by the second.
    pub(super) not_at_once: usize,
    pub(super) not_at_second: usize,
    pub(super) heard: Untrue,
}

/// She tunes one harp.
pub(super) fn tune(harp: &Harp, during: While, seed: u64, counts: &mut Counts) -> Result<(), String> {
    let mut chance = Chance::new(seed ^ 0x6865_7273);
    let stage = Stage {
        rate: SampleRate::STUDIO,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room {
            harp_db: (during == While::Another).then_some(ANOTHER_DB),
            ..Room::default()
        },
    };
    let condition = Condition {
        scatter_cents: 4.0,
        ..Condition::sound(seed)
    };
    let memory = Memory::new(harp, stage.rate, |_| Some(Cents(4.0 * chance.spread())))?;
    let mut tuning = Tuning {
        harp: VirtualHarp::new(harp, &condition, stage),
        memory,
        chance,
        truth: Vec::new(),
        now_s: 0.0,
    };
    // An input is there before she begins.
    tuning.play(&[], FIRST_S);
    let order = order::usual_order(harp);
    for (at, string) in order.iter().enumerate() {
        let softer_db = if during == While::Softer && at >= order.len() / 3 {
            SOFTER_DB
        } else {
            0.0
        };
        if during == While::Music && at % PLAYS_AFTER == PLAYS_AFTER - 1 {
            tuning.plays();
        }
        tuning.memory.ask(*string);
        for _ in 0..2 {
            counts.meant += 1;
            let tries = tuning.mean(*string, softer_db);
            counts.not_at_once += usize::from(tries > 1);
            counts.not_at_second += usize::from(tries > 2);
            if tries > 1 && counts.heard.each {
                let now_s = tuning.now_s;
                report(&format!("    {now_s:.2} s: {} was plucked {tries} times", string.get()));
            }
        }
    }
    tuning.memory.finish();
    let whole = (0.0, tuning.now_s);
    counts.heard.judge(&tuning.memory, &tuning.truth, stage.rate, whole);
    Ok(())
}

/// A tuning under way.
struct Tuning {
    harp: VirtualHarp,
    memory: Memory,
    chance: Chance,
    truth: Vec<Truth>,
    now_s: f64,
}

impl Tuning {
    /// She plucks `string` until it has counted; how often.
    fn mean(&mut self, string: StringNumber, softer_db: f64) -> usize {
        let before = self.memory.counted.len();
        for tries in 1..=TRIES {
            let pluck = Pluck {
                loudness: self.chance.between(0.75, 1.25) * 10_f64.powf(-softer_db / 20.0),
                place: self.chance.between(0.36, 0.47),
                plane: self.chance.between(0.3, 0.7),
            };
            let pause_s = self.chance.between(PAUSE_S.0, PAUSE_S.1);
            let score = [(0.0, Deed::Damp(string)), (0.1, Deed::Pluck(string, pluck))];
            self.play(&score, 0.1 + pause_s);
            let new = self.memory.counted.iter().skip(before);
            if new.clone().any(|reading| reading.string == string.get()) {
                return tries;
            }
            let longer_s = self.chance.between(0.0, LONGER_S);
            self.play(&[], longer_s);
        }
        TRIES + 1
    }

    /// Some notes to and fro.
    fn plays(&mut self) {
        let mut place = 12 + self.chance.below(20) as u32;
        let mut score = Vec::new();
        for note in 0..8 {
            let string = StringNumber::new(place).expect("a string of the harp");
            score.push((0.3 * f64::from(note), Deed::Pluck(string, Pluck::ORDINARY)));
            let leap = 1 + self.chance.below(3) as u32;
            place = if self.chance.is(0.5) {
                place + leap
            } else {
                place - leap
            }
            .clamp(4, 40);
        }
        score.push((2.4, Deed::DampAll));
        self.play(&score, 2.4 + RESTS_S);
    }

    fn play(&mut self, score: &[(f64, Deed)], seconds: f64) {
        let memory = &mut self.memory;
        let plucked = play(&mut self.harp, score, seconds, |sound| memory.push(sound));
        let now_s = self.now_s;
        self.truth.extend(plucked.into_iter().map(|pluck| pluck.later(now_s)));
        self.now_s += seconds;
    }
}
