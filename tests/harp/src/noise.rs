//! Noises: the touch of a finger, and the coloured noise that rooms are made of.

use std::f64::consts::TAU;

use crate::chance::Chance;

/// White noise through two poles: a band around one frequency.
#[derive(Clone, Debug)]
pub(crate) struct Band {
    b0: f64,
    a1: f64,
    a2: f64,
    y1: f64,
    y2: f64,
    x1: f64,
    x2: f64,
}

impl Band {
    /// A band around `hz`, `width_hz` wide, at `rate` samples per second, with gain 1 at its middle.
    pub(crate) fn new(hz: f64, width_hz: f64, rate: f64) -> Self {
        let r = (-std::f64::consts::PI * width_hz / rate).exp();
        Self {
            b0: (1.0 - r * r) / 2.0,
            a1: -2.0 * r * (TAU * (hz / rate).min(0.45)).cos(),
            a2: r * r,
            y1: 0.0,
            y2: 0.0,
            x1: 0.0,
            x2: 0.0,
        }
    }

    /// The next sample, `x` filtered.
    pub(crate) fn next(&mut self, x: f64) -> f64 {
        let y = self.b0 * (x - self.x2) - self.a1 * self.y1 - self.a2 * self.y2;
        (self.x2, self.x1) = (self.x1, x);
        (self.y2, self.y1) = (self.y1, y);
        y
    }

    /// Moves the band without a click.
    pub(crate) fn move_to(&mut self, hz: f64, rate: f64) {
        let r = self.a2.sqrt();
        self.a1 = -2.0 * r * (TAU * (hz / rate).min(0.45)).cos();
    }
}

/// A finger's touch on a string: a short noise that excites the box.
#[derive(Clone, Debug)]
pub(crate) struct Touch {
    chance: Chance,
    finger: Band,
    boxy: Band,
    level: f64,
    fade: f64,
}

/// How fast a touch dies, seconds to 1/e: assumed.
const TOUCH_DECAY_S: f64 = 0.006;
/// A touch below this level is over.
const TOUCH_OVER: f64 = 1e-6;

impl Touch {
    /// A touch at `level`, full scale 1, on a string of `hz`.
    pub(crate) fn new(level: f64, hz: f64, rate: f64, chance: &mut Chance) -> Self {
        Self {
            finger: Band::new((4.0 * hz).clamp(600.0, 5_000.0), 2_500.0, rate),
            // The lowest resonance of the air and the soundboard: assumed.
            boxy: Band::new(180.0, 60.0, rate),
            chance: chance.apart(),
            level,
            fade: (-1.0 / (TOUCH_DECAY_S * rate)).exp(),
        }
    }

    /// Adds to `out`; whether there is more to come.
    pub(crate) fn render(&mut self, out: &mut [f32]) -> bool {
        for sample in out {
            let white = self.chance.between(-1.7, 1.7) * self.level;
            *sample += (self.finger.next(white) + 3.0 * self.boxy.next(white)) as f32;
            self.level *= self.fade;
        }
        self.level > TOUCH_OVER
    }
}
