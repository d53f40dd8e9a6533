//! What a string is like by its register and material: stiffness, damping, length, and how far a turn of its pin goes.

use std::f64::consts::PI;

use consort_proto::{HarpString, Material, Tuning};

use crate::chance::Chance;

/// The physics of one string, as far as it can be heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Stringing {
    /// Frequency of the flexible string, hertz, when the open string is tuned to its note at A4 = 440 Hz.
    pub flexible_hz: f64,
    /// B of fₙ = n·f₀·√(1 + B·n²), dimensionless.
    pub inharmonicity: f64,
    /// How far each partial lies off that law, cents, from the first on; 0 beyond the end.
    pub off_law_cents: Vec<f64>,
    /// Speaking length, millimetres.
    pub length_mm: f64,
    /// Young's modulus over stress, dimensionless: how strongly a stretch raises the pitch.
    pub modulus_over_stress: f64,
    /// Damping common to all partials, per second: the soundboard and the air.
    pub loss_per_s: f64,
    /// Loss factor of the material, dimensionless; partial n loses π·fₙ times this per second.
    pub loss_factor: f64,
    /// Bending loss: partial n loses n² times this per second besides.
    pub bending_per_s: f64,
    /// How far the second polarisation sounds from the first, hertz at the first partial.
    pub split_hz: f64,
    /// How much faster the polarisation that moves the soundboard decays, dimensionless, above 1.
    pub split_decay: f64,
    /// The strength with which the soundboard passes each partial on, dimensionless, from the first.
    pub body: Vec<f64>,
}

/// Partials that a string has at most.
pub const PARTIALS_MAX: usize = 40;

/// Nominal stringing of a concert harp by natural string: (MIDI note, B, length in mm, modulus over stress).
///
/// Lengths and diameters are assumed, but for 5C, whose length follows from measured disc spacings; B and the ratio
/// follow from them.
/// The three lowest lines, wires, are assumed throughout.
const REGISTERS: [(f64, f64, f64, f64); 9] = [
    (24.0, 2.0e-4, 1500.0, 350.0),
    (36.0, 1.2e-4, 1300.0, 350.0),
    (44.0, 1.5e-4, 1120.0, 350.0),
    (48.0, 2.03e-4, 1020.0, 65.0),
    (60.0, 9.74e-5, 700.0, 34.0),
    (72.0, 1.12e-4, 400.0, 26.0),
    (84.0, 2.14e-4, 210.0, 24.0),
    (96.0, 8.03e-4, 105.0, 33.0),
    (103.0, 1.70e-3, 70.0, 33.0),
];
/// Diameter of a tuning pin, millimetres: nominal.
const PIN_MM: f64 = 5.0;
/// How far the two polarisations lie apart, as a share of the pitch, one standard deviation: 0.8 cents, assumed.
const SPLIT: f64 = 0.000_46;
/// Damping by soundboard and air, per second: assumed, so that the lowest strings ring for many seconds and middle C
/// for about five.
const BOARD_LOSS_PER_S: f64 = 0.25;
/// How much the strength of neighbouring partials differs, decibels, one standard deviation: assumed.
const BODY_SPREAD_DB: f64 = 3.0;
/// How many times its loss a dull string has: assumed.
const DULL_LOSS: f64 = 4.0;
/// Below this frequency a soundboard passes less and less on, hertz: assumed.
const BODY_LOW_HZ: f64 = 90.0;

impl Stringing {
    /// A string for `string`'s place on a harp; no two are alike.
    pub fn of(string: &HarpString, chance: &mut Chance) -> Self {
        let open_hz = Tuning::default().frequency(string.open).get();
        let midi = f64::from(string.open.semitones_above_a4()) + 69.0;
        let (inharmonicity, length_mm, nominal_ratio) = register(midi);
        // The table's ratio belongs to the material that the table's harp has there.
        let modulus_over_stress = match string.material {
            Material::Wire => 350.0,
            _ => nominal_ratio.min(65.0),
        };
        let inharmonicity = inharmonicity * (0.15 * chance.spread()).exp();
        // Wound strings have bare ends and uneven windings, which the law leaves out (Chumnantas, Edinburgh 1995); the
        // size is assumed.
        let scatter_cents = if string.material == Material::Wire { 1.0 } else { 0.15 };
        let scatter = (0..PARTIALS_MAX).map(|_| scatter_cents * chance.spread()).collect();
        let off_law_cents = beside_the_law(scatter);
        let loss_factor = match string.material {
            Material::Wire => 0.5e-3,
            Material::Nylon => 1.2e-3,
            Material::Gut | Material::Fluorocarbon => 1.0e-3,
        } * (0.1 * chance.spread()).exp();
        let bending_loss_factor = 0.02;
        let body = (1..=PARTIALS_MAX)
            .map(|n| {
                let hz = open_hz * n as f64;
                let low = hz / hz.hypot(BODY_LOW_HZ);
                low * 10_f64.powf(BODY_SPREAD_DB * chance.spread() / 20.0)
            })
            .collect();
        Self {
            flexible_hz: open_hz / (1.0 + inharmonicity).sqrt(),
            inharmonicity,
            off_law_cents,
            length_mm,
            modulus_over_stress,
            loss_per_s: BOARD_LOSS_PER_S * (0.2 * chance.spread()).exp(),
            loss_factor,
            // The loss factor of bending is (E·I/T)·(n·π/L)²·η = B·n²·η (Woodhouse, Euphonics 7.2.2); η is assumed.
            bending_per_s: PI * open_hz * inharmonicity * bending_loss_factor,
            // Two end conditions give each partial two lines (Woodhouse, JASA 150, 2021); the distance is assumed.
            split_hz: open_hz * SPLIT * chance.spread().clamp(-2.5, 2.5),
            split_decay: chance.between(1.5, 3.0),
            body,
        }
    }

