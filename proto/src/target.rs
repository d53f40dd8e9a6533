//! Targets: the frequency to which an open string is tuned so that it sounds right where the piece plays it.

use crate::harp::{HarpString, Mechanism};
use crate::note::{Accidental, Note};
use crate::setting::Setting;
use crate::temperament::Temperament;
use crate::units::{Cents, Hz};

/// What decides every target: reference pitch, temperament, and the setting in which the temperament is exact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tuning {
    /// The frequency of A4.
    pub a4: ReferencePitch,
    /// The temperament.
    pub temperament: Temperament,
    /// The pedal setting that the temperament serves.
    pub setting: Setting,
}

/// The agreed frequency of A4: [`ReferencePitch::MIN_HZ`] to [`ReferencePitch::MAX_HZ`].
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct ReferencePitch(Hz);

/// Why a frequency is not a reference pitch.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotAReferencePitch {
    /// It is a number, but not one that a harp can follow.
    #[error("A4 = {0} Hz is out of reach: harps are tuned to an A4 from {min} to {max} Hz{meant}",
        min = ReferencePitch::MIN_HZ, max = ReferencePitch::MAX_HZ, meant = without_its_point(*.0))]
    OutOfReach(f64),
    /// It is no number.
    #[error("“{0}” is not a pitch: give A4 in hertz, as in 442 or 440.5")]
    NotANumber(String),
}

/// What `hz` would be if its decimal point were missing, as in 4425, for the end of a sentence.
fn without_its_point(hz: f64) -> String {
    match ReferencePitch::new(hz / 10.0) {
        Ok(meant) => format!("; was {} meant?", meant.hz().get()),
        Err(_) => String::new(),
    }
}

impl ReferencePitch {
    /// The lowest reference: a little under the French baroque 392 Hz.
    pub const MIN_HZ: f64 = 380.0;
    /// The highest reference: a little over the Chorton 466 Hz.
    pub const MAX_HZ: f64 = 480.0;

    /// A4 at `hz`.
    pub fn new(hz: f64) -> Result<Self, NotAReferencePitch> {
        match Hz::new(hz) {
            Ok(frequency) if (Self::MIN_HZ..=Self::MAX_HZ).contains(&hz) => Ok(Self(frequency)),
            _ => Err(NotAReferencePitch::OutOfReach(hz)),
        }
    }

    /// The frequency of A4.
    pub const fn hz(self) -> Hz {
        self.0
    }
}

impl Default for ReferencePitch {
    /// 440 Hz, ISO 16:1975.
    fn default() -> Self {
        Self::new(440.0).unwrap_or_else(|_| unreachable!("440 Hz is within reach"))
    }
}

impl std::str::FromStr for ReferencePitch {
    type Err = NotAReferencePitch;

    fn from_str(text: &str) -> Result<Self, NotAReferencePitch> {
        let not_a_number = || NotAReferencePitch::NotANumber(text.chars().take(40).collect());
        // As people write it: 442, 442.5, 442,5, A = 442, A4=442, 442 Hz.
        let lower = text.trim().to_ascii_lowercase();
        let number = lower.strip_suffix("hz").unwrap_or(&lower).trim();
        let number = match number.split_once('=') {
            Some((name, number)) if matches!(name.trim(), "a" | "a4") => number.trim(),
            Some(_) => return Err(not_a_number()),
            None => number,
        };
        let is_plain = number
            .bytes()
            .all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b',' | b'-' | b'+'));
        let hz = number.replace(',', ".").parse::<f64>().ok().filter(|_| is_plain);
        Self::new(hz.ok_or_else(not_a_number)?)
    }
}

impl Default for Tuning {
    fn default() -> Self {
        Self {
            a4: ReferencePitch::default(),
            temperament: Temperament::default(),
            setting: Setting::NATURALS,
        }
    }
}

impl Tuning {
    /// The frequency of `note` in the agreed temperament.
    pub fn frequency(&self, note: Note) -> Hz {
        let offset = self.temperament.offsets()[note.pitch_class()];
        self.a4.hz().raised_by(note.cents_above_a4() + offset)
    }

    /// How many semitones the mechanism of `string` adds in the served setting: 0, 1 or 2.
    pub fn position(&self, string: &HarpString) -> u8 {
        string.position_in(self.setting)
    }

    /// The note that `string` sounds in the served setting.
    pub fn playing_note(&self, string: &HarpString) -> Note {
        let semitones = string.open.accidental.semitones() + i32::from(self.position(string));
        let accidental = Accidental::from_semitones(semitones).unwrap_or(Accidental::Sharp);
        Note::new(string.open.letter, accidental, string.open.octave)
    }

    /// The target of the open `string`: the pitch of its playing position, less the semitones and the regulation error
    /// of that position.
    pub fn open_target(&self, string: &HarpString) -> Hz {
        let position = match string.mechanism {
            Mechanism::Fixed => 0,
            Mechanism::Discs | Mechanism::Lever => self.position(string),
        };
        let raised = Cents(100.0 * f64::from(position)) + string.regulation_error(position);
        self.frequency(self.playing_note(string)).raised_by(-raised)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pitch_is_read_as_people_write_it() {
        for (text, hz) in [
            ("442", 442.0),
            (" 442,5 ", 442.5),
            ("A=442", 442.0),
            ("a4 = 440.5 Hz", 440.5),
            ("441hz", 441.0),
        ] {
            assert_eq!(
                text.parse::<ReferencePitch>().map(|pitch| pitch.hz().get()),
                Ok(hz),
                "{text}"
            );
        }
    }

    #[test]
    fn what_is_no_pitch_is_refused_and_a_missing_point_is_asked_for() {
        let why = |text: &str| text.parse::<ReferencePitch>().expect_err(text).to_string();
        assert!(
            why("4425").ends_with("380 to 480 Hz; was 442.5 meant?"),
            "{}",
            why("4425")
        );
        assert!(why("44").ends_with("380 to 480 Hz"), "{}", why("44"));
        for text in ["", "A", "B=442", "442 442", "4e2", "inf", "442,5,5", "=442"] {
            assert!(why(text).contains("is not a pitch"), "{text}: {}", why(text));
        }
    }
}
