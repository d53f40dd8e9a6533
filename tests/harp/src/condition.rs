//! The condition in which a harp is found: how far out of tune, with which faults, in which pedals.

use consort_proto::{Harp, Letter, Mechanism, StringNumber};

use crate::chance::Chance;
use crate::fault::Fault;

/// How a harp is found.
#[derive(Clone, Debug, PartialEq)]
pub struct Condition {
    /// Seed of everything that is left to chance, the strings' own voices included.
    pub seed: u64,
    /// How far strings of one material have drifted together, cents, one standard deviation; either sign.
    pub drift_cents: f64,
    /// How far single strings lie from that, cents, one standard deviation.
    pub scatter_cents: f64,
    /// Strings that lie elsewhere altogether, cents above their notes at A4 = 440 Hz.
    pub far_off: Vec<(StringNumber, f64)>,
    /// What is wrong with single strings.
    pub faults: Vec<(StringNumber, Fault)>,
    /// The pedals that are not in flat: 1 for natural, 2 for sharp.
    pub pedals: Vec<(Letter, u8)>,
    /// How much lower all strings come to stand once each has been raised by one cent, cents; the frame gives.
    pub gives: f64,
    /// How fast the strings of one material drift on, cents in a minute, one standard deviation; either sign.
    pub weather_cents_per_min: f64,
}

impl Condition {
    /// In tune, sound and steady.
    pub const fn sound(seed: u64) -> Self {
        Self {
            seed,
            drift_cents: 0.0,
            scatter_cents: 0.0,
            far_off: Vec::new(),
            faults: Vec::new(),
            pedals: Vec::new(),
            gives: 0.0,
            weather_cents_per_min: 0.0,
        }
    }

    /// As a harp is found before a rehearsal: materials have drifted, a few strings are far off, the frame gives a
    /// little, and nothing else is wrong.
    ///
    /// All figures are assumed; no drift of harps in cents is published.
    pub fn before_a_rehearsal(harp: &Harp, seed: u64) -> Self {
        let mut chance = Chance::new(seed);
        let mut far_off = Vec::new();
        for (number, _) in harp.numbered() {
            if chance.is(0.08) {
                let size = chance.between(15.0, 45.0);
                far_off.push((number, if chance.is(0.75) { -size } else { size }));
            }
        }
        Self {
            drift_cents: 4.0,
            scatter_cents: 3.5,
            far_off,
            gives: 0.05,
            weather_cents_per_min: 0.05,
            ..Self::sound(seed)
        }
    }

    /// The same with one string that will not hold, one new string, one false string and, on a pedal harp, the B pedal
    /// left in natural.
    pub fn troubled(harp: &Harp, seed: u64) -> Self {
        let mut condition = Self::before_a_rehearsal(harp, seed);
        let mut chance = Chance::new(seed ^ 1);
        let mut taken: Vec<StringNumber> = Vec::new();
        let mut fresh = |chance: &mut Chance| loop {
            let number = harp.numbered().nth(chance.below(harp.len())).map(|(number, _)| number);
            if let Some(number) = number.filter(|number| !taken.contains(number)) {
                taken.push(number);
                return number;
            }
        };
        let faults = [Fault::SlippingPin, Fault::New, Fault::False];
        condition.faults = faults.map(|fault| (fresh(&mut chance), fault)).to_vec();
        if let Some((lever, _)) = harp.numbered().find(|(_, string)| string.mechanism == Mechanism::Lever) {
            condition.faults.push((lever, Fault::LeverUp));
        }
        if harp.strings().iter().any(|string| string.mechanism == Mechanism::Discs) {
            condition.pedals.push((Letter::B, 1));
        }
        condition
    }
}
