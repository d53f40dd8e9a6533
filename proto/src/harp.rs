//! Harps: their strings from the top, and what each string is made of and held by.

use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::name::is_invisible;
use crate::note::{Letter, Note};
use crate::setting::Setting;
use crate::units::Cents;

/// The number of a string, counted from the shortest: 1 to [`StringNumber::MAX`].
#[derive(Clone, Copy, Debug, Deserialize, Eq, Hash, Ord, PartialEq, PartialOrd, Serialize)]
#[serde(try_from = "u8", into = "u8")]
pub struct StringNumber(u8);

/// Why a number is not a string's.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[error("{0} is not a string number: strings count from 1, the shortest, to at most {MAX}", MAX = StringNumber::MAX)]
pub struct NotAStringNumber(pub u32);

impl StringNumber {
    /// The most strings that a harp may have here; the largest pedal harps have 48.
    pub const MAX: u8 = 63;

    /// String `number` from the top.
    pub const fn new(number: u32) -> Result<Self, NotAStringNumber> {
        if number >= 1 && number <= Self::MAX as u32 {
            Ok(Self(number as u8))
        } else {
            Err(NotAStringNumber(number))
        }
    }

    /// The number itself, 1 for the shortest string.
    pub const fn get(self) -> u8 {
        self.0
    }

    /// The place in a list that starts with the shortest string at 0.
    pub const fn index(self) -> usize {
        self.0 as usize - 1
    }
}

impl TryFrom<u8> for StringNumber {
    type Error = NotAStringNumber;

    fn try_from(number: u8) -> Result<Self, NotAStringNumber> {
        Self::new(u32::from(number))
    }
}

impl From<StringNumber> for u8 {
    fn from(number: StringNumber) -> Self {
        number.0
    }
}

impl fmt::Display for StringNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

/// How a harp changes its accidentals.
#[derive(Clone, Copy, Debug, Deserialize, Eq, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// Seven pedals with two discs on each string: flat, natural, sharp.
    Pedal,
    /// A lever on each string: open or a semitone higher.
    Lever,
    /// Anything else, with as many rows and whatever mechanism.
    Other,
}

/// What a string is made of: strings of one material drift together.
#[derive(Clone, Copy, Debug, Deserialize, Eq, Ord, PartialEq, PartialOrd, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Material {
    /// Nylon, the usual top octaves.
    Nylon,
    /// Gut, the usual middle of a concert harp.
    Gut,
    /// Fluorocarbon, denser than nylon.
    Fluorocarbon,
    /// Wound or plain wire, the usual bass.
    Wire,
}

/// What can shorten a string while it is played.
#[derive(Clone, Copy, Debug, Deserialize, Eq, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Mechanism {
    /// Two discs, worked by the pedal of its letter: up to two semitones above the open string.
    Discs,
    /// A lever: one semitone above the open string.
    Lever,
    /// Neither: tuned to the note that the piece wants.
    Fixed,
}

impl Mechanism {
    /// The highest position: how many semitones the mechanism can add.
    pub const fn positions(self) -> u8 {
        match self {
            Self::Discs => 2,
            Self::Lever => 1,
            Self::Fixed => 0,
        }
    }
}

/// One string of a harp.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HarpString {
    /// The note of the open string: pedals in flat, levers down.
    pub open: Note,
    /// What it is made of.
    pub material: Material,
    /// What can shorten it.
    pub mechanism: Mechanism,
    /// Measured regulation error of position 1 and 2: how far the string sounds above 100 and 200 cents over the open
    /// string; 0 where unknown.
    pub regulation: [Cents; 2],
}

impl HarpString {
    /// How many semitones the mechanism adds with the pedals or levers in `setting`: 0, 1 or 2.
    ///
    /// A setting that the string cannot reach is met as nearly as its mechanism allows.
    pub fn position_in(&self, setting: Setting) -> u8 {
        let wanted = setting.of(self.open.letter).semitones() - self.open.accidental.semitones();
        wanted.clamp(0, i32::from(self.mechanism.positions())) as u8
    }

