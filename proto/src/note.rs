//! Note names: letter, accidental and scientific octave, with the two other ways harpists count.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::units::Cents;

/// A note letter, in the order of the scientific octave: C is the first and B the last.
#[derive(Clone, Copy, Debug, Deserialize, Eq, Hash, Ord, PartialEq, PartialOrd, Serialize)]
pub enum Letter {
    /// Its strings are red.
    C,
    /// Its pedal is the leftmost.
    D,
    /// The harp octaves change here.
    E,
    /// Its strings are black or blue.
    F,
    /// The letter of the shortest string on most concert harps.
    G,
    /// The letter of the reference pitch.
    A,
    /// Its pedal stands left of the column's middle.
    B,
}

impl Letter {
    /// All letters from C up.
    pub const ALL: [Self; 7] = [Self::C, Self::D, Self::E, Self::F, Self::G, Self::A, Self::B];
    /// All letters in the order of the pedals, left to right: D C B | E F G A.
    pub const PEDALS: [Self; 7] = [Self::D, Self::C, Self::B, Self::E, Self::F, Self::G, Self::A];

    /// Semitones of the natural above C of the same scientific octave: 0 to 11.
    pub const fn semitones(self) -> i32 {
        match self {
            Self::C => 0,
            Self::D => 2,
            Self::E => 4,
            Self::F => 5,
            Self::G => 7,
            Self::A => 9,
            Self::B => 11,
        }
    }

    /// Place in the scientific octave: C is 0 and B is 6.
    pub const fn index(self) -> usize {
        self as usize
    }

    /// The letter as a capital.
    pub const fn as_char(self) -> char {
        match self {
            Self::C => 'C',
            Self::D => 'D',
            Self::E => 'E',
            Self::F => 'F',
            Self::G => 'G',
            Self::A => 'A',
            Self::B => 'B',
        }
    }

    /// The letter that `c` names, in either case.
    pub fn from_char(c: char) -> Option<Self> {
        let upper = c.to_ascii_uppercase();
        Self::ALL.into_iter().find(|letter| letter.as_char() == upper)
    }
}

impl fmt::Display for Letter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.as_char())
    }
}

/// What raises or lowers a letter by a semitone.
#[derive(Clone, Copy, Debug, Default, Deserialize, Eq, Hash, Ord, PartialEq, PartialOrd, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Accidental {
    /// A semitone below the natural; a pedal all the way up.
    Flat,
    /// The letter itself; a pedal in the middle.
    #[default]
    Natural,
    /// A semitone above the natural; a pedal all the way down.
    Sharp,
}

impl Accidental {
    /// −1, 0 or +1 semitone.
    pub const fn semitones(self) -> i32 {
        match self {
            Self::Flat => -1,
            Self::Natural => 0,
            Self::Sharp => 1,
        }
    }

    /// The accidental of `semitones` (−1, 0 or +1).
    pub const fn from_semitones(semitones: i32) -> Option<Self> {
        match semitones {
            -1 => Some(Self::Flat),
            0 => Some(Self::Natural),
            1 => Some(Self::Sharp),
            _ => None,
        }
    }

    /// How the accidental is typed after a letter: `b`, nothing or `#`.
    pub const fn ascii(self) -> &'static str {
        match self {
            Self::Flat => "b",
            Self::Natural => "",
            Self::Sharp => "#",
        }
    }
}

/// A note: letter, accidental and scientific octave; prints as `Cb4`, `C4`, `F#2`.
#[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub struct Note {
    /// The scientific octave, which changes at C; C4 is middle C. The octave belongs to the letter: Cb4 sounds as B3.
    pub octave: i8,
    /// The letter.
    pub letter: Letter,
    /// The accidental.
    pub accidental: Accidental,
}

/// Why a text is not a note.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[error("“{0}” is not a note: write letter, flat (b) or sharp (#) and octave −1 to 9, as in Cb4")]
pub struct NotANote(pub String);

impl NotANote {
    /// The refusal of `text`, which it quotes no further than a person would read.
    fn quoting(text: &str) -> Self {
        Self(text.chars().take(40).collect())
    }
}

impl Note {
    /// A4, the note of the reference pitch.
    pub const A4: Self = Self {
        octave: 4,
        letter: Letter::A,
        accidental: Accidental::Natural,
    };

    /// The note of `letter`, `accidental` and scientific `octave`.
    pub const fn new(letter: Letter, accidental: Accidental, octave: i8) -> Self {
        Self {
            octave,
            letter,
            accidental,
        }
    }

    /// Semitones above A4 (MIDI 69) in any twelve-note temperament; A4 is 0.
    pub const fn semitones_above_a4(self) -> i32 {
        (self.octave as i32 - 4) * 12 + self.letter.semitones() + self.accidental.semitones() - 9
    }

