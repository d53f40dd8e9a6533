//! A harp that sounds: strings under tension in a frame, answering one another, heard through a pickup in a room.

mod answer;
mod rest;
mod truth;

use std::sync::Arc;

pub use truth::{Beating, TrueString};

use consort_proto::{Harp, Hz, Letter, Material, Mechanism, SampleRate, StringNumber, Tuning};

use crate::bank::{Lanes, Line, TICK, WIDTH};
use crate::chance::Chance;
use crate::condition::Condition;
use crate::noise::Touch;
use crate::pickup::{PLUCK_RMS, Pickup, Wire};
use crate::pluck::{self, Pluck};
use crate::recording::Library;
use crate::room::{Room, Surroundings};
use crate::string::Strung;
use crate::stringing::Stringing;

/// Where the sound of the strings comes from.
#[derive(Clone, Copy, Debug)]
pub enum Voices<'a> {
    /// Computed from the physics of plucked strings.
    Computed,
    /// Recorded strings, resampled.
    Recorded(&'a Library),
}

/// How the harp is heard.
#[derive(Clone, Copy, Debug)]
pub struct Stage<'a> {
    /// Samples per second.
    pub rate: SampleRate,
    /// The voices of the strings.
    pub voices: Voices<'a>,
    /// The pickup.
    pub pickup: Pickup,
    /// What else sounds in the room.
    pub room: Room,
}

/// A virtual harp.
#[derive(Clone, Debug)]
pub struct VirtualHarp {
    harp: Arc<Harp>,
    rate: f64,
    strings: Vec<Strung>,
    pedals: [u8; 7],
    gives: f64,
    /// Drift of each material, cents in a second, in the order of [`MATERIALS`].
    weather: [f64; 4],
    touches: Vec<Touch>,
    wire: Wire,
    room: Surroundings,
    chance: Chance,
    tick: u64,
    ready: [f32; TICK],
    /// Samples of `ready` that have been handed out.
    handed: usize,
}

const MATERIALS: [Material; 4] = [Material::Nylon, Material::Gut, Material::Fluorocarbon, Material::Wire];
/// Ticks between two looks at what moves by itself: some 20 ms.
const REST_TICKS: u64 = 16;
/// Ticks between two clearings of what can no longer be heard.
const PRUNE_TICKS: u64 = 32;
/// Level of the finger's noise against the pluck: assumed.
const TOUCH_LEVEL: f64 = 0.5;
/// How far along the neck a raise loads the frame most, strings, one standard deviation: assumed.
const FRAME_REACH: f64 = 7.0;

impl VirtualHarp {
    /// A harp like `harp`, found in `condition`, heard on `stage`.
    pub fn new(harp: &Harp, condition: &Condition, stage: Stage<'_>) -> Self {
        let mut chance = Chance::new(condition.seed);
        let rate = f64::from(stage.rate.get());
        let drift = MATERIALS.map(|_| condition.drift_cents * chance.spread());
        let weather = MATERIALS.map(|_| condition.weather_cents_per_min * chance.spread() / 60.0);
        let mut strings: Vec<Strung> = harp
            .numbered()
            .map(|(number, string)| {
                let fault = condition
                    .faults
                    .iter()
                    .find(|(at, _)| *at == number)
                    .map(|(_, fault)| *fault);
                let recording = match stage.voices {
                    Voices::Computed => None,
                    Voices::Recorded(library) => library.nearest(Tuning::default().frequency(string.open)),
                };
                let mut own = chance.apart();
                let mut strung = Strung::new(string, fault, recording, &mut own);
                let far = condition
                    .far_off
                    .iter()
                    .find(|(at, _)| *at == number)
                    .map(|(_, cents)| *cents);
                let common = drift[material_index(string.material)];
                strung.open_cents = far.unwrap_or_else(|| common + condition.scatter_cents * own.spread());
                strung
            })
            .collect();
        let mut pedals = [0; 7];
        for &(letter, position) in &condition.pedals {
            pedals[letter.index()] = position;
        }
        for (strung, string) in strings.iter_mut().zip(harp.strings()) {
            if string.mechanism == Mechanism::Discs {
                strung.position = pedals[string.open.letter.index()].min(2);
            }
        }
        Self {
            harp: Arc::new(harp.clone()),
            rate,
            strings,
            pedals,
            gives: condition.gives,
            weather,
            touches: Vec::new(),
            wire: Wire::new(stage.pickup, rate),
            room: Surroundings::new(stage.room, rate, chance.apart()),
            chance,
            tick: 0,
            ready: [0.0; TICK],
            handed: TICK,
        }
    }

    /// The harp that this one is like.
    pub fn harp(&self) -> &Harp {
        &self.harp
    }

    /// Samples per second.
    pub fn rate(&self) -> f64 {
        self.rate
    }

    /// Seconds of sound so far, to the last tick begun.
    pub fn now_s(&self) -> f64 {
        self.tick as f64 * TICK as f64 / self.rate
    }

    /// Fills `out` with what the pickup hears.
    ///
    /// The same calls in the same order give the same samples, whatever the length of `out`.
    pub fn render(&mut self, out: &mut [f32]) {
        let mut at = 0;
        while at < out.len() {
            if self.handed == TICK {
                self.next_tick();
            }
            let count = (TICK - self.handed).min(out.len() - at);
            out[at..at + count].copy_from_slice(&self.ready[self.handed..self.handed + count]);
            self.handed += count;
            at += count;
        }
    }

