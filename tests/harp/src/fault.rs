//! What can be wrong with a string, and how it goes on going wrong.

use serde::Serialize;

use crate::chance::Chance;

/// What is wrong with a string besides its being out of tune.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fault {
    /// Newly put on: it stretches for days.
    New,
    /// Its pin gives way in steps, some time after it was set.
    SlippingPin,
    /// Its partials lie off the law, and each is two lines.
    False,
    /// It has lain on the harp for too long: its upper partials die away soon.
    Dull,
    /// Its lever is up.
    LeverUp,
}

/// A fault by its name.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Wrong {
    /// It stretches.
    New,
    /// Its pin slips.
    SlippingPin,
    /// It is false.
    False,
    /// It is old and dull.
    Dull,
    /// Its lever is up.
    LeverUp,
    /// The pedal of its letter is not in flat.
    Pedal,
}

/// A new string's fall that is still to come when it is first tuned, cents; it falls by 1/e of it in [`STRETCH_S`].
///
/// No rate is published; the pitch only ever falls between two tunings (common practice).
pub const STRETCH_CENTS: f64 = 40.0;
/// How fast a new string stretches, seconds: assumed.
pub const STRETCH_S: f64 = 600.0;
/// Share of each raise that a new string gives back: assumed.
const STRETCH_OF_RAISE: f64 = 0.1;
/// How long a slipping pin stands before it gives way, seconds, least and most: assumed.
const STANDS_S: (f64, f64) = (2.0, 10.0);
/// How far a slipping pin gives way at once, cents, least and most: assumed.
const SLIP_CENTS: (f64, f64) = (4.0, 15.0);
/// How far below where it was set it comes to rest, cents: assumed.
const SLIPS_UNTIL_CENTS: f64 = 40.0;

/// How a string moves by itself.
#[derive(Clone, Debug)]
pub(crate) struct Restlessness {
    chance: Chance,
    /// What a new string has still to fall, cents.
    stretch: f64,
    /// When the pin gives way next, seconds of sound, and how far it has slipped since it was set, cents.
    slip: Option<(f64, f64)>,
}

impl Restlessness {
    pub(crate) fn new(fault: Option<Fault>, mut chance: Chance) -> Self {
        let stretch = if fault == Some(Fault::New) { STRETCH_CENTS } else { 0.0 };
        let slip = (fault == Some(Fault::SlippingPin)).then(|| (chance.between(STANDS_S.0, STANDS_S.1), 0.0));
        Self { chance, stretch, slip }
    }

    /// The pin was turned by `cents` at `now_s`.
    pub(crate) fn turned(&mut self, cents: f64, now_s: f64) {
        if self.stretch > 0.0 && cents > 0.0 {
            self.stretch += STRETCH_OF_RAISE * cents;
        }
        if let Some((next_s, slipped)) = &mut self.slip
            && cents > 0.0
        {
            *next_s = now_s + self.chance.between(STANDS_S.0, STANDS_S.1);
            *slipped = 0.0;
        }
    }

    /// How far the string moves from `now_s` on during `step_s`, cents; never up.
    pub(crate) fn falls(&mut self, now_s: f64, step_s: f64) -> f64 {
        let mut fall = 0.0;
        if self.stretch > 0.0 {
            let by = self.stretch * (1.0 - (-step_s / STRETCH_S).exp());
            self.stretch -= by;
            fall -= by;
        }
        if let Some((next_s, slipped)) = &mut self.slip
            && now_s >= *next_s
            && *slipped < SLIPS_UNTIL_CENTS
        {
            let by = self.chance.between(SLIP_CENTS.0, SLIP_CENTS.1);
            *next_s = now_s + self.chance.between(STANDS_S.0, STANDS_S.1);
            *slipped += by;
            fall -= by;
        }
        fall
    }
}
