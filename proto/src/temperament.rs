//! Temperaments: twelve offsets from equal temperament, computed from how each fifth of the circle is tempered.

use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::note::Note;
use crate::units::Cents;

/// A temperament that has a name, defined by its fifths (or, for just intonation, by its ratios).
#[derive(Clone, Copy, Debug, Deserialize, Eq, Ord, PartialEq, PartialOrd, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Scheme {
    /// All twelve fifths narrowed alike: the norm for modern harps.
    Equal,
    /// Eleven pure fifths; the twelfth, G♯ to E♭, takes the whole comma.
    Pythagorean,
    /// Fifths narrowed by a quarter of the syntonic comma: eight pure major thirds.
    QuarterCommaMeantone,
    /// Fifths narrowed by a fifth of the syntonic comma.
    FifthCommaMeantone,
    /// Fifths narrowed by a sixth of the syntonic comma.
    SixthCommaMeantone,
    /// Fifths narrowed by a sixth of the Pythagorean comma.
    SixthPythagoreanMeantone,
    /// Andreas Werckmeister, 1691, "correct temperament no. 1", the third of his monochord labels.
    WerckmeisterThree,
    /// Johann Philipp Kirnberger, 1771.
    KirnbergerTwo,
    /// Johann Philipp Kirnberger, 1779.
    KirnbergerThree,
    /// Francesco Antonio Vallotti.
    Vallotti,
    /// Thomas Young, 1800, the second of his two.
    YoungTwo,
    /// Herbert Anton Kellner, 1977.
    Kellner,
    /// Just intonation on C with five-limit ratios.
    JustOnC,
}

/// Twelve intervals, C to B, in cents.
pub type Octave = [Cents; 12];

impl Scheme {
    /// All named temperaments, in the order shown to people.
    pub const ALL: [Self; 13] = [
        Self::Equal,
        Self::Pythagorean,
        Self::QuarterCommaMeantone,
        Self::FifthCommaMeantone,
        Self::SixthCommaMeantone,
        Self::SixthPythagoreanMeantone,
        Self::WerckmeisterThree,
        Self::KirnbergerTwo,
        Self::KirnbergerThree,
        Self::Vallotti,
        Self::YoungTwo,
        Self::Kellner,
        Self::JustOnC,
    ];

    /// The word by which the temperament is chosen on a command line and in a file.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Equal => "equal",
            Self::Pythagorean => "pythagorean",
            Self::QuarterCommaMeantone => "quarter-comma-meantone",
            Self::FifthCommaMeantone => "fifth-comma-meantone",
            Self::SixthCommaMeantone => "sixth-comma-meantone",
            Self::SixthPythagoreanMeantone => "sixth-pythagorean-meantone",
            Self::WerckmeisterThree => "werckmeister-three",
            Self::KirnbergerTwo => "kirnberger-two",
            Self::KirnbergerThree => "kirnberger-three",
            Self::Vallotti => "vallotti",
            Self::YoungTwo => "young-two",
            Self::Kellner => "kellner",
            Self::JustOnC => "just-on-c",
        }
    }

    /// The temperament that `word` chooses.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|scheme| scheme.word() == word)
    }

    /// The twelve notes in cents above C.
    pub fn cents_above_c(self) -> Octave {
        if self == Self::JustOnC {
            return JUST_ON_C.map(|(high, low)| ratio(high, low));
        }
        let mut octave = [Cents(0.0); 12];
        let mut above_c = 0.0;
        let mut note = 0;
        for narrowing in self.narrowed_fifths().iter().take(11) {
            above_c += ratio(3, 2).0 - narrowing;
            note = (note + 7) % 12;
            octave[note] = Cents(above_c.rem_euclid(1200.0));
        }
        octave
    }

    /// By how many cents each fifth of the circle C G D A E B F♯ C♯ G♯ E♭ B♭ F (C) is narrowed.
    ///
    /// The entries sum to the Pythagorean comma; where the definition leaves one fifth to close the circle, that fifth
    /// takes the rest.
    /// Definitions after Barbour, *Tuning and Temperament* (1951), and Jorgensen, *Tuning* (1991), from memory; the
    /// resulting offsets are checked against published tables in `tests/temperaments.rs`.
    fn narrowed_fifths(self) -> [f64; 12] {
        let pythagorean = pythagorean_comma().0;
        let syntonic = ratio(81, 80).0;
        let schisma = pythagorean - syntonic;
        // Fifths by their place in the circle.
        const CG: usize = 0;
        const GD: usize = 1;
        const DA: usize = 2;
        const AE: usize = 3;
        const EB: usize = 4;
        const BFS: usize = 5;
        const FSCS: usize = 6;
        const CLOSING: usize = 8;
        const FC: usize = 11;
        let mut fifths = [0.0; 12];
        let mut narrow = |places: &[usize], by: f64| places.iter().for_each(|&place| fifths[place] = by);
        match self {
            Self::Equal => narrow(&[0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11], pythagorean / 12.0),
            Self::Pythagorean | Self::JustOnC => {}
            Self::QuarterCommaMeantone => narrow(&ALL_BUT_CLOSING, syntonic / 4.0),
            Self::FifthCommaMeantone => narrow(&ALL_BUT_CLOSING, syntonic / 5.0),
            Self::SixthCommaMeantone => narrow(&ALL_BUT_CLOSING, syntonic / 6.0),
            Self::SixthPythagoreanMeantone => narrow(&ALL_BUT_CLOSING, pythagorean / 6.0),
            Self::WerckmeisterThree => narrow(&[CG, GD, DA, BFS], pythagorean / 4.0),
            Self::KirnbergerTwo => {
                narrow(&[DA, AE], syntonic / 2.0);
                narrow(&[FSCS], schisma);
            }
            Self::KirnbergerThree => {
                narrow(&[CG, GD, DA, AE], syntonic / 4.0);
                narrow(&[FSCS], schisma);
            }
            Self::Vallotti => narrow(&[FC, CG, GD, DA, AE, EB], pythagorean / 6.0),
            Self::YoungTwo => narrow(&[CG, GD, DA, AE, EB, BFS], pythagorean / 6.0),
            Self::Kellner => narrow(&[CG, GD, DA, AE, BFS], pythagorean / 5.0),
        }
        let rest = pythagorean - fifths.iter().sum::<f64>();
        fifths[CLOSING] += rest;
        fifths
    }
}

