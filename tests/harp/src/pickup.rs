//! The pickup and its cable: weak lows, and hum of the mains.

use std::f64::consts::TAU;

use crate::bank::{Bank, Lanes, Line, TICK, WIDTH};

/// What the pickup does to the sound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pickup {
    /// Corner below which the lows are lost, hertz.
    ///
    /// 1/(2π·R·C) of a piezo of some 15 nF: 10.6 Hz into 1 MΩ, 212 Hz into 50 kΩ (Mudhar, on contact microphones and
    /// input impedance).
    pub corner_hz: f64,
    /// Level of the hum against an ordinary pluck, decibels; `None` without hum.
    pub hum_db: Option<f64>,
    /// Frequency of the mains, hertz: 50 or 60.
    pub mains_hz: f64,
}

impl Pickup {
    /// A pickup into an input that was made for it.
    pub const GOOD: Self = Self {
        corner_hz: 10.6,
        hum_db: None,
        mains_hz: 50.0,
    };
    /// The same into the microphone input of a laptop, beside a lamp.
    pub const POOR: Self = Self {
        corner_hz: 212.0,
        hum_db: Some(-20.0),
        mains_hz: 50.0,
    };
}

/// The mean level of an ordinary pluck over its first half second, full scale 1: what levels are given against.
pub(crate) const PLUCK_RMS: f64 = 0.045;
/// Hum by harmonic of the mains, against the first: assumed.
const HUM: [f64; 6] = [1.0, 0.5, 0.6, 0.2, 0.3, 0.1];
/// Hum does not die away: this long, seconds.
const FOREVER_S: f64 = 1e9;

/// A pickup at work.
#[derive(Clone, Debug)]
pub(crate) struct Wire {
    keep: f64,
    x: f64,
    y: f64,
    hum: Bank,
    levels: Vec<f32>,
}

impl Wire {
    pub(crate) fn new(pickup: Pickup, rate: f64) -> Self {
        let mut hum = Bank::default();
        let mut levels = Vec::new();
        if let Some(db) = pickup.hum_db {
            let total = HUM.iter().map(|share| share * share / 2.0).sum::<f64>().sqrt();
            let level = PLUCK_RMS * 10_f64.powf(db / 20.0) / total;
            for (n, share) in (1_u32..).zip(HUM) {
                let (sin, cos) = (f64::from(n) * 1.7).sin_cos();
                let line = Line {
                    hz: pickup.mains_hz * f64::from(n),
                    decay_s: FOREVER_S,
                    re: level * share * cos,
                    im: level * share * sin,
                };
                hum.add(line, rate);
                levels.push((level * share) as f32);
            }
        }
        Self {
            keep: (-TAU * pickup.corner_hz / rate).exp(),
            x: 0.0,
            y: 0.0,
            hum,
            levels,
        }
    }

    /// Filters `out` in place and adds the hum; at most [`TICK`] samples.
    pub(crate) fn render(&mut self, out: &mut [f32]) {
        for sample in out.iter_mut() {
            let x = f64::from(*sample);
            self.y = self.keep * (self.y + x - self.x);
            self.x = x;
            *sample = self.y as f32;
        }
        self.hum.steady(&self.levels);
        let mut lanes: Lanes = [[0.0; WIDTH]; TICK];
        self.hum.render(&mut lanes, out.len(), 1.0);
        for (sample, sums) in out.iter_mut().zip(&lanes) {
            *sample += sums.iter().sum::<f32>();
        }
    }
}
