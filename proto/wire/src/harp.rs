//! A harp on the wire.

use bincode::{Decode, Encode};
use consort_proto::{Cents, Harp, HarpString, Note};

use crate::code::Coded;
use crate::error::WireError;

/// A harp, version 1.
#[derive(Debug, Decode, Encode)]
pub(crate) struct HarpV1 {
    name: String,
    kind: u8,
    strings: Vec<StringV1>,
}

/// A string, version 1.
#[derive(Debug, Decode, Encode)]
struct StringV1 {
    octave: i8,
    letter: u8,
    accidental: u8,
    material: u8,
    mechanism: u8,
    /// Positions 1 and 2, in millicents.
    regulation_mc: [i32; 2],
}

impl From<&Harp> for HarpV1 {
    fn from(harp: &Harp) -> Self {
        let strings = harp.strings().iter().map(|string| StringV1 {
            octave: string.open.octave,
            letter: string.open.letter.code(),
            accidental: string.open.accidental.code(),
            material: string.material.code(),
            mechanism: string.mechanism.code(),
            regulation_mc: string.regulation.map(millicents),
        });
        Self {
            name: harp.name().to_owned(),
            kind: harp.kind().code(),
            strings: strings.collect(),
        }
    }
}

impl TryFrom<HarpV1> for Harp {
    type Error = WireError;

    fn try_from(harp: HarpV1) -> Result<Self, WireError> {
        let kind = Coded::of(harp.kind)?;
        let strings = harp
            .strings
            .into_iter()
            .map(HarpString::try_from)
            .collect::<Result<Vec<_>, _>>()?;
        Self::new(harp.name, kind, strings).map_err(|why| WireError::range("a harp", why))
    }
}

impl TryFrom<StringV1> for HarpString {
    type Error = WireError;

    fn try_from(string: StringV1) -> Result<Self, WireError> {
        if !(-1..=9).contains(&string.octave) {
            return Err(WireError::range("an octave", format_args!("{} is none", string.octave)));
        }
        Ok(Self {
            open: Note::new(Coded::of(string.letter)?, Coded::of(string.accidental)?, string.octave),
            material: Coded::of(string.material)?,
            mechanism: Coded::of(string.mechanism)?,
            regulation: string.regulation_mc.map(cents),
        })
    }
}

/// An interval as a whole number of thousandths of a cent; saturates far beyond anything that is tuned.
pub(crate) fn millicents(interval: Cents) -> i32 {
    (interval.0 * 1000.0).round() as i32
}

/// The interval of so many thousandths of a cent.
pub(crate) fn cents(millicents: i32) -> Cents {
    Cents(f64::from(millicents) / 1000.0)
}