    fn next_tick(&mut self) {
        let mut lanes: Lanes = [[0.0; WIDTH]; TICK];
        let mut out = [0.0_f32; TICK];
        for string in &mut self.strings {
            string.render(&mut lanes, &mut out, self.rate);
        }
        for (sample, sums) in out.iter_mut().zip(&lanes) {
            *sample += sums.iter().sum::<f32>();
        }
        self.touches.retain_mut(|touch| touch.render(&mut out));
        self.room.render(&mut out);
        self.wire.render(&mut out);
        self.ready = out;
        self.handed = 0;
        self.tick += 1;
        if self.tick.is_multiple_of(PRUNE_TICKS) {
            self.strings.iter_mut().for_each(|string| string.bank.prune());
        }
        if self.tick.is_multiple_of(REST_TICKS) {
            self.move_by_itself();
        }
    }

    fn move_by_itself(&mut self) {
        let step_s = (REST_TICKS as usize * TICK) as f64 / self.rate;
        let now_s = self.now_s();
        let harp = Arc::clone(&self.harp);
        for (strung, string) in self.strings.iter_mut().zip(harp.strings()) {
            strung.open_cents += self.weather[material_index(string.material)] * step_s;
            strung.open_cents += strung.restless.falls(now_s, step_s);
        }
    }

    /// Plucks string `number`; the true pitch of this pluck.
    ///
    /// # Panics
    ///
    /// When the harp has no such string; so do the others that name one.
    pub fn pluck(&mut self, number: StringNumber, pluck: Pluck) -> Hz {
        let lines = pluck::lines(&self.strings[number.index()].stringing, pluck);
        self.sound(number, pluck, lines)
    }

    /// Plucks a harmonic on string `number`: it sounds an octave above the string; recorded voices know none.
    pub fn pluck_harmonic(&mut self, number: StringNumber, pluck: Pluck) {
        let lines = pluck::harmonic_lines(&self.strings[number.index()].stringing, pluck);
        self.sound(number, pluck, lines);
    }

    /// Somebody knocks on the wood, `loudness` times as loud as a finger that plucks.
    pub fn knock(&mut self, loudness: f64) {
        let hz = self.chance.between(150.0, 500.0);
        let level = TOUCH_LEVEL * PLUCK_RMS * loudness;
        self.touches.push(Touch::new(level, hz, self.rate, &mut self.chance));
    }

    fn sound(&mut self, number: StringNumber, pluck: Pluck, mut lines: Vec<Line>) -> Hz {
        let index = number.index();
        if !self.strings[index].is_recorded() {
            self.drive_others(index, &mut lines);
            let hz = self.strings[index].hz();
            let level = TOUCH_LEVEL * PLUCK_RMS * pluck.loudness;
            self.touches.push(Touch::new(level, hz, self.rate, &mut self.chance));
        }
        self.strings[index].pluck(pluck, &lines, self.rate);
        let hz = self.strings[index].true_hz(pluck);
        Hz::new(hz).expect("a string under tension has a pitch")
    }

    /// A finger or a hand stops string `number`.
    pub fn damp(&mut self, number: StringNumber) {
        let rate = self.rate;
        self.strings[number.index()].damp(rate);
    }

    /// Both hands stop everything that sounds.
    pub fn damp_all(&mut self) {
        let rate = self.rate;
        self.strings.iter_mut().for_each(|string| string.damp(rate));
    }

    /// Turns the pin of string `number` by `degrees`; up is positive.
    pub fn turn(&mut self, number: StringNumber, degrees: f64) {
        let now_s = self.now_s();
        let cents = degrees * self.strings[number.index()].stringing.cents_per_degree();
        self.strings[number.index()].turn(cents, now_s);
        if self.gives != 0.0 {
            let weight = |index: usize| {
                let apart = (index as f64 - number.index() as f64) / FRAME_REACH;
                0.3 + (-0.5 * apart * apart).exp()
            };
            let total: f64 = (0..self.strings.len()).map(weight).sum();
            for (index, string) in self.strings.iter_mut().enumerate() {
                if index != number.index() {
                    string.open_cents -= self.gives * cents * weight(index) / total;
                }
            }
        }
    }

    /// What string `number` is like.
    pub fn stringing(&self, number: StringNumber) -> &Stringing {
        &self.strings[number.index()].stringing
    }

    /// How far one degree of the key moves string `number`, cents.
    pub fn cents_per_degree(&self, number: StringNumber) -> f64 {
        self.strings[number.index()].stringing.cents_per_degree()
    }

    /// How long string `number` rings, seconds until its first partial has fallen to 1/e.
    pub fn decay_s(&self, number: StringNumber) -> f64 {
        self.strings[number.index()].stringing.decay_s(1)
    }

    /// Where the pedal of `letter` stands: 0 flat, 1 natural, 2 sharp.
    pub const fn pedal(&self, letter: Letter) -> u8 {
        self.pedals[letter.index()]
    }

    /// Moves the pedal of `letter`.
    pub fn move_pedal(&mut self, letter: Letter, position: u8) {
        self.pedals[letter.index()] = position.min(2);
        let harp = Arc::clone(&self.harp);
        for (strung, string) in self.strings.iter_mut().zip(harp.strings()) {
            if string.mechanism == Mechanism::Discs && string.open.letter == letter {
                strung.set_position(position.min(2));
            }
        }
    }

    /// Whether the lever of string `number` is up.
    pub fn lever_is_up(&self, number: StringNumber) -> bool {
        self.harp.strings()[number.index()].mechanism == Mechanism::Lever && self.strings[number.index()].position > 0
    }

    /// Moves the lever of string `number`, if it has one.
    pub fn move_lever(&mut self, number: StringNumber, up: bool) {
        if self.harp.strings()[number.index()].mechanism == Mechanism::Lever {
            self.strings[number.index()].set_position(u8::from(up));
        }
    }
}

const fn material_index(material: Material) -> usize {
    match material {
        Material::Nylon => 0,
        Material::Gut => 1,
        Material::Fluorocarbon => 2,
        Material::Wire => 3,
    }
}