    /// Which of the twelve notes of the octave this is: C is 0, B is 11 and so is C flat.
    pub const fn pitch_class(self) -> usize {
        (self.letter.semitones() + self.accidental.semitones()).rem_euclid(12) as usize
    }

    /// Steps of the seven-letter scale above C0: the place of the string in a harp, whatever its accidental.
    pub const fn steps(self) -> i32 {
        self.octave as i32 * 7 + self.letter as i32
    }

    /// The equal-tempered interval from A4, in cents.
    pub fn cents_above_a4(self) -> Cents {
        Cents(f64::from(self.semitones_above_a4()) * 100.0)
    }

    /// The harpist's octave: 1 at the top, counting downward and changing at E; middle C stands in octave 4.
    pub const fn harp_octave(self) -> i8 {
        match self.letter {
            Letter::C | Letter::D | Letter::E => 8 - self.octave,
            Letter::F | Letter::G | Letter::A | Letter::B => 7 - self.octave,
        }
    }

    /// The harpist's name of the string without its accidental, octave first: `4C`.
    pub fn harp_name(self) -> String {
        format!("{}{}", self.harp_octave(), self.letter)
    }

    /// The letter with its octave as scientists write it, without its accidental: `C4`.
    pub fn scientific_name(self) -> String {
        format!("{}{}", self.letter, self.octave)
    }

    /// The number printed on string packets: E7 (1E) is No. 1; the strings above it are `0` and `00`.
    pub fn packet_number(self) -> String {
        let top = Self::new(Letter::E, Accidental::Natural, 7).steps();
        match top - self.steps() + 1 {
            number @ 1.. => number.to_string(),
            above => "0".repeat(1 + above.unsigned_abs() as usize),
        }
    }

    /// The letter and octave that a harp name such as `4C` means, as a natural.
    pub fn from_harp_name(name: &str) -> Result<Self, NotANote> {
        let bad = || NotANote::quoting(name);
        let mut chars = name.trim().chars();
        let octave = chars.next().and_then(|c| c.to_digit(10)).ok_or_else(bad)? as i8;
        let letter = chars.next().and_then(Letter::from_char).ok_or_else(bad)?;
        if chars.next().is_some() {
            return Err(bad());
        }
        let scientific = match letter {
            Letter::C | Letter::D | Letter::E => 8 - octave,
            Letter::F | Letter::G | Letter::A | Letter::B => 7 - octave,
        };
        Ok(Self::new(letter, Accidental::Natural, scientific))
    }

    /// The letter and octave of a packet number such as `14`, `0` or `00`, as a natural.
    pub fn from_packet_number(number: &str) -> Result<Self, NotANote> {
        let bad = || NotANote::quoting(number);
        let text = number.trim();
        let below_top = if !text.is_empty() && text.len() <= 3 && text.bytes().all(|b| b == b'0') {
            -(text.len() as i32)
        } else {
            text.parse::<u8>()
                .map(i32::from)
                .ok()
                .filter(|n| (1..=60).contains(n))
                .ok_or_else(bad)?
                - 1
        };
        let steps = Self::new(Letter::E, Accidental::Natural, 7).steps() - below_top;
        let letter = Letter::ALL[steps.rem_euclid(7) as usize];
        Ok(Self::new(letter, Accidental::Natural, steps.div_euclid(7) as i8))
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}{}", self.letter, self.accidental.ascii(), self.octave)
    }
}

impl FromStr for Note {
    type Err = NotANote;

    fn from_str(text: &str) -> Result<Self, NotANote> {
        let bad = || NotANote::quoting(text);
        let mut chars = text.trim().chars();
        let letter = chars.next().and_then(Letter::from_char).ok_or_else(bad)?;
        let rest = chars.as_str();
        let (accidental, digits) = match rest.chars().next() {
            Some('b' | '♭') => (Accidental::Flat, &rest[rest.chars().next().map_or(0, char::len_utf8)..]),
            Some('#' | '♯') => (
                Accidental::Sharp,
                &rest[rest.chars().next().map_or(0, char::len_utf8)..],
            ),
            _ => (Accidental::Natural, rest),
        };
        let octave = digits
            .parse::<i8>()
            .ok()
            .filter(|octave| (-1..=9).contains(octave))
            .ok_or_else(bad)?;
        Ok(Self::new(letter, accidental, octave))
    }
}

/// How strings are named on a screen.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub enum Naming {
    /// The harpist's way, octave first: `4C`.
    #[default]
    Harp,
    /// Octaves as in acoustics: `C4`.
    Scientific,
}

impl Naming {
    /// The name of the string of `note`, without its accidental.
    pub fn of(self, note: Note) -> String {
        match self {
            Self::Harp => note.harp_name(),
            Self::Scientific => note.scientific_name(),
        }
    }
}
