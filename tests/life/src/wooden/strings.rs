//! One string through the years: what the air does to it, how it creeps, slips and sounds.

use consort_harp::chance::Chance;
use consort_proto::{Cents, HarpString, Material, Tuning};
use consort_record::{Partial, Timbre};

use super::weather::Air;
use crate::partials::first_order_cents;

/// A new string's fall: the logarithm of its age, as creep of polymers goes over days.
///
/// That it falls for days and up to a week by size is known, the figures are assumed.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Creep {
    /// Cents for each e-fold of age.
    pub(crate) cents: f64,
    /// Age, days, from which the fall is logarithmic.
    pub(crate) begin_days: f64,
    /// Days since it was put on.
    pub(crate) age_days: f64,
}

/// One string.
#[derive(Clone, Debug)]
pub(crate) struct WoodenString {
    pub(crate) target_hz: f64,
    pub(crate) tolerance: f64,
    material: Material,
    /// Where it stands in the reference air, cents above its target.
    pub(crate) pitch: f64,
    /// Cents per kelvin and per percent of humidity taken up.
    per_kelvin: f64,
    per_percent: f64,
    /// Relaxation that is still to come.
    pub(crate) pending_fall: f64,
    /// How far one pluck differs from the next, cents, besides what all strings do.
    pub(crate) scatter: f64,
    /// Errors of its own discs.
    pub(crate) discs: [f64; 2],
    pub(crate) creep: Option<Creep>,
    /// Cents a day, and what the pin has slipped since it was set.
    slipping: Option<(f64, f64)>,
    inharmonicity: f64,
    /// How far each partial from the first on lies off the law of the stiff string, cents.
    off_law: Vec<f64>,
    beat_hz: Option<f64>,
    decay_s: f64,
    brightness_db: f64,
}

/// Cents per kelvin and per percent of humidity by material. Wire: −½·E·α/stress, less what the frame gives back.
/// Nylon and gut: no figures are published; assumed from what players tell of dry winters and warm rooms.
const RESPONSES: [(Material, f64, f64); 4] = [
    (Material::Wire, -2.2, 0.03),
    (Material::Gut, -0.5, -0.45),
    (Material::Nylon, -1.0, -0.05),
    (Material::Fluorocarbon, -0.8, 0.0),
];
/// The reference air.
const REFERENCE: (f64, f64) = (20.0, 48.0);
/// Strings differ in their response by this share; and this share of gut and nylon strings answers the other way round,
/// as two groups of nylon and neighbouring gut strings do.
const RESPONSE_SPREAD: f64 = 0.22;
const CONTRARY: f64 = 0.04;
/// A string at rest wanders by this much in a day, cents: assumed.
const WANDERS_CENTS: f64 = 0.5;
/// A slip of a pin, cents in the mean: assumed. It comes to rest this far below where it was set.
const SLIP_CENTS: f64 = 3.0;
const SLIPS_UNTIL_CENTS: f64 = 60.0;
/// How far partials lie off the law, cents: wound strings have bare ends and uneven windings.
const OFF_LAW_WIRE_CENTS: f64 = 0.6;
const OFF_LAW_CENTS: f64 = 0.25;

pub(crate) fn nominal_response(material: Material, air: &Air) -> f64 {
    RESPONSES
        .iter()
        .find(|(known, _, _)| *known == material)
        .map_or(0.0, |&(_, kelvin, percent)| {
            kelvin * (air.temperature_c - REFERENCE.0) + percent * (air.soaked_percent - REFERENCE.1)
        })
}

