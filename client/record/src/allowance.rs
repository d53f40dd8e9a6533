//! Discs and levers allowed for: which open strings are tuned aside so that the position that the piece plays is right,
//! and what that does to every position of the string.
//!
//! A disc that is off is a technician's to set. Until she comes, an open string can be tuned by as much the other way;
//! but a G natural that is cured so spoils G flat and moves G sharp along, so nobody but the harpist may choose it, letter
//! by letter, with the effect on all positions before her.

use std::collections::BTreeSet;
use std::fmt;
use std::str::FromStr;

use consort_proto::{Cents, Harp, HarpString, Letter, Setting, StringNumber};

use crate::regulation::StepError;

/// The letters whose open strings make allowance for their discs or levers; none unless the harpist chooses so.
#[derive(Clone, Debug, Default, Eq, PartialEq)]
pub struct Letters(BTreeSet<Letter>);

/// A text that does not name letters.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[error("“{0}” names no letters: give some of C D E F G A B, as in “G” or “C G”")]
pub struct NotLetters(String);

/// What allowing for its disc or lever does, or would do, to one string.
#[derive(Clone, Debug, PartialEq)]
pub struct Effect {
    /// The string.
    pub string: StringNumber,
    /// The position that the setting plays.
    pub plays: u8,
    /// How far the open string's target moves; nothing where it stays.
    pub moves: Cents,
    /// Why it stays where it is, if it does.
    pub stays: Option<Stays>,
    /// How far each position, the open string first, sounds from where it would with true discs, without the allowance;
    /// `None` where that was not measured.
    pub before: Vec<Option<Cents>>,
    /// The same with the allowance.
    pub after: Vec<Option<Cents>>,
}

/// Why a string stays where it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stays {
    /// The setting plays it open, and that must not be spoiled.
    PlaysOpen,
    /// Its position was not checked since the discs were last regulated.
    NotMeasured,
    /// Its error is known no better than to this.
    Uncertain(Cents),
    /// It is off by so much that a technician has to see it.
    TooFar(Cents),
}

/// An error that is known no better than this, one standard deviation, moves nothing (assumed: half of what a string may
/// be off in the middle of the harp).
pub const KNOWN_WITHIN: Cents = Cents(1.0);
/// An error beyond this moves nothing: the worst step that was published of an old harp is 10 cents (C. Swanson, Harp
/// Column forum, 23 August 2021), and what is off by more is damage or was misheard. The limit itself is assumed.
pub const MOVES_AT_MOST: Cents = Cents(15.0);

impl Letters {
    /// The letters in `chosen`.
    pub fn of(chosen: impl IntoIterator<Item = Letter>) -> Self {
        Self(chosen.into_iter().collect())
    }

    /// Whether no letter is chosen.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Whether `letter` is chosen.
    pub fn has(&self, letter: Letter) -> bool {
        self.0.contains(&letter)
    }

    /// The chosen letters from C up.
    pub fn iter(&self) -> impl Iterator<Item = Letter> {
        self.0.iter().copied()
    }

    /// The same with all of `letters` chosen, or none of them.
    pub fn with(&self, letters: &Self, chosen: bool) -> Self {
        if chosen {
            Self(self.0.union(&letters.0).copied().collect())
        } else {
            Self(self.0.difference(&letters.0).copied().collect())
        }
    }
}

impl fmt::Display for Letters {
    /// As in `C G`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, letter) in self.0.iter().enumerate() {
            let before = if place == 0 { "" } else { " " };
            write!(f, "{before}{letter}")?;
        }
        Ok(())
    }
}

impl FromStr for Letters {
    type Err = NotLetters;

    /// Letters in either case, with blanks or commas between them; an empty text chooses none.
    fn from_str(text: &str) -> Result<Self, NotLetters> {
        let named = text.chars().filter(|c| !matches!(c, ' ' | ','));
        let letters: Option<BTreeSet<Letter>> = named.map(Letter::from_char).collect();
        letters
            .map(Self)
            .ok_or_else(|| NotLetters(text.chars().take(20).collect()))
    }
}

/// The error of `position` by `table` if it is known well enough to tune by, to a tenth of a cent, so that one check more
/// makes no other harp of it.
fn error_of(table: &[StepError], string: StringNumber, position: u8) -> Result<Cents, Stays> {
    let step = measured(table, string, position).ok_or(Stays::NotMeasured)?;
    if !step.sigma.is_within(KNOWN_WITHIN) {
        return Err(Stays::Uncertain(step.sigma));
    }
    if !step.by.is_within(MOVES_AT_MOST) {
        return Err(Stays::TooFar(step.by));
    }
    Ok(Cents((step.by.0 * 10.0).round() / 10.0))
}

fn measured(table: &[StepError], string: StringNumber, position: u8) -> Option<&StepError> {
    table
        .iter()
        .find(|step| step.string == string && step.position == position)
}

/// `harp` with the errors of `table` on the strings of `letters`, as far as they are known well enough.
///
/// Every target that is reckoned from it, here and at the coordinator, then allows for the disc or lever of the position
/// that the agreement plays, and for no other: what everyone agreed on is what that position sounds.
pub fn harp_allowing(harp: &Harp, table: &[StepError], letters: &Letters) -> Harp {
    let strings = harp.numbered().map(|(number, string)| {
        let mut allowing = *string;
        if letters.has(string.open.letter) {
            for position in 1..=string.mechanism.positions() {
                if let Ok(error) = error_of(table, number, position) {
                    allowing.regulation[usize::from(position) - 1] = string.regulation_error(position) + error;
                }
            }
        }
        allowing
    });
    // A harp file may say of a disc that it is off by nearly as much as can be; then it is as that file says.
    Harp::new(harp.name().to_owned(), harp.kind(), strings.collect()).unwrap_or_else(|_| harp.clone())
}

/// What allowing for `letter` does to each of its strings from the top, where the piece plays in `setting`.
pub fn effects(harp: &Harp, table: &[StepError], setting: Setting, letter: Letter) -> Vec<Effect> {
    harp.numbered()
        .filter(|(_, string)| string.open.letter == letter && string.mechanism.positions() > 0)
        .map(|(number, string)| effect(number, string, table, setting))
        .collect()
}

fn effect(number: StringNumber, string: &HarpString, table: &[StepError], setting: Setting) -> Effect {
    let plays = string.position_in(setting);
    let error = match plays {
        0 => Err(Stays::PlaysOpen),
        plays => error_of(table, number, plays),
    };
    let moves = Cents(error.map_or(0.0, |error| 0.0 - error.0));
    // The open string stands aside already by what the harp's own file says of the position that is played.
    let stands = Cents(-string.regulation_error(plays).0);
    let known = |position: u8| match position {
        0 => Some(Cents(0.0)),
        position => measured(table, number, position).map(|step| string.regulation_error(position) + step.by),
    };
    let sounding = |open: Cents| -> Vec<Option<Cents>> {
        (0..=string.mechanism.positions())
            .map(|position| known(position).map(|error| open + error))
            .collect()
    };
    Effect {
        string: number,
        plays,
        moves,
        stays: error.err(),
        before: sounding(stands),
        after: sounding(stands + moves),
    }
}

#[cfg(test)]
mod tests;