/// Every fifth of the circle but G♯ to E♭.
const ALL_BUT_CLOSING: [usize; 11] = [0, 1, 2, 3, 4, 5, 6, 7, 9, 10, 11];

/// The five-limit ratios over C; the chromatic ones are a choice among several in use.
const JUST_ON_C: [(u32, u32); 12] = [
    (1, 1),
    (16, 15),
    (9, 8),
    (6, 5),
    (5, 4),
    (4, 3),
    (45, 32),
    (3, 2),
    (8, 5),
    (5, 3),
    (9, 5),
    (15, 8),
];

/// The interval of a frequency ratio.
fn ratio(high: u32, low: u32) -> Cents {
    Cents(1200.0 * (f64::from(high) / f64::from(low)).log2())
}

/// The amount by which twelve pure fifths exceed seven octaves: 531441/524288.
fn pythagorean_comma() -> Cents {
    ratio(531_441, 524_288)
}

/// Twelve offsets from equal temperament with A at 0, and the name they came from.
///
/// The target of a note is its equal-tempered frequency from A4, raised by the offset of its pitch class.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Temperament {
    scheme: Option<Scheme>,
    offsets: Octave,
}

/// Why twelve numbers are not a temperament.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NotATemperament {
    /// An offset is not a number or too large to be meant.
    #[error(
        "the offset {typed} is out of range: own offsets lie within ±{MAX} cents of the one for A, which is {a}",
        MAX = Temperament::OFFSET_MAX.0
    )]
    OutOfRange {
        /// The offset as it was given.
        typed: f64,
        /// The offset of A.
        a: f64,
    },
    /// There are not twelve of them.
    #[error("{0} offsets given: twelve are needed, from C to B")]
    NotTwelve(usize),
    /// There are not twelve fifths.
    #[error("{0} fifths given: twelve are needed, C–G first and F–C last")]
    NotTwelveFifths(usize),
    /// Twelve fifths that do not lead back to where they began.
    #[error(
        "these fifths do not close: twelve of them come to {size} cents {more} than seven octaves, which are 8400; \
         change one or several of them by that much",
        size = (.0.0.abs() * 100.0).round() / 100.0, more = if .0.0 < 0.0 { "less" } else { "more" }
    )]
    DoesNotClose(Cents),
}

/// Why a text is not a temperament.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotATemperamentText {
    /// Neither a known word nor numbers.
    #[error(
        "there is no temperament called “{0}”: choose one of {names}, or give twelve offsets in cents from C to B, or twelve fifths from C–G to F–C",
        names = Scheme::ALL.map(Scheme::word).join(", ")
    )]
    Unknown(String),
    /// Numbers, but not a temperament's.
    #[error(transparent)]
    Offsets(#[from] NotATemperament),
}

/// Characters of an unknown word that are repeated.
const SHOWN_MAX: usize = 60;

impl FromStr for Temperament {
    type Err = NotATemperamentText;

