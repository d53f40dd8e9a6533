//! The numbers that stand for words on the wire; a number never changes its meaning.

use consort_proto::deputy::Outcome;
use consort_proto::message::Refusal;
use consort_proto::{Accidental, Kind, Letter, Mark, Material, Mechanism, Scheme};

use crate::error::WireError;

/// A word that travels as a number.
pub(crate) trait Coded: Copy + PartialEq + 'static {
    /// What the number stands for in a message about a bad one.
    const FIELD: &'static str;
    /// Every word with its number.
    const CODES: &'static [(Self, u8)];

    fn code(self) -> u8 {
        // Every word is listed; a test counts them.
        Self::CODES
            .iter()
            .find(|(word, _)| *word == self)
            .map_or(u8::MAX, |(_, code)| *code)
    }

    fn of(code: u8) -> Result<Self, WireError> {
        let found = Self::CODES
            .iter()
            .find(|(_, known)| *known == code)
            .map(|(word, _)| *word);
        found.ok_or_else(|| WireError::range(Self::FIELD, format_args!("{code} stands for nothing")))
    }
}

impl Coded for Letter {
    const FIELD: &'static str = "a letter";
    const CODES: &'static [(Self, u8)] = &[
        (Self::C, 0),
        (Self::D, 1),
        (Self::E, 2),
        (Self::F, 3),
        (Self::G, 4),
        (Self::A, 5),
        (Self::B, 6),
    ];
}

impl Coded for Accidental {
    const FIELD: &'static str = "an accidental";
    const CODES: &'static [(Self, u8)] = &[(Self::Flat, 0), (Self::Natural, 1), (Self::Sharp, 2)];
}

impl Coded for Kind {
    const FIELD: &'static str = "a harp's kind";
    const CODES: &'static [(Self, u8)] = &[(Self::Pedal, 0), (Self::Lever, 1), (Self::Other, 2)];
}

impl Coded for Material {
    const FIELD: &'static str = "a material";
    const CODES: &'static [(Self, u8)] = &[
        (Self::Nylon, 0),
        (Self::Gut, 1),
        (Self::Fluorocarbon, 2),
        (Self::Wire, 3),
    ];
}

impl Coded for Mechanism {
    const FIELD: &'static str = "a mechanism";
    const CODES: &'static [(Self, u8)] = &[(Self::Discs, 0), (Self::Lever, 1), (Self::Fixed, 2)];
}

impl Coded for Option<Mark> {
    const FIELD: &'static str = "a mark";
    const CODES: &'static [(Self, u8)] = &[(None, 0), (Some(Mark::New), 1), (Some(Mark::Missing), 2)];
}

impl Coded for Option<Scheme> {
    const FIELD: &'static str = "a temperament";
    const CODES: &'static [(Self, u8)] = &[
        (None, 0),
        (Some(Scheme::Equal), 1),
        (Some(Scheme::Pythagorean), 2),
        (Some(Scheme::QuarterCommaMeantone), 3),
        (Some(Scheme::FifthCommaMeantone), 4),
        (Some(Scheme::SixthCommaMeantone), 5),
        (Some(Scheme::SixthPythagoreanMeantone), 6),
        (Some(Scheme::WerckmeisterThree), 7),
        (Some(Scheme::KirnbergerTwo), 8),
        (Some(Scheme::KirnbergerThree), 9),
        (Some(Scheme::Vallotti), 10),
        (Some(Scheme::YoungTwo), 11),
        (Some(Scheme::Kellner), 12),
        (Some(Scheme::JustOnC), 13),
    ];
}

/// All but [`Refusal::Resting`], which says for how long and so is a frame of its own.
impl Coded for Refusal {
    const FIELD: &'static str = "a refusal";
    const CODES: &'static [(Self, u8)] = &[
        (Self::NotInvited, 1),
        (Self::JoiningClosed, 2),
        (Self::Removed, 3),
        (Self::Superseded, 4),
        (Self::Full, 5),
        (Self::Misspoke, 6),
        (Self::WrongCode, 7),
        (Self::NotNow, 8),
        (Self::Asked, 9),
        (Self::Declined, 10),
        (Self::Copied, 11),
        (Self::SeatTaken, 12),
    ];
}

impl Coded for Outcome {
    const FIELD: &'static str = "what became of an order";
    const CODES: &'static [(Self, u8)] = &[
        (Self::Done, 0),
        (Self::Unchanged, 1),
        (Self::NotGranted, 2),
        (Self::NotWritten, 3),
    ];
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    fn check<T: Coded + std::fmt::Debug>(words: usize) {
        assert_eq!(T::CODES.len(), words, "{}", T::FIELD);
        let numbers: BTreeSet<u8> = T::CODES.iter().map(|(_, code)| *code).collect();
        assert_eq!(numbers.len(), words, "{}: a number stands for two words", T::FIELD);
        for &(word, code) in T::CODES {
            assert_eq!(word.code(), code);
            assert_eq!(T::of(code), Ok(word));
        }
        assert!(T::of(200).is_err());
    }

    #[test]
    fn every_word_has_one_number() {
        check::<Letter>(7);
        check::<Accidental>(3);
        check::<Kind>(3);
        check::<Material>(4);
        check::<Mechanism>(3);
        check::<Option<Mark>>(3);
        check::<Option<Scheme>>(1 + Scheme::ALL.len());
        check::<Refusal>(12);
        check::<Outcome>(4);
    }
}
