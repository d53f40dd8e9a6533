//! Which way and how far the key turns.

use consort_proto::{Cents, Material, Standing, StringNumber};
use consort_words::Key;

use crate::Phrase;
use crate::advice::{Action, Advice, Situation, about_next, advice, one_digit, told};

/// How far the key should turn.
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

/// Cents by which one degree of the key moves a middle string: 1.8 at 4C (derived from nominal pin and string data).
const CENTS_PER_DEGREE_MIDDLE: f64 = 2.0;
/// The same for the top octave and a half: 11 at 1C, less below it (derived from nominal pin and string data).
const CENTS_PER_DEGREE_TOP: f64 = 8.0;
/// The same for wires: 9 on a long bass wire (derived from nominal pin and string data).
const CENTS_PER_DEGREE_WIRE: f64 = 9.0;

/// A string that was not set yet is turned until it is this share of its tolerance near: what is just in tolerance now is
/// out of it once the frame has given or the room has warmed.
const AIM_WITHIN: f64 = 0.6;

/// A string that was set once is turned on unless it is this share of its tolerance near; one that holds is left alone.
pub(crate) const CONFIRM_WITHIN: f64 = 0.8;

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
}

/// Which way and how far to turn, or to let it ring when it is close enough.
pub(crate) fn turn(situation: &Situation<'_>, number: StringNumber, cents: Cents) -> Advice {
    let Some(string) = situation.harp.string(number) else {
        return about_next(situation);
    };
    let within = situation.tolerance.of(string);
    let aim = match situation.readiness.of(number) {
        Some(Standing::Holds(_)) => 1.0,
        Some(Standing::SetOnce(_)) => CONFIRM_WITHIN,
        _ => AIM_WITHIN,
    };
    if cents.is_within(Cents(within.0 * aim)) {
        let why = told(Key::WhyWithin, one_digit(cents));
        return advice(situation, number, Action::LetRing, Some(cents), None, why);
    }
    if situation.stands_still && !cents.is_within(within) {
        let why = Phrase::plain(Key::WhyStandstill);
        return advice(situation, number, Action::WhichPin, Some(cents), None, why);
    }
    let per_degree = if situation.tolerance.is_top(string) {
        CENTS_PER_DEGREE_TOP
    } else if string.material == Material::Wire {
        CENTS_PER_DEGREE_WIRE
    } else {
        CENTS_PER_DEGREE_MIDDLE
    };
    let far = match cents.0.abs() / per_degree {
        _ if cents.0 < -60.0 => Far::Steps,
        degrees if degrees < 2.0 => Far::Touch,
        degrees if degrees < 8.0 => Far::Little,
        _ => Far::Good,
    };
    let (action, key) = if cents.0 < 0.0 {
        (
            Action::Tighten,
            if far == Far::Steps {
                Key::WhyFarFlat
            } else {
                Key::WhyFlat
            },
        )
    } else {
        (Action::Loosen, Key::WhySharp)
    };
    let why = if far == Far::Steps {
        Phrase::plain(key)
    } else {
        told(key, one_digit(cents))
    };
    advice(situation, number, action, Some(cents), Some(far), why)
}