    /// A scheme's word, or twelve offsets in cents from C to B, with spaces, commas or semicolons between; or twelve fifths in
    /// cents in place of the offsets, from C–G by way of G–D, D–A and so on to F–C.
    fn from_str(text: &str) -> Result<Self, NotATemperamentText> {
        if let Some(scheme) = Scheme::from_word(text.trim()) {
            return Ok(Self::named(scheme));
        }
        let numbers = text.split([' ', ',', ';']).filter(|word| !word.is_empty());
        let offsets: Result<Vec<f64>, _> = numbers.map(|number| number.replace('−', "-").parse::<f64>()).collect();
        match offsets {
            Ok(fifths) if !fifths.is_empty() && fifths.iter().all(|fifth| FIFTHS.contains(fifth)) => {
                Ok(Self::of_fifths(&fifths)?)
            }
            Ok(offsets) if !offsets.is_empty() => Ok(Self::own(&offsets)?),
            _ => Err(NotATemperamentText::Unknown(text.chars().take(SHOWN_MAX).collect())),
        }
    }
}

impl Temperament {
    /// The largest own offset, after anchoring at A; beyond it a note would be meant for its neighbour.
    pub const OFFSET_MAX: Cents = Cents(60.0);

    /// The temperament that a name stands for.
    pub fn named(scheme: Scheme) -> Self {
        let above_c = scheme.cents_above_c();
        let mut offsets = [Cents(0.0); 12];
        for (place, offset) in offsets.iter_mut().enumerate() {
            let equal = 100.0 * place as f64;
            *offset = Cents(above_c[place].0 - equal - (above_c[A].0 - 900.0));
        }
        Self {
            scheme: Some(scheme),
            offsets,
        }
    }

    /// A temperament of one's own: twelve deviations from equal temperament, C to B, anchored anew so that A is 0.
    pub fn own(offsets: &[f64]) -> Result<Self, NotATemperament> {
        let raw: [f64; 12] = offsets
            .try_into()
            .map_err(|_| NotATemperament::NotTwelve(offsets.len()))?;
        let anchored = raw.map(|offset| Cents(offset - raw[A]));
        match raw
            .iter()
            .zip(&anchored)
            .find(|(_, offset)| !offset.is_within(Self::OFFSET_MAX))
        {
            // What was typed is what a person finds again.
            Some((&typed, _)) => Err(NotATemperament::OutOfRange { typed, a: raw[A] }),
            None => Ok(Self {
                scheme: None,
                offsets: anchored,
            }),
        }
    }

    /// A temperament of one's own: twelve fifths in cents, C–G first and F–C last, which together are seven octaves.
    pub fn of_fifths(fifths: &[f64]) -> Result<Self, NotATemperament> {
        if fifths.len() != 12 {
            return Err(NotATemperament::NotTwelveFifths(fifths.len()));
        }
        let over = fifths.iter().sum::<f64>() - SEVEN_OCTAVES;
        if !Cents(over).is_within(CLOSES_WITHIN) {
            return Err(NotATemperament::DoesNotClose(Cents(over)));
        }
        let mut offsets = [0.0; 12];
        let mut above = 0.0;
        for (fifth, place) in fifths.iter().zip(1..12) {
            above += fifth - 700.0;
            offsets[place * 7 % 12] = above;
        }
        Self::own(&offsets)
    }

    /// The same temperament with `home` in the place of C: what was true of C, its thirds and its fifths, is true of
    /// `home`. On C it is what it was; elsewhere its offsets are one's own.
    /// Its octave does not matter.
    pub fn at_home_on(&self, home: Note) -> Result<Self, NotATemperament> {
        if home.pitch_class() == 0 {
            return Ok(*self);
        }
        let mut moved = self.offsets.map(|offset| offset.0);
        moved.rotate_right(home.pitch_class());
        Self::own(&moved)
    }

    /// The name it came from; `None` for own offsets.
    pub const fn scheme(&self) -> Option<Scheme> {
        self.scheme
    }

    /// Deviations from equal temperament, C to B, with A at 0.
    pub const fn offsets(&self) -> &Octave {
        &self.offsets
    }
}

impl Default for Temperament {
    fn default() -> Self {
        Self::named(Scheme::Equal)
    }
}

/// Twelve numbers within these are fifths: no offset is that large, and no fifth that far off.
const FIFTHS: std::ops::RangeInclusive<f64> = 640.0..=780.0;
/// Twelve fifths that close, in cents.
const SEVEN_OCTAVES: f64 = 8400.0;
/// Twelve fifths that are each rounded to a tenth still close.
const CLOSES_WITHIN: Cents = Cents(0.6);

/// The place of A among the twelve notes from C.
const A: usize = 9;
