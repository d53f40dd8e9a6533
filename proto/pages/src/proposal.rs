//! What the leader has in mind and has not sent yet, and what it would do.

use consort_proto::setting::NotASetting;
use consort_proto::target::NotAReferencePitch;
use consort_proto::temperament::NotATemperamentText;
use consort_proto::{Cents, ReferencePitch, Standing, Tuning};
use consort_words::{Arg, Key, Words};
use serde::{Deserialize, Serialize};

use crate::image::{SeatImage, SessionImage};

/// A change of what everyone tunes to; what is absent stays.
#[derive(Clone, Debug, Default, Deserialize, PartialEq)]
#[serde(deny_unknown_fields, default)]
pub struct Proposal {
    /// A4 in hertz.
    pub hz: Option<f64>,
    /// A temperament's word, or twelve offsets in cents from C to B.
    pub temperament: Option<String>,
    /// A major key, or all seven pedals.
    pub setting: Option<String>,
}

/// A rise of whole harps by more than this is no fine tuning any more: every string and the frame bear more tension
/// (common practice, no source).
const RAISE_WITHOUT_CAUTION: Cents = Cents(20.0);

/// Why a proposal cannot be meant; each says what to give instead.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotAProposal {
    /// The pitch is none.
    #[error(transparent)]
    Pitch(#[from] NotAReferencePitch),
    /// The temperament is none.
    #[error(transparent)]
    Temperament(#[from] NotATemperamentText),
    /// The setting is none.
    #[error(transparent)]
    Setting(#[from] NotASetting),
}

/// What a proposal would do.
#[derive(Clone, Debug, Eq, PartialEq, Serialize)]
pub struct Consequence {
    /// What would be tuned to, in one line.
    pub agreement: String,
    /// What happens to the strings and to the harps that are ready.
    pub says: String,
}

impl Proposal {
    /// What would be tuned to instead of `before`.
    pub fn tuning(&self, before: &Tuning) -> Result<Tuning, NotAProposal> {
        let mut tuning = *before;
        if let Some(hz) = self.hz {
            tuning.a4 = ReferencePitch::new(hz)?;
        }
        if let Some(text) = &self.temperament {
            tuning.temperament = text.parse()?;
        }
        if let Some(text) = &self.setting {
            tuning.setting = text.parse()?;
        }
        Ok(tuning)
    }

    /// What it would do to the harps of `session`, said in `words`.
    ///
    /// Before anyone has joined it speaks of a pedal harp. Of the harps that are ready it counts those with a string
    /// whose last reading would be out of tolerance.
    pub fn consequence(&self, session: &SessionImage<'_>, words: &Words) -> Result<Consequence, NotAProposal> {
        let before = &session.agreement.tuning;
        let after = self.tuning(before)?;
        let largest = session.seats.iter().map(|seat| seat.harp).max_by_key(|harp| harp.len());
        let usual;
        let harp = match largest {
            Some(harp) => Some(harp),
            None => {
                usual = consort_proto::harp_file::preset("pedal-47");
                usual.as_ref()
            }
        };
        let mut says = harp.map_or_else(String::new, |harp| words.consequence(harp, before, &after));
        let raised = after.a4.hz().cents_above(before.a4.hz());
        if raised > RAISE_WITHOUT_CAUTION {
            let cents = ("cents", Arg::from(format!("{:.0}", raised.0)));
            says = format!("{says} {}", words.say(Key::ConsequenceRaiseCaution, &[cents]));
        }
        let falls = |seat: &&SeatImage<'_>| seat.is_ready() && !stays_ready(seat, session, &after);
        let count = session.seats.iter().filter(falls).count();
        if count > 0 {
            says = format!(
                "{says} {}",
                words.say(Key::ConsequenceReadyAgain, &[("count", Arg::from(count))])
            );
        }
        Ok(Consequence {
            agreement: words.tuning(&after),
            says,
        })
    }
}

/// Whether the strings that hold would still be in tolerance.
fn stays_ready(seat: &SeatImage<'_>, session: &SessionImage<'_>, after: &Tuning) -> bool {
    let before = &session.agreement.tuning;
    let strings = seat.harp.strings().iter().zip(seat.readiness.standings());
    strings
        .filter_map(|(string, standing)| match standing {
            Standing::Holds(cents) => Some((string, *cents)),
            _ => None,
        })
        .all(|(string, cents)| {
            let shift = before.open_target(string).cents_above(after.open_target(string));
            (cents + shift).is_within(session.agreement.tolerance.of(string))
        })
}