    /// Whether `other` is the same string, however far its disc or lever is off.
    pub fn is_strung_like(&self, other: &Self) -> bool {
        let regulation = other.regulation;
        Self { regulation, ..*self } == *other
    }

    /// The regulation error of `position`; the open string has none.
    pub const fn regulation_error(&self, position: u8) -> Cents {
        match position {
            0 => Cents(0.0),
            1 => self.regulation[0],
            _ => self.regulation[1],
        }
    }
}

/// A harp: its name, its kind and its strings from the top. A copy costs nothing, since none ever changes.
#[derive(Clone, Debug, PartialEq)]
pub struct Harp {
    name: Arc<str>,
    kind: Kind,
    strings: Arc<[HarpString]>,
}

/// Why a list of strings is not a harp.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
pub enum NotAHarp {
    /// It has no string, or more than [`StringNumber::MAX`].
    #[error("a harp has 1 to {MAX} strings, this one has {0}", MAX = StringNumber::MAX)]
    Count(usize),
    /// Its name is empty, too long, or hides something.
    #[error("a harp's name has 1 to {NAME_MAX} characters, none of them invisible")]
    Name,
    /// A regulation error is not within ±50 cents.
    #[error("the regulation error of string {0} is beyond ±50 cents")]
    Regulation(StringNumber),
}

/// The most characters in a harp's name.
pub const NAME_MAX: usize = 60;

/// Whether two lists hold the same strings; how far their discs or levers are off does not make them two.
pub fn are_strung_alike(these: &[HarpString], those: &[HarpString]) -> bool {
    let alike = |(this, that): (&HarpString, &HarpString)| this.is_strung_like(that);
    these.len() == those.len() && these.iter().zip(those).all(alike)
}

impl Harp {
    /// The harp `name` of `kind` with `strings` from the top.
    pub fn new(name: String, kind: Kind, strings: Vec<HarpString>) -> Result<Self, NotAHarp> {
        if strings.is_empty() || strings.len() > usize::from(StringNumber::MAX) {
            return Err(NotAHarp::Count(strings.len()));
        }
        if name.trim().is_empty() || name.chars().count() > NAME_MAX || name.chars().any(is_invisible) {
            return Err(NotAHarp::Name);
        }
        for (index, string) in strings.iter().enumerate() {
            if !string.regulation.iter().all(|error| error.is_within(Cents(50.0))) {
                return Err(NotAHarp::Regulation(StringNumber(index as u8 + 1)));
            }
        }
        Ok(Self {
            name: name.into(),
            kind,
            strings: strings.into(),
        })
    }

    /// What people call the harp.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How it changes its accidentals.
    pub const fn kind(&self) -> Kind {
        self.kind
    }

    /// Its strings from the shortest to the longest.
    pub fn strings(&self) -> &[HarpString] {
        &self.strings
    }

    /// Its strings with their numbers, from the shortest to the longest.
    pub fn numbered(&self) -> impl DoubleEndedIterator<Item = (StringNumber, &HarpString)> + ExactSizeIterator {
        self.strings
            .iter()
            .enumerate()
            .map(|(index, string)| (StringNumber(index as u8 + 1), string))
    }

    /// String `number`, if the harp has it.
    pub fn string(&self, number: StringNumber) -> Option<&HarpString> {
        self.strings.get(number.index())
    }

    /// The string of `letter` in scientific `octave`, if the harp has it.
    pub fn find(&self, letter: Letter, octave: i8) -> Option<StringNumber> {
        self.numbered()
            .find(|(_, s)| s.open.letter == letter && s.open.octave == octave)
            .map(|(number, _)| number)
    }

    /// Whether `other` has the same strings; how far their discs or levers are off does not make them two.
    pub fn is_strung_like(&self, other: &Self) -> bool {
        are_strung_alike(&self.strings, &other.strings)
    }

    /// How many strings the harp has.
    pub fn len(&self) -> usize {
        self.strings.len()
    }

    /// Never true: a harp has at least one string.
    pub fn is_empty(&self) -> bool {
        self.strings.is_empty()
    }
}
