//! What else sounds in the room: an orchestra warming up, talk, a second harp.

use std::f64::consts::TAU;

use consort_proto::{Harp, SampleRate, StringNumber};

use crate::bank::TICK;
use crate::chance::Chance;
use crate::condition::Condition;
use crate::harp::{Stage, VirtualHarp, Voices};
use crate::noise::Band;
use crate::pickup::{PLUCK_RMS, Pickup};
use crate::pluck::Pluck;

/// The room, in decibels above an ordinary pluck of the own harp; `None` where there is nothing of the kind.
///
/// No level of a warm-up is published; the figures are the trial's to choose.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Room {
    /// Instruments that warm up.
    pub warm_up_db: Option<f64>,
    /// People who talk.
    pub talk_db: Option<f64>,
    /// Another harp of 47 strings that is being tuned, in tune to within a few cents.
    pub harp_db: Option<f64>,
}

/// A room at work.
#[derive(Clone, Debug)]
pub(crate) struct Surroundings {
    players: Vec<Player>,
    player_gain: f64,
    talker: Option<(Talker, f64)>,
    other: Option<Box<Other>>,
}

/// Instruments that warm up at once.
const PLAYERS: usize = 5;

impl Surroundings {
    pub(crate) fn new(room: Room, rate: f64, mut chance: Chance) -> Self {
        let gain = |db: f64| PLUCK_RMS * 10_f64.powf(db / 20.0);
        let players = if room.warm_up_db.is_some() { PLAYERS } else { 0 };
        Self {
            players: (0..players).map(|_| Player::new(rate, chance.apart())).collect(),
            player_gain: room.warm_up_db.map_or(0.0, gain) / (PLAYERS as f64).sqrt(),
            talker: room.talk_db.map(|db| (Talker::new(rate, chance.apart()), gain(db))),
            other: room
                .harp_db
                .and_then(|db| Other::new(rate, db, chance.apart()))
                .map(Box::new),
        }
    }

    /// Adds one tick to `out`.
    pub(crate) fn render(&mut self, out: &mut [f32]) {
        for player in &mut self.players {
            player.render(out, self.player_gain);
        }
        if let Some((talker, gain)) = &mut self.talker {
            talker.render(out, *gain);
        }
        if let Some(other) = &mut self.other {
            other.render(out);
        }
    }
}

/// One instrument that runs through scales: a tone with six partials and a breath of noise.
#[derive(Clone, Debug)]
struct Player {
    chance: Chance,
    rate: f64,
    semitone: f64,
    phase: f64,
    /// Samples until the next note.
    left: usize,
    level: f64,
    wanted: f64,
    vibrato: f64,
}

/// Mean level of six partials of 1/n.
const PLAYER_RMS: f64 = 0.86;

impl Player {
    fn new(rate: f64, mut chance: Chance) -> Self {
        Self {
            semitone: chance.between(-14.0, 14.0).round(),
            vibrato: chance.between(4.5, 6.5),
            chance,
            rate,
            phase: 0.0,
            left: 0,
            level: 0.0,
            wanted: 0.0,
        }
    }

    fn render(&mut self, out: &mut [f32], gain: f64) {
        let mut at = 0;
        while at < out.len() {
            if self.left == 0 {
                self.left = (self.chance.between(0.12, 0.9) * self.rate) as usize;
                let step = [-2.0, -1.0, 1.0, 2.0, 2.0, -2.0, 5.0, -5.0][self.chance.below(8)];
                self.semitone = (self.semitone + step).clamp(-22.0, 24.0);
                self.wanted = if self.chance.is(0.15) {
                    0.0
                } else {
                    self.chance.between(0.5, 1.5)
                };
            }
            let count = self.left.min(out.len() - at);
            let bend = 1.0 + 0.004 * (TAU * self.vibrato * self.left as f64 / self.rate).sin();
            let step = TAU * 440.0 * (self.semitone / 12.0).exp2() * bend / self.rate;
            let follow = 1.0 / (0.03 * self.rate);
            for sample in &mut out[at..at + count] {
                self.phase = (self.phase + step) % TAU;
                self.level += (self.wanted - self.level) * follow;
                // Multiples of one angle by Chebyshev's recursion: sin((n+1)x) = 2·cos x·sin(nx) − sin((n−1)x).
                let (sin, cos) = self.phase.sin_cos();
                let (mut before, mut now, mut tone) = (0.0, sin, sin);
                for n in 2..=6 {
                    (before, now) = (now, 2.0 * cos * now - before);
                    tone += now / f64::from(n);
                }
                *sample += (tone * self.level * gain / PLAYER_RMS) as f32;
            }
            self.left -= count;
            at += count;
        }
    }
}

