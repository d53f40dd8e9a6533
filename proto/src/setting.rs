//! The pedal setting that an agreement serves: one accidental for each letter.

use std::fmt;
use std::str::FromStr;

use crate::note::{Accidental, Letter};

/// One accidental per letter: what the pedals (or the levers) say while the piece is played.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Setting([Accidental; 7]);

/// Why a text is not a pedal setting.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
pub enum NotASetting {
    /// Neither a major key nor seven letters.
    #[error("“{0}” is not a pedal setting: name a major key (C, Eb, F#) or all seven pedals (Db Cb Bb Eb Fb Gb Ab)")]
    Unreadable(String),
    /// A letter is named twice or not at all.
    #[error("a pedal setting names each letter once: {0} is doubled or missing")]
    LetterTwiceOrMissing(Letter),
}

impl Setting {
    /// All pedals in the middle: C major.
    pub const NATURALS: Self = Self([Accidental::Natural; 7]);
    /// All pedals up: C flat major, the open strings of a pedal harp.
    pub const FLATS: Self = Self([Accidental::Flat; 7]);

    /// The accidentals from C to B.
    pub const fn from_accidentals(accidentals: [Accidental; 7]) -> Self {
        Self(accidentals)
    }

    /// The accidental of `letter`.
    pub const fn of(self, letter: Letter) -> Accidental {
        self.0[letter as usize]
    }

    /// The setting of a major key by the number of its sharps (positive) or flats (negative), −7 to 7.
    pub fn major(sharps: i32) -> Option<Self> {
        const ORDER_OF_SHARPS: [Letter; 7] = [
            Letter::F,
            Letter::C,
            Letter::G,
            Letter::D,
            Letter::A,
            Letter::E,
            Letter::B,
        ];
        let count = usize::try_from(sharps.unsigned_abs())
            .ok()
            .filter(|&count| count <= 7)?;
        let mut setting = Self::NATURALS;
        if sharps > 0 {
            ORDER_OF_SHARPS[..count]
                .iter()
                .for_each(|&letter| setting.0[letter.index()] = Accidental::Sharp);
        } else {
            ORDER_OF_SHARPS[7 - count..]
                .iter()
                .for_each(|&letter| setting.0[letter.index()] = Accidental::Flat);
        }
        Some(setting)
    }
}

/// The major keys from seven flats to seven sharps.
const MAJOR_KEYS: [&str; 15] = [
    "Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#",
];

impl Default for Setting {
    fn default() -> Self {
        Self::NATURALS
    }
}

impl fmt::Display for Setting {
    /// Pedal order with the bar between the feet: `Db Cb Bb | Eb Fb Gb Ab`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, letter) in Letter::PEDALS.into_iter().enumerate() {
            f.write_str(match place {
                0 => "",
                3 => " | ",
                _ => " ",
            })?;
            write!(f, "{letter}{}", self.of(letter).ascii())?;
        }
        Ok(())
    }
}

impl FromStr for Setting {
    type Err = NotASetting;

    fn from_str(text: &str) -> Result<Self, NotASetting> {
        if let Some(place) = MAJOR_KEYS.iter().position(|key| key.eq_ignore_ascii_case(text.trim())) {
            return Self::major(place as i32 - 7).ok_or_else(|| NotASetting::Unreadable(text.to_owned()));
        }
        let unreadable = || NotASetting::Unreadable(text.chars().take(60).collect());
        let mut named = [None; 7];
        for word in text.split([' ', '|', ',']).filter(|word| !word.is_empty()) {
            let mut chars = word.chars();
            let letter = chars.next().and_then(Letter::from_char).ok_or_else(unreadable)?;
            let accidental = match chars.as_str() {
                "b" | "♭" => Accidental::Flat,
                "" | "n" | "♮" => Accidental::Natural,
                "#" | "♯" => Accidental::Sharp,
                _ => return Err(unreadable()),
            };
            if named[letter.index()].replace(accidental).is_some() {
                return Err(NotASetting::LetterTwiceOrMissing(letter));
            }
        }
        if named.iter().flatten().count() < 2 {
            return Err(unreadable());
        }
        let mut setting = Self::NATURALS;
        for letter in Letter::ALL {
            setting.0[letter.index()] = named[letter.index()].ok_or(NotASetting::LetterTwiceOrMissing(letter))?;
        }
        Ok(setting)
    }
}