impl WoodenString {
    pub(crate) fn new(string: &HarpString, tuning: &Tuning, tolerance: f64, chance: &mut Chance) -> Self {
        let (_, kelvin, percent) = RESPONSES
            .into_iter()
            .find(|(known, _, _)| *known == string.material)
            .unwrap_or(RESPONSES[1]);
        let contrary = string.material != Material::Wire && chance.is(CONTRARY);
        let side = if contrary { -0.5 } else { 1.0 };
        let mut fresh = Self {
            target_hz: tuning.open_target(string).get(),
            tolerance,
            material: string.material,
            pitch: 0.3 * tolerance * chance.spread() - 2.0,
            per_kelvin: side * kelvin * (1.0 + RESPONSE_SPREAD * chance.spread()),
            per_percent: side * percent * (1.0 + RESPONSE_SPREAD * chance.spread()),
            pending_fall: 0.0,
            scatter: 0.0,
            discs: std::array::from_fn(|_| 1.4 * chance.spread()),
            creep: None,
            slipping: None,
            inharmonicity: 0.0,
            off_law: Vec::new(),
            beat_hz: None,
            decay_s: 0.0,
            brightness_db: 0.0,
        };
        fresh.put_on(1.0, chance);
        fresh
    }

    /// Another piece of string in the same place, `ratio` times as thick as it should be.
    fn put_on(&mut self, ratio: f64, chance: &mut Chance) {
        let usual = usual_inharmonicity(self.target_hz);
        self.inharmonicity = usual * (0.12 * chance.spread()).exp() * ratio * ratio;
        let off = if self.material == Material::Wire {
            OFF_LAW_WIRE_CENTS
        } else {
            OFF_LAW_CENTS
        };
        let partials = ((11_000.0 / self.target_hz) as usize).clamp(3, 8);
        self.off_law = (0..partials).map(|_| off * chance.spread()).collect();
        let split_hz = 0.000_46 * self.target_hz * chance.spread().abs();
        self.beat_hz = (split_hz > 0.4).then_some(split_hz);
        self.decay_s = (0.1 * chance.spread()).exp() / (0.25 + 0.0035 * self.target_hz) / ratio;
        self.brightness_db = chance.spread() - 4.0 * (ratio - 1.0);
        self.scatter = 0.0;
    }

    pub(crate) fn renew(&mut self, _kind: &HarpString, ratio: f64, age_days: f64, chance: &mut Chance) {
        self.put_on(ratio, chance);
        for (step, disc) in self.discs.iter_mut().enumerate() {
            // A thicker string is shortened more by the same disc: assumed a tenth of the step for half as much again.
            *disc = 1.4 * chance.spread() + 20.0 * (ratio - 1.0) * (step + 1) as f64;
        }
        // Nylon stretches most, wire least.
        let by_material = match self.material {
            Material::Nylon => 1.3,
            Material::Gut | Material::Fluorocarbon => 1.0,
            Material::Wire => 0.6,
        };
        self.creep = Some(Creep {
            cents: by_material * chance.between(8.0, 20.0) * (self.tolerance / 2.0).sqrt(),
            begin_days: 0.1,
            age_days,
        });
        self.pitch = -chance.between(5.0, 60.0);
        self.slipping = None;
    }

    pub(crate) fn slip(&mut self, cents_a_day: f64) {
        self.slipping = Some((cents_a_day, 0.0));
    }

    /// Thinner over a tenth of its length somewhere; it beats, and no two plucks agree.
    pub(crate) fn spoil(&mut self, lost_mass: f64, chance: &mut Chance) {
        let place = chance.between(0.1, 0.9);
        for (n, off) in (1..).zip(&mut self.off_law) {
            *off += first_order_cents(n, lost_mass, place, 0.1);
        }
        self.scatter = 25.0 * lost_mass * chance.between(0.5, 1.5);
        if chance.is(0.7) {
            let cents = lost_mass * 100.0 * chance.between(0.8, 2.0);
            self.beat_hz = Some(self.target_hz * cents * std::f64::consts::LN_2 / 1_200.0);
        }
    }

    pub(crate) fn response(&self, air: &Air) -> f64 {
        self.per_kelvin * (air.temperature_c - REFERENCE.0) + self.per_percent * (air.soaked_percent - REFERENCE.1)
    }

