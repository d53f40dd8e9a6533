//! One piece of string, as drawn.

use consort_proto::{Cents, Material};
use consort_record::{Partial, Timbre};

use super::dice::Dice;
use crate::partials::solved_cents;

/// A piece of string on its place.
#[derive(Clone, Debug)]
pub(crate) struct Piece {
    pub(crate) target_hz: f64,
    /// Cents above the target in mild weather.
    pub(crate) stands: f64,
    /// How much of its material's movement it makes.
    pub(crate) share: f64,
    /// How far plucks differ, mean distance in cents, besides the usual.
    pub(crate) unsteady: f64,
    pub(crate) steps: [f64; 2],
    pub(crate) slips_a_day: f64,
    slipped: f64,
    /// What is still to come of its stretch: amounts in cents and their times in days.
    stretch: [(f64, f64); 2],
    young: bool,
    /// Distance of each partial from that many times the first, cents, from the second on.
    partials: Vec<f64>,
    beat_hz: f64,
    decay_s: f64,
    bright_db: f64,
}

impl Piece {
    /// One that has been on for long.
    pub(crate) fn seasoned(target_hz: f64, material: Material, dice: &mut Dice) -> Self {
        let mut piece = Self::fresh(target_hz, material, 1.0, 0.0, dice);
        piece.stretch = [(0.0, 1.0); 2];
        piece.young = false;
        piece.stands = dice.tailed(1.5);
        piece
    }

    /// One that was put on `age_days` ago, `ratio` times as thick as it should be.
    pub(crate) fn fresh(target_hz: f64, material: Material, ratio: f64, age_days: f64, dice: &mut Dice) -> Self {
        let count = match target_hz as u32 {
            0..600 => 7,
            600..1_500 => 5,
            _ => 4,
        };
        let rough = if material == Material::Wire { 0.45 } else { 0.2 };
        let stiffness = stiffness(target_hz) * dice.even(0.75, 1.3) * ratio * ratio;
        let uneven = dice.tailed(rough);
        let partials = (2..=count)
            .map(|n| {
                let n = f64::from(n);
                // By the law of the stiff string to first order: 600/ln 2·B·(n² − 1).
                let law = 865.6 * stiffness * (n * n - 1.0) / (1.0 + stiffness * (n * n + 1.0) / 2.0);
                law + dice.tailed(rough) - uneven
            })
            .collect();
        let (much, long) = match material {
            Material::Nylon => (1.4, 3.5),
            Material::Gut | Material::Fluorocarbon => (1.0, 2.8),
            Material::Wire => (0.7, 2.0),
        };
        let (soon, late) = (dice.even(15.0, 50.0) * much, dice.even(12.0, 30.0) * much);
        let (hours, days) = (0.25, long * dice.even(0.8, 1.25));
        let slope = 15.0 * (ratio - 1.0);
        Self {
            target_hz,
            stands: -dice.even(2.0, 40.0),
            share: 1.0 + 0.25 * dice.tailed(0.8),
            unsteady: 0.0,
            // A harp in regulation has no step further off than this.
            steps: [
                dice.tailed(1.0).clamp(-3.5, 3.5) + slope,
                dice.tailed(1.2).clamp(-3.5, 3.5) + 2.0 * slope,
            ],
            slips_a_day: 0.0,
            slipped: 0.0,
            stretch: [
                (soon * (-age_days / hours).exp(), hours),
                (late * (-age_days / days).exp(), days),
            ],
            young: true,
            partials,
            beat_hz: dice.waiting(0.000_25 * target_hz),
            decay_s: dice.even(0.8, 1.25) * 30.0 / target_hz.powf(0.6) / ratio,
            bright_db: dice.even(-2.0, 2.0) - 3.0 * (ratio - 1.0),
        }
    }

    /// Time passes.
    pub(crate) fn wait(&mut self, days: f64, dice: &mut Dice) {
        self.stands += dice.tailed(0.45 * days.sqrt().min(3.0)) - 0.1;
        for (left, time) in &mut self.stretch {
            let by = *left * (1.0 - (-days / *time).exp());
            *left -= by;
            self.stands -= by;
        }
        self.slip(days, dice);
    }

    /// The pin creeps: most of it soon after it was set.
    pub(crate) fn slip(&mut self, days: f64, dice: &mut Dice) {
        if self.slips_a_day > 0.0 && self.slipped < 80.0 {
            let steps = (days * 3.0).ceil() as u32;
            let by: f64 = (0..steps)
                .map(|_| dice.waiting(self.slips_a_day * days / f64::from(steps)))
                .sum();
            self.slipped += by;
            self.stands -= by;
        }
    }

    /// The key turned its pin.
    pub(crate) fn turn(&mut self, cents: f64) {
        self.stands += cents;
        self.slipped = (self.slipped - cents.max(0.0)).max(0.0);
        if self.young && cents > 0.0 {
            self.stretch[1].0 += 0.06 * cents;
        }
    }

    /// Days from now until it falls by less than `near` in a day; 0 when it does already, nothing when it never was new.
    pub(crate) fn settles_in_days(&self, near: f64) -> Option<f64> {
        let falls = |wait: f64| -> f64 {
            let one = |&(left, time): &(f64, f64)| left * (-wait / time).exp() * (1.0 - (-1.0 / time).exp());
            self.stretch.iter().map(one).sum()
        };
        self.young
            .then(|| {
                (0..1_000)
                    .map(|step| f64::from(step) / 10.0)
                    .find(|&wait| falls(wait) < near)
            })
            .flatten()
    }

    /// Part of it wears thin: its partials, solved without approximation, and its plucks that do not agree any more.
    pub(crate) fn thin_out(&mut self, lost_mass: f64, dice: &mut Dice) {
        let place = if dice.happens(0.5) {
            dice.even(0.4, 0.6)
        } else {
            dice.even(0.12, 0.88)
        };
        let first = solved_cents(1, lost_mass, place, 0.1);
        for (n, partial) in (2..).zip(&mut self.partials) {
            *partial += solved_cents(n, lost_mass, place, 0.1) - first;
        }
        self.unsteady = dice.even(10.0, 30.0) * lost_mass;
        self.beat_hz += self.target_hz * 0.000_6 * dice.even(1.0, 2.0) * 100.0 * lost_mass;
    }

    pub(crate) fn sound(&self, dice: &mut Dice) -> Timbre {
        let first = dice.tailed(0.08);
        let mut partials = Vec::with_capacity(self.partials.len());
        for (number, above) in (2_u8..).zip(&self.partials) {
            if !dice.happens(0.08) {
                let wide = 0.1 + 0.02 * f64::from(number);
                partials.push(Partial {
                    number,
                    above: Cents(above - first + dice.tailed(wide)),
                    sigma: Cents(0.8 * wide),
                });
            }
        }
        Timbre {
            partials,
            beat_hz: (self.beat_hz > 0.5 && dice.happens(0.9)).then(|| self.beat_hz * dice.even(0.85, 1.15)),
            decay_s: dice.happens(0.95).then(|| self.decay_s * dice.even(0.8, 1.2)),
            brightness_db: Some(self.bright_db + dice.even(-2.5, 2.5)),
            glide: None,
        }
    }
}

/// Inharmonicity as a curve: lowest in the middle, steep towards the top. Invented around usual dimensions.
fn stiffness(hz: f64) -> f64 {
    let octaves = (hz / 320.0).log2();
    1.0e-4 * (0.12 * octaves * octaves + 0.12 * octaves.max(0.0).powi(2)).exp()
}
