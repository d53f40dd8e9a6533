//! What the leader has in mind and has not sent yet, and what it would do.

use consort_proto::setting::NotASetting;
use consort_proto::target::NotAReferencePitch;
use consort_proto::temperament::NotATemperamentText;
use consort_proto::{Accidental, Cents, Letter, Note, ReferencePitch, Standing, Tuning};
use consort_words::{Arg, Key, Words};
use serde::{Deserialize, Serialize};

use crate::headline::names;
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
/// Above this A any rise is said in tension: harps are built for the usual pitches, 440 to 443 Hz (common practice, no
/// source).
const USUAL_UP_TO_HZ: f64 = 443.0;

/// So many harpists are named whose harps go back to tuning; of more only the first ones are.
const NAMED_MOST: usize = 4;

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
    /// What more tension it means, where that is no small thing; null where it is.
    pub caution: Option<String>,
    /// What a pedal that is moved from the setting would then cost, in words.
    pub pedals: String,
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
        let again: usize = session.seats.iter().map(|seat| set_again(seat, session, &after)).sum();
        if again > 0 {
            let count = [("count", Arg::from(again))];
            says = format!("{says} {}", words.say(Key::ConsequenceSetAgain, &count));
        }
        let back: Vec<&SeatImage<'_>> = session
            .seats
            .iter()
            .filter(|seat| seat.is_ready() && !stays_ready(seat, session, &after))
            .collect();
        if !back.is_empty() {
            // The bar has room for a few names only.
            let named = match back.len() {
                0..=NAMED_MOST => {
                    let names: Vec<&str> = back.iter().map(|seat| seat.name.as_str()).collect();
                    names.join(", ")
                }
                _ => names(&back, words),
            };
            let args = [("count", Arg::from(back.len())), ("names", Arg::from(named))];
            says = format!("{says} {}", words.say(Key::ConsequenceReadyAgain, &args));
        }
        Ok(Consequence {
            agreement: words.tuning(&after),
            says,
            caution: tension(before, &after, words),
            pedals: pedals_cost(&after, words),
        })
    }
}

/// What more tension going from `before` to `after` means: a string of given length and weight bears a tension that
/// goes with the square of its pitch (Mersenne).
fn tension(before: &Tuning, after: &Tuning, words: &Words) -> Option<String> {
    let (from, to) = (before.a4.hz(), after.a4.hz());
    let raised = to.cents_above(from);
    let usual = ReferencePitch::default().hz();
    // A large step is told from where the strings are, a high pitch from where harps are at home.
    let from = match (
        raised > RAISE_WITHOUT_CAUTION,
        raised.0 > 0.0 && to.get() > USUAL_UP_TO_HZ,
    ) {
        (true, _) => from,
        (false, true) => usual,
        (false, false) => return None,
    };
    let more = (to.get() / from.get()).powi(2) - 1.0;
    let args = [
        ("percent", Arg::from(format!("{:.1}", 100.0 * more))),
        ("pitch", Arg::from(from.get().to_string())),
        ("kilograms", Arg::from(format!("{:.0}", 1_000.0 * more))),
    ];
    Some(words.say(Key::ConsequenceTension, &args))
}

/// What pedals that are moved from the setting of `tuning` cost, in words: the strings are tuned so that the served notes
/// are exact, so a moved pedal sounds off by what the temperament gives the two notes apart.
pub(crate) fn pedals_cost(tuning: &Tuning, words: &Words) -> String {
    let offsets = tuning.temperament.offsets();
    let note = |letter, accidental| Note::new(letter, accidental, 4);
    let cost = |letter: Letter, accidental: Accidental| {
        let (served, moved) = (note(letter, tuning.setting.of(letter)), note(letter, accidental));
        (
            moved,
            Cents(offsets[served.pitch_class()].0 - offsets[moved.pitch_class()].0),
        )
    };
    let all = Letter::ALL.into_iter().flat_map(|letter| {
        let positions = [Accidental::Flat, Accidental::Natural, Accidental::Sharp];
        let others = positions
            .into_iter()
            .filter(move |accidental| *accidental != tuning.setting.of(letter));
        others.map(move |accidental| cost(letter, accidental))
    });
    let mut dear: Vec<(Note, Cents)> = all.filter(|(_, cents)| cents.0.abs() >= 0.5).collect();
    if dear.is_empty() {
        return words.say(Key::PedalsCostNothing, &[]);
    }
    dear.sort_by(|(_, a), (_, b)| b.0.abs().total_cmp(&a.0.abs()));
    let told: Vec<String> = dear
        .iter()
        .map(|(note, cents)| format!("{}{} {}", note.letter, sign(note.accidental), words.signed(*cents)))
        .collect();
    words.say(Key::PedalsCost, &[("notes", Arg::from(told.join(", ")))])
}

const fn sign(accidental: Accidental) -> &'static str {
    match accidental {
        Accidental::Flat => "♭",
        Accidental::Natural => "",
        Accidental::Sharp => "♯",
    }
}

/// How far the strings of a harp go with `after` from where `session` has them.
fn shifted<'a>(
    seat: &'a SeatImage<'_>,
    session: &'a SessionImage<'_>,
    after: &'a Tuning,
) -> impl Iterator<Item = (Standing, bool)> + 'a {
    let before = &session.agreement.tuning;
    let strings = seat.harp.strings().iter().zip(seat.readiness.standings());
    strings.filter_map(move |(string, standing)| {
        let cents = standing.cents()?;
        let shift = before.open_target(string).cents_above(after.open_target(string));
        Some((
            *standing,
            (cents + shift).is_within(session.agreement.tolerance.of(string)),
        ))
    })
}

/// How many strings of a harp that are set would be out of tune.
fn set_again(seat: &SeatImage<'_>, session: &SessionImage<'_>, after: &Tuning) -> usize {
    let set = |standing| matches!(standing, Standing::Holds(_) | Standing::SetOnce(_));
    shifted(seat, session, after)
        .filter(|(standing, within)| set(*standing) && !within)
        .count()
}

/// Whether the strings that hold would still be in tolerance.
fn stays_ready(seat: &SeatImage<'_>, session: &SessionImage<'_>, after: &Tuning) -> bool {
    shifted(seat, session, after).all(|(standing, within)| within || !matches!(standing, Standing::Holds(_)))
}
