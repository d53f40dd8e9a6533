//! What is to go wrong in a harp's life, and what a storyteller of it has to say.

use std::collections::BTreeMap;

use consort_proto::{Harp, Letter, Material, StringNumber};
use consort_record::{Date, Life};

/// One thing that is wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Trouble {
    /// The pin of a string gives way, this many cents a day in the mean.
    SlippingPin {
        /// Which string.
        string: StringNumber,
        /// Cents a day.
        cents_a_day: f64,
    },
    /// A string has lost this share of its mass over a tenth of its length.
    FalseString {
        /// Which string.
        string: StringNumber,
        /// Share of the mass there: 0.04 is strong, 0.02 moderate.
        lost_mass: f64,
    },
    /// A string was renewed and stretches.
    NewString {
        /// Which string.
        string: StringNumber,
    },
    /// Somebody turned the pin of a string once, by mistake.
    Turned {
        /// Which string.
        string: StringNumber,
        /// How far, cents.
        cents: f64,
    },
    /// A string was renewed with one of this many times the right diameter.
    WrongGauge {
        /// Which string.
        string: StringNumber,
        /// Diameter against the right one.
        ratio: f64,
    },
    /// The pedal of a letter is out of regulation.
    Pedal {
        /// Which letter.
        letter: Letter,
        /// 1 for natural, 2 for sharp.
        position: u8,
        /// How far, cents.
        cents: f64,
    },
    /// The disc or lever of one string is out of regulation.
    Disc {
        /// Which string.
        string: StringNumber,
        /// 1 or 2.
        position: u8,
        /// How far, cents.
        cents: f64,
    },
    /// The room turns: the air of the harp's place changes by this much for good.
    Room {
        /// Humidity, percent.
        humidity_percent: f64,
        /// Degrees.
        temperature_c: f64,
    },
}

impl Trouble {
    /// The string that it is about, if it is one.
    pub const fn string(&self) -> Option<StringNumber> {
        match *self {
            Self::SlippingPin { string, .. }
            | Self::FalseString { string, .. }
            | Self::NewString { string }
            | Self::Turned { string, .. }
            | Self::WrongGauge { string, .. }
            | Self::Disc { string, .. } => Some(string),
            Self::Pedal { .. } | Self::Room { .. } => None,
        }
    }
}

/// A life to be told.
#[derive(Clone, Debug)]
pub struct Plot {
    /// Chance.
    pub seed: u64,
    /// Whose life.
    pub harp: Harp,
    /// How likely it is tuned on a day, 0 to 1.
    pub tuned_a_day: f64,
    /// How likely the harp stands in a hall on a day, 0 to 1.
    pub hall_a_day: f64,
    /// What goes wrong, and before which tuning, counted from 0.
    pub trouble: Option<(Trouble, usize)>,
}

/// What was really the case at the newest tuning.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Truth {
    /// How far each material moved by the room since the tuning before, cents.
    pub room: BTreeMap<Material, f64>,
    /// How many tunings have seen the trouble at work; 0 before.
    pub seen: usize,
    /// The day from which on a new string falls less than its tolerance in a day, without noise.
    pub holds_on: Option<Date>,
}

/// Tells a life tuning by tuning.
pub trait Storyteller {
    /// The life so far.
    fn life(&self) -> &Life;
    /// Adds the next tuning.
    fn next(&mut self) -> Truth;
}