/// Somebody who talks: a buzzing or hissing source through three moving bands, in syllables.
#[derive(Clone, Debug)]
struct Talker {
    chance: Chance,
    rate: f64,
    pitch_hz: f64,
    phase: f64,
    left: usize,
    voiced: bool,
    level: f64,
    wanted: f64,
    formants: [Band; 3],
}

/// What brings speech to a mean level of 1.
const TALK_GAIN: f64 = 20.0;

impl Talker {
    fn new(rate: f64, mut chance: Chance) -> Self {
        Self {
            pitch_hz: chance.between(95.0, 220.0),
            formants: [(500.0, 90.0), (1_500.0, 130.0), (2_500.0, 180.0)].map(|(hz, width)| Band::new(hz, width, rate)),
            chance,
            rate,
            phase: 0.0,
            left: 0,
            voiced: true,
            level: 0.0,
            wanted: 0.0,
        }
    }

    fn render(&mut self, out: &mut [f32], gain: f64) {
        for sample in out {
            if self.left == 0 {
                self.next_sound();
            }
            self.left -= 1;
            self.level += (self.wanted - self.level) / (0.02 * self.rate);
            self.phase += self.pitch_hz / self.rate;
            let mut source = 0.1 * self.chance.between(-1.0, 1.0);
            if self.phase >= 1.0 {
                self.phase -= 1.0;
                source += if self.voiced { 6.0 } else { 0.0 };
            }
            if !self.voiced {
                source *= 6.0;
            }
            let sound: f64 = self.formants.iter_mut().map(|band| band.next(source)).sum();
            *sample += (sound * self.level * gain * TALK_GAIN) as f32;
        }
    }

    /// Sounds last 60 to 200 ms, as syllables of three to five in a second ask.
    fn next_sound(&mut self) {
        self.left = (self.chance.between(0.06, 0.2) * self.rate) as usize;
        self.voiced = self.chance.is(0.7);
        self.wanted = if self.chance.is(0.12) {
            0.0
        } else {
            self.chance.between(0.6, 1.4)
        };
        self.pitch_hz = (self.pitch_hz * self.chance.between(0.94, 1.06)).clamp(90.0, 240.0);
        let middles = [
            self.chance.between(300.0, 800.0),
            self.chance.between(900.0, 2_200.0),
            self.chance.between(2_200.0, 3_000.0),
        ];
        for (band, hz) in self.formants.iter_mut().zip(middles) {
            band.move_to(hz, self.rate);
        }
    }
}

/// A second harp, whose player plucks her strings one by one.
#[derive(Clone, Debug)]
struct Other {
    harp: VirtualHarp,
    chance: Chance,
    gain: f32,
    /// The string that she is at, from the top, counted from 0.
    at: usize,
    next_s: f64,
}

impl Other {
    fn new(rate: f64, db: f64, mut chance: Chance) -> Option<Self> {
        let harp: Harp = consort_proto::harp_file::preset("pedal-47")?;
        let stage = Stage {
            rate: SampleRate::new(rate as u32).ok()?,
            voices: Voices::Computed,
            pickup: Pickup::GOOD,
            room: Room::default(),
        };
        let condition = Condition {
            scatter_cents: 4.0,
            ..Condition::sound(chance.below(1 << 30) as u64)
        };
        Some(Self {
            at: chance.below(harp.len()),
            harp: VirtualHarp::new(&harp, &condition, stage),
            gain: 10_f64.powf(db / 20.0) as f32,
            next_s: chance.between(0.0, 3.0),
            chance,
        })
    }

    fn render(&mut self, out: &mut [f32]) {
        if self.harp.now_s() >= self.next_s {
            self.next_s += self.chance.between(1.0, 4.0);
            if self.chance.is(0.4) {
                self.at = (self.at + 1) % self.harp.harp().len();
            }
            if let Ok(number) = StringNumber::new(self.at as u32 + 1) {
                self.harp.pluck(number, Pluck::ORDINARY);
            }
        }
        let mut sound = [0.0; TICK];
        let sound = &mut sound[..out.len().min(TICK)];
        self.harp.render(sound);
        for (sample, other) in out.iter_mut().zip(sound) {
            *sample += *other * self.gain;
        }
    }
}
