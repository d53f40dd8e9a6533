//! The tuning key: how far it turns for so many cents on this string, and which way its handle goes.

use consort_proto::{Cents, HarpString, Material};
use consort_words::Key;

/// How far the key should turn, in words.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Far {
    /// Hardly more than leaning on the key.
    Touch,
    /// A few degrees.
    Little,
    /// A good turn.
    Good,
    /// A long way, in steps, with a look at the pin first.
    Steps,
}

/// Which way the handle of the key goes to tighten a string; it differs from harp to harp, so the harpist says it once.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Way {
    /// Away from her.
    Away,
    /// Towards her.
    Towards,
}

/// A turn of the key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turn {
    /// How far, in words.
    pub far: Far,
    /// By how many degrees, above zero; of nominal strings and pins, so half as much again or less on a real one.
    pub degrees: f64,
    /// Where the handle goes; `None` until the harpist has said how it is on this harp.
    pub way: Option<Way>,
}

/// Cents for one degree of the key on gut and nylon, by semitones above the C five octaves below middle C.
///
/// From nominal lengths, strings and pins of 5 mm: strain = arc ÷ length, pitch = half of strain × modulus ÷ stress.
const STRINGS: [(f64, f64); 6] = [
    (48.0, 2.4),
    (60.0, 1.8),
    (72.0, 2.5),
    (84.0, 4.3),
    (96.0, 11.0),
    (103.0, 17.0),
];
/// The same on wires, whose cores are far stiffer.
const WIRES: [(f64, f64); 3] = [(24.0, 9.0), (36.0, 10.0), (43.0, 12.0)];

/// Less than this is a touch, and from here on a good turn, degrees.
const TOUCH_BELOW: f64 = 2.0;
const GOOD_FROM: f64 = 8.0;

/// How far one degree of the key moves `string`.
pub fn cents_per_degree(string: &HarpString) -> Cents {
    let place = f64::from(string.open.semitones_above_a4()) + 69.0;
    let table: &[(f64, f64)] = match string.material {
        Material::Wire => &WIRES,
        Material::Nylon | Material::Gut | Material::Fluorocarbon => &STRINGS,
    };
    Cents(between(table, place))
}

/// The value at `place` between the lines of `table`; beyond its ends, that of the end.
fn between(table: &[(f64, f64)], place: f64) -> f64 {
    let pairs = table.iter().zip(table.iter().skip(1));
    for (low, high) in pairs {
        if place <= high.0 {
            let share = ((place - low.0) / (high.0 - low.0)).max(0.0);
            return low.1 * (high.1 / low.1).powf(share);
        }
    }
    table.last().map_or(1.0, |line| line.1)
}

impl Far {
    /// How it is said.
    pub const fn key(self) -> Key {
        match self {
            Self::Touch => Key::GuideFarTouch,
            Self::Little => Key::GuideFarLittle,
            Self::Good => Key::GuideFarGood,
            Self::Steps => Key::GuideFarSteps,
        }
    }

    /// How far a turn of so many degrees is.
    pub const fn of_degrees(degrees: f64) -> Self {
        if degrees < TOUCH_BELOW {
            Self::Touch
        } else if degrees < GOOD_FROM {
            Self::Little
        } else {
            Self::Good
        }
    }
}

impl Way {
    /// The other way.
    pub const fn back(self) -> Self {
        match self {
            Self::Away => Self::Towards,
            Self::Towards => Self::Away,
        }
    }

    /// The way that programs know by `word`.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Away, Self::Towards].into_iter().find(|way| way.word() == word)
    }

    /// How it is said.
    pub const fn key(self) -> Key {
        match self {
            Self::Away => Key::GuideWayAway,
            Self::Towards => Key::GuideWayTowards,
        }
    }

    /// The word by which programs know it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Away => "away",
            Self::Towards => "towards",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::StringNumber;
    use consort_proto::harp_file::preset;

    /// Computed from the nominal figures: 865.6 · (E ÷ stress) · 0.04363 mm ÷ length, with 34 and 700 mm at 4C, 26 and
    /// 400 mm at 3C, 350 and 1,500 mm at 7C, within a tenth.
    #[test]
    fn a_degree_of_the_key_does_most_at_the_top_and_on_wires() {
        let harp = preset("pedal-47").expect("a preset");
        for (number, cents) in [(26, 1.83), (19, 2.45), (5, 11.0), (47, 8.8)] {
            let string = harp.string(StringNumber::new(number).expect("a string"));
            let found = cents_per_degree(string.expect("a string")).0;
            assert!((found / cents - 1.0).abs() < 0.1, "string {number}: {found}");
        }
    }

    #[test]
    fn every_string_of_every_harp_has_an_angle() {
        for name in consort_proto::harp_file::preset_names() {
            for string in preset(name).expect("a preset").strings() {
                let found = cents_per_degree(string).0;
                assert!((1.5..20.0).contains(&found), "{name}, {}: {found}", string.open);
            }
        }
    }
}