    /// The pin was turned.
    pub(crate) fn set(&mut self, cents: f64) {
        self.pitch += cents;
        if let Some((_, slipped)) = &mut self.slipping
            && cents > 0.0
        {
            *slipped = 0.0;
        }
    }

    /// Some days pass.
    pub(crate) fn rest(&mut self, days: f64, chance: &mut Chance) {
        self.pitch += WANDERS_CENTS * days.sqrt() * chance.spread() - self.pending_fall - 0.05 * days.min(10.0);
        self.pending_fall = 0.0;
        if let Some(creep) = &mut self.creep {
            self.pitch -= creep.cents * (1.0 + days / (creep.begin_days + creep.age_days)).ln();
            creep.age_days += days;
        }
        self.slips(days, chance);
    }

    /// The pin gives way in steps, sooner or later.
    pub(crate) fn slips(&mut self, days: f64, chance: &mut Chance) {
        if let Some((cents_a_day, slipped)) = &mut self.slipping {
            let mut left = days;
            loop {
                left += SLIP_CENTS / *cents_a_day * (1.0 - chance.unit()).ln();
                if left < 0.0 || *slipped > SLIPS_UNTIL_CENTS {
                    break;
                }
                let by = SLIP_CENTS * chance.between(0.5, 1.5);
                *slipped += by;
                self.pitch -= by;
            }
        }
    }

    /// How long after it was put on the string falls less than its tolerance in a day.
    pub(crate) fn holds_after_days(&self) -> Option<f64> {
        let creep = self.creep?;
        let falls = |age: f64| creep.cents * (1.0 + 1.0 / (creep.begin_days + age)).ln();
        (0..4_000)
            .map(|hour| f64::from(hour) / 24.0)
            .find(|&age| falls(age) < self.tolerance)
    }

    pub(crate) fn timbre(&self, chance: &mut Chance) -> Timbre {
        let law = |n: f64| {
            1_200.0
                * ((1.0 + self.inharmonicity * n * n) / (1.0 + self.inharmonicity))
                    .sqrt()
                    .log2()
        };
        let first = self.off_law.first().copied().unwrap_or(0.0) + 0.08 * chance.spread();
        let partials = (1_u8..)
            .zip(&self.off_law)
            .skip(1)
            .map(|(number, off)| {
                let sigma = 0.08 + 0.03 * f64::from(number);
                let above = law(f64::from(number)) + off - first + sigma * chance.spread();
                Partial {
                    number,
                    above: Cents(above),
                    sigma: Cents(sigma),
                }
            })
            .collect();
        Timbre {
            partials,
            beat_hz: self.beat_hz.map(|beat| beat * (1.0 + 0.1 * chance.spread())),
            decay_s: Some(self.decay_s * (0.1 * chance.spread()).exp()),
            brightness_db: Some(self.brightness_db + 1.5 * chance.spread()),
            glide: None,
        }
    }
}

/// Inharmonicity by pitch: nominal dimensions of a concert harp's strings in B = π²·E·d²/(64·ρ·L⁴·f²).
fn usual_inharmonicity(hz: f64) -> f64 {
    let lines = [
        (30.0_f64, 2.0e-4_f64),
        (65.0, 1.2e-4),
        (130.0, 2.0e-4),
        (260.0, 9.7e-5),
        (520.0, 1.1e-4),
        (1046.0, 2.1e-4),
        (2093.0, 8.0e-4),
        (3136.0, 1.7e-3),
    ];
    let x = hz.ln();
    let mut below = lines[0];
    for above in lines {
        if hz < above.0 && above.0 > below.0 {
            let share = ((x - below.0.ln()) / (above.0.ln() - below.0.ln())).clamp(0.0, 1.0);
            return (below.1.ln() + share * (above.1.ln() - below.1.ln())).exp();
        }
        below = above;
    }
    below.1
}