    /// Frequency of the first partial by the law, hertz, with the string at its note at A4 = 440 Hz: its pitch at rest.
    ///
    /// Of a false string, that no law fits, it is the first partial itself.
    pub fn pitch_hz(&self) -> f64 {
        self.flexible_hz * (1.0 + self.inharmonicity).sqrt()
    }

    /// Frequency of partial `n`, hertz, with the string at its note at A4 = 440 Hz.
    pub fn partial_hz(&self, n: usize) -> f64 {
        let count = n as f64;
        let off = self.off_law_cents.get(n - 1).copied().unwrap_or(0.0);
        count * self.flexible_hz * (1.0 + self.inharmonicity * count * count).sqrt() * (off / 1200.0).exp2()
    }

    /// Time in which the amplitude of partial `n` falls to 1/e, seconds.
    pub fn decay_s(&self, n: usize) -> f64 {
        let count = n as f64;
        let loss = self.loss_per_s
            + PI * count * self.flexible_hz * self.loss_factor
            + self.bending_per_s * count * count * count;
        1.0 / loss
    }

    /// How far one degree of the key moves the pitch, cents.
    ///
    /// The pin takes up an arc; the strain raises the tension by modulus over stress, and the pitch by half of that.
    pub fn cents_per_degree(&self) -> f64 {
        let arc_mm = PI * PIN_MM / 360.0;
        600.0 / std::f64::consts::LN_2 * self.modulus_over_stress * arc_mm / self.length_mm
    }

    /// How far the pitch stands above its rest right after a pluck of `height_mm` at `place` of the length, cents.
    ///
    /// df/f = (E/stress)·a²/(8·L²·β·(1 − β)), the mean tension of a triangle set free (derived; cf. Legge & Fletcher,
    /// JASA 76, 1984).
    pub fn glide_cents(&self, height_mm: f64, place: f64) -> f64 {
        let shift =
            self.modulus_over_stress * height_mm.powi(2) / (8.0 * self.length_mm.powi(2) * place * (1.0 - place));
        1200.0 * (1.0 + shift).log2()
    }

    /// How far a finger draws this string for an ordinary pluck, millimetres: nominal.
    pub fn draw_mm(&self) -> f64 {
        (0.085 * self.length_mm.powf(0.57)).min(5.0)
    }

    /// Makes the string dull: it loses more to itself, and the upper partials the more.
    ///
    /// That old strings sound dull is common experience; how much more they lose is assumed.
    pub fn make_dull(&mut self) {
        self.loss_factor *= DULL_LOSS;
    }

    /// Makes the string false: a tenth of it around the middle is thinner by `thin` (0.02 is 2 %), and each partial
    /// gets two lines `beat_hz` apart.
    ///
    /// Less mass there raises the odd partials by nearly equal amounts and the even ones hardly (first-order
    /// perturbation); two lines beat (Capleton, JASA 115, 2004).
    pub fn make_false(&mut self, thin: f64, beat_hz: f64) {
        let lost_mass = 1.0 - (1.0 - thin).powi(2);
        let shift = |n: usize| {
            let count = n as f64;
            // The integral of sin² over the central tenth.
            let share = 0.05 - ((2.0 * count * PI * 0.55).sin() - (2.0 * count * PI * 0.45).sin()) / (4.0 * count * PI);
            1200.0 * (1.0 + lost_mass * share).log2()
        };
        let first = shift(1) + self.off_law_cents[0];
        for (index, off) in self.off_law_cents.iter_mut().enumerate() {
            // The harpist tunes the first partial; what is heard is where the others lie against it.
            *off += shift(index + 1) - first;
        }
        self.split_hz = beat_hz;
        self.split_decay = 1.1;
    }
}

/// What of `scatter`, cents by partial, no other pitch and B would explain: the law stays the one that fits best.
///
/// A law differs from another by a constant and, to first order, by n²; both are taken out of the first
/// [`FITTED_PARTIALS`] partials, weighted by 1/n as plucked strings sound.
fn beside_the_law(mut scatter: Vec<f64>) -> Vec<f64> {
    let (mut s0, mut s2, mut s4, mut y0, mut y2) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (n, cents) in (1_u32..).map(f64::from).zip(&scatter).take(FITTED_PARTIALS) {
        let (weight, square) = (1.0 / n, n * n);
        s0 += weight;
        s2 += weight * square;
        s4 += weight * square * square;
        y0 += weight * cents;
        y2 += weight * square * cents;
    }
    let determinant = s0 * s4 - s2 * s2;
    let (constant, slope) = ((y0 * s4 - y2 * s2) / determinant, (s0 * y2 - s2 * y0) / determinant);
    for (n, cents) in (1_u32..).map(f64::from).zip(&mut scatter) {
        let square = n.min(FITTED_PARTIALS as f64).powi(2);
        *cents -= constant + slope * square;
    }
    scatter
}

/// Partials by which the law is fitted.
const FITTED_PARTIALS: usize = 10;

/// B, length and modulus over stress at `midi`, between the lines of the table.
fn register(midi: f64) -> (f64, f64, f64) {
    let last = REGISTERS.len() - 2;
    let at = REGISTERS
        .iter()
        .skip(1)
        .position(|line| midi <= line.0)
        .unwrap_or(last)
        .min(last);
    let (low, high) = (REGISTERS[at], REGISTERS[at + 1]);
    let share = ((midi - low.0) / (high.0 - low.0)).clamp(-0.5, 1.5);
    let between = |a: f64, b: f64| a * (b / a).powf(share);
    (between(low.1, high.1), between(low.2, high.2), between(low.3, high.3))
}
