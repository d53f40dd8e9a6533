//! A change of the agreement as it travels from a page or another terminal.

use std::time::Duration;

use consort_proto::deputy::Change;
use consort_proto::setting::NotASetting;
use consort_proto::temperament::NotATemperamentText;
use consort_proto::{Cents, Note, ReferencePitch, Tolerance};
use serde::{Deserialize, Serialize};

/// An order that changes the agreement.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(tag = "order", rename_all = "kebab-case", deny_unknown_fields)]
pub enum ChangeBody {
    /// A new reference pitch.
    Pitch {
        /// A4 in hertz.
        hz: f64,
    },
    /// A new temperament.
    Temperament {
        /// Its name, or twelve offsets in cents from C to B.
        name: String,
    },
    /// A new pedal setting for the temperament to serve.
    Setting {
        /// A major key, or all seven pedals.
        key: String,
    },
    /// New tolerances, in cents.
    Tolerance {
        /// Gut, nylon and fluorocarbon below the top octave and a half.
        middle: f64,
        /// Wires.
        wires: f64,
        /// The top octave and a half.
        top: f64,
    },
    /// A new start.
    Start {
        /// Seconds from now; null clears it.
        in_s: Option<u64>,
    },
    /// A new round.
    Round,
    /// Take back the last change.
    Undo,
    /// Ask everyone for a string.
    Call {
        /// Its name, as in `4C`; null for no more.
        string: Option<String>,
    },
}

/// The least and the most that a string may be off, in cents: what stations take. No ear judges less, and half a semitone
/// is another note.
const TOLERANCE_CENTS: [f64; 2] = [0.1, 50.0];
/// A start lies within a day.
const DAY_S: u64 = 24 * 60 * 60;

impl ChangeBody {
    /// The change that is meant; else the sentence that says what is wrong with it.
    pub fn change(self) -> Result<Change, String> {
        Ok(match self {
            Self::Pitch { hz } => Change::Pitch(ReferencePitch::new(hz).map_err(|why| why.to_string())?),
            Self::Temperament { name } => {
                Change::Temperament(name.parse().map_err(|why: NotATemperamentText| why.to_string())?)
            }
            Self::Setting { key } => Change::Setting(key.parse().map_err(|why: NotASetting| why.to_string())?),
            Self::Tolerance { middle, wires, top } => Change::Tolerance(tolerance([middle, wires, top])?),
            Self::Start { in_s } => Change::Start(in_s.map(|seconds| Duration::from_secs(seconds.min(DAY_S)))),
            Self::Round => Change::NewRound,
            Self::Undo => Change::Undo,
            Self::Call { string } => Change::Call(match string {
                Some(name) => Some(Note::from_harp_name(&name).map_err(|why| why.to_string())?),
                None => None,
            }),
        })
    }
}

/// Tolerances in cents, of the middle, the wires and the top.
fn tolerance(cents: [f64; 3]) -> Result<Tolerance, String> {
    let [least, most] = TOLERANCE_CENTS;
    match cents.iter().find(|cents| !(least..=most).contains(*cents)) {
        Some(cents) => Err(format!(
            "{cents} cents is not a tolerance: give {least} to {most} cents"
        )),
        None => {
            let [middle, wires, top] = cents.map(Cents);
            Ok(Tolerance { middle, wires, top })
        }
    }
}
