//! The room that a string has to be heard in, made from a seed: players warming up, a voice, hum.

use std::f64::consts::{PI, TAU};

/// Samples per second of everything generated.
pub(super) const RATE: u32 = 48_000;
/// Players warming up at once.
const PLAYERS: usize = 9;

/// Random numbers from a seed.
///
/// Source: G. Steele, D. Lea, C. Flood, "Fast Splittable Pseudorandom Number Generators", OOPSLA 2014 (SplitMix64).
pub(super) struct Dice(pub(super) u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly from `low` to `high`.
    pub(super) fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// One of `count`.
    pub(super) fn below(&mut self, count: usize) -> usize {
        (self.next() % count.max(1) as u64) as usize
    }
}

/// So many seconds of a room in which an orchestra warms up and somebody talks, at a mean power of one.
///
/// Players sound one note after the other, of 0.12 to 0.9 s, anywhere in their range, most of them with vibrato; the voice
/// glides and is filtered into two formants four times a second.
pub(super) fn warm_up(seconds: f64, dice: &mut Dice) -> Vec<f32> {
    let len = (seconds * f64::from(RATE)) as usize;
    let mut room = vec![0.0_f32; len];
    for _ in 0..PLAYERS {
        let lowest = dice.within(28.0, 66.0);
        let level = 10.0_f64.powf(dice.within(-12.0, 0.0) / 20.0);
        let slope = dice.within(0.7, 1.8);
        let mut at_s = dice.within(-0.5, 0.3);
        while at_s < seconds {
            let lasts_s = dice.within(0.12, 0.9);
            let key = (lowest + dice.within(0.0, 24.0)).round() + dice.within(-0.15, 0.15);
            let note = Tone {
                hz: 440.0 * ((key - 69.0) / 12.0).exp2(),
                at_s,
                lasts_s,
                attack_s: dice.within(0.015, 0.08),
                level,
                slope,
                vibrato_cents: dice.within(0.0, 18.0),
                glide_cents: 0.0,
                formant_hz: None,
            };
            note.add(&mut room);
            at_s += lasts_s
                + if dice.below(4) == 0 {
                    dice.within(0.05, 0.6)
                } else {
                    0.0
                };
        }
    }
    let mut at_s = 0.0;
    while at_s < seconds {
        let lasts_s = dice.within(0.1, 0.3);
        let syllable = Tone {
            hz: dice.within(90.0, 230.0),
            at_s,
            lasts_s,
            attack_s: 0.02,
            level: 1.0,
            slope: 0.6,
            vibrato_cents: 0.0,
            glide_cents: dice.within(-250.0, 250.0),
            formant_hz: Some(dice.within(300.0, 1800.0)),
        };
        syllable.add(&mut room);
        at_s += lasts_s + dice.within(0.0, 0.25);
    }
    let mut smooth = 0.0;
    for sample in &mut room {
        // Noise that falls with frequency: air, chairs, feet.
        smooth = 0.98 * smooth + 0.2 * dice.within(-1.0, 1.0);
        *sample += 0.12 * smooth as f32;
    }
    let power = room.iter().map(|x| f64::from(x * x)).sum::<f64>() / len.max(1) as f64;
    let gain = (1.0 / power.max(1e-12).sqrt()) as f32;
    room.iter_mut().for_each(|sample| *sample *= gain);
    room
}

/// One note of a player or one syllable.
struct Tone {
    hz: f64,
    at_s: f64,
    lasts_s: f64,
    attack_s: f64,
    level: f64,
    /// Partial n is weaker by the power `slope` of n.
    slope: f64,
    vibrato_cents: f64,
    glide_cents: f64,
    formant_hz: Option<f64>,
}

impl Tone {
    fn add(&self, room: &mut [f32]) {
        let rate = f64::from(RATE);
        let first = (self.at_s * rate).max(0.0) as usize;
        let last = (((self.at_s + self.lasts_s) * rate).max(0.0) as usize).min(room.len());
        let partials = ((7000.0 / self.hz) as usize).clamp(1, 14);
        let strengths: Vec<f64> = (1..=partials)
            .map(|n| {
                let hz = self.hz * n as f64;
                let formant = self
                    .formant_hz
                    .map_or(1.0, |f| 0.1 + 1.0 / (1.0 + ((hz - f) / 150.0).powi(2)));
                self.level * (n as f64).powf(-self.slope) * formant
            })
            .collect();
        let mut phase = 0.0_f64;
        for (n, sample) in room.iter_mut().enumerate().take(last).skip(first) {
            let t = n as f64 / rate - self.at_s;
            let bend = self.vibrato_cents * (TAU * 5.5 * t).sin() + self.glide_cents * t / self.lasts_s;
            phase += TAU * self.hz * (bend / 1200.0).exp2() / rate;
            let shape = (t / self.attack_s).min((self.lasts_s - t) / 0.03).clamp(0.0, 1.0);
            let envelope = 0.5 - 0.5 * (PI * shape).cos();
            // sin(n·x) by recurrence from sin(x) and cos(x).
            let (sin, cos) = phase.sin_cos();
            let (mut before, mut now) = (0.0, sin);
            let mut sum = 0.0;
            for strength in &strengths {
                sum += strength * now;
                (before, now) = (now, 2.0 * cos * now - before);
            }
            *sample += (envelope * sum) as f32;
        }
    }
}

/// Adds mains hum of this root mean square: the fundamental and nine harmonics of uneven strength.
pub(super) fn add_hum(sound: &mut [f32], mains_hz: f64, rms: f64, dice: &mut Dice) {
    let strengths: Vec<(f64, f64)> = (1..=10)
        .map(|n| (dice.within(0.2, 1.0) / f64::from(n), dice.within(0.0, TAU)))
        .collect();
    let power: f64 = strengths.iter().map(|(a, _)| 0.5 * a * a).sum();
    let gain = rms / power.sqrt();
    for (n, sample) in sound.iter_mut().enumerate() {
        let turn = TAU * mains_hz * n as f64 / f64::from(RATE);
        let harmonics = strengths.iter().zip(1..);
        let sum: f64 = harmonics
            .map(|((a, phase), order)| a * (turn * f64::from(order) + phase).sin())
            .sum();
        *sample += (gain * sum) as f32;
    }
}

/// What a small contact pickup into a low impedance does: four poles of a high-pass at `corner_hz`.
pub(super) fn weaken_bass(sound: &mut [f32], corner_hz: f64) {
    let leak = (-TAU * corner_hz / f64::from(RATE)).exp();
    for _ in 0..4 {
        let (mut last, mut out) = (0.0_f64, 0.0_f64);
        for sample in sound.iter_mut() {
            let input = f64::from(*sample);
            out = leak * (out + input - last);
            last = input;
            *sample = out as f32;
        }
    }
}
