//! Apart: which string of which harp stands away from the same string, or its octave, on the other harps.
//!
//! Each harp can be within its tolerance and two of them still beat against each other; this is what an ensemble
//! hears, and what no harpist sees at her own desk.

use crate::harp::{Harp, StringNumber};
use crate::readiness::{Readiness, Standing, Tolerance};
use crate::target::Tuning;
use crate::units::{Cents, Hz};

/// One harp of the ensemble and what its strings are.
#[derive(Clone, Copy, Debug)]
pub struct Member<'a> {
    /// The harp.
    pub harp: &'a Harp,
    /// What its strings are.
    pub readiness: &'a Readiness,
}

/// What a string is held against.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub enum Against {
    /// The same string of the other harps.
    Unisons,
    /// The string an octave above on the other harps.
    Octaves,
}

/// A string that stands apart from the other harps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Apart {
    /// Whose, as an index into what was handed in.
    pub member: usize,
    /// Which of its strings.
    pub string: StringNumber,
    /// From what.
    pub against: Against,
    /// How far it stands above the middle one of the others, negative where below.
    pub by: Cents,
    /// Beats in a second that it makes with that one, never negative.
    pub beats_per_second: f64,
}

/// Two pitches nearer than this are one note: temperaments part enharmonic notes by more, rounding by less.
const SAME_NOTE: Cents = Cents(1.0);

/// One string as it stands, at the pitch that it plays in the agreement's setting: a lever harp's open C and a pedal
/// harp's C flat are heard as one note.
#[derive(Clone, Copy)]
struct Heard {
    member: usize,
    string: StringNumber,
    played: Hz,
    off: Cents,
    within: Cents,
}

/// The strings that stand apart from the other harps by more than their tolerance, the farthest in tolerances first.
///
/// New, missing and unheard strings neither stand apart nor are anything held against.
/// The others are told by the middle one of their distances from the target, so that one harp that is off does not
/// make all others seem so; and of the two sides the one that is farther from its target stands apart.
/// A string is named once, with whichever of unison and octave it is worse against.
/// Beats are those of the first partial for unisons, of the second of the lower string for octaves, on strings without
/// stiffness.
/// Takes time in the square of the number of strings that share a note.
pub fn apart(members: &[Member<'_>], tuning: &Tuning, tolerance: &Tolerance) -> Vec<Apart> {
    let mut heard: Vec<Heard> = members
        .iter()
        .enumerate()
        .flat_map(|(member, one)| standing_strings(member, *one, tuning, tolerance))
        .collect();
    heard.sort_by(|a, b| a.played.get().total_cmp(&b.played.get()));
    let mut found: Vec<(f64, Apart)> = heard
        .iter()
        .filter_map(|one| {
            let unison = against(one, &heard, one.played, Against::Unisons);
            let octave = against(one, &heard, one.played.raised_by(Cents(1200.0)), Against::Octaves);
            octave.into_iter().chain(unison).max_by(|a, b| a.0.total_cmp(&b.0))
        })
        .collect();
    found.sort_by(|a, b| {
        b.0.total_cmp(&a.0)
            .then_with(|| (a.1.member, a.1.string).cmp(&(b.1.member, b.1.string)))
    });
    found.into_iter().map(|(_, apart)| apart).collect()
}

fn standing_strings<'a>(
    member: usize,
    one: Member<'a>,
    tuning: &'a Tuning,
    tolerance: &'a Tolerance,
) -> impl Iterator<Item = Heard> + 'a {
    one.harp.numbered().filter_map(move |(number, string)| {
        let standing = one.readiness.of(number)?;
        if matches!(standing, Standing::New(_)) {
            return None;
        }
        Some(Heard {
            member,
            string: number,
            played: tuning.frequency(tuning.playing_note(string)),
            off: standing.cents()?,
            within: tolerance.of(string),
        })
    })
}

/// How far `one` stands from the strings of other harps at `pitch`, with that as a share of its tolerance, if it is more
/// than the whole of it. `heard` is sorted by pitch.
fn against(one: &Heard, heard: &[Heard], pitch: Hz, against: Against) -> Option<(f64, Apart)> {
    let from = heard.partition_point(|other| other.played.cents_above(pitch).0 < -SAME_NOTE.0);
    let mut others: Vec<f64> = heard[from..]
        .iter()
        .take_while(|other| other.played.cents_above(pitch).0 <= SAME_NOTE.0)
        .filter(|other| other.member != one.member)
        .map(|other| other.off.0)
        .collect();
    others.sort_by(f64::total_cmp);
    let middle = middle(&others)?;
    let by = Cents(one.off.0 - middle);
    let share = by.abs().0 / one.within.0;
    if share <= 1.0 || one.off.abs().0 < middle.abs() {
        return None;
    }
    let beats_per_second = (pitch.raised_by(one.off).get() - pitch.raised_by(Cents(middle)).get()).abs();
    Some((
        share,
        Apart {
            member: one.member,
            string: one.string,
            against,
            by,
            beats_per_second,
        },
    ))
}

/// The middle of `sorted`, or half-way between the two middle ones; `None` where there is nothing.
fn middle(sorted: &[f64]) -> Option<f64> {
    let half = sorted.len() / 2;
    let upper = *sorted.get(half)?;
    Some(if sorted.len() % 2 == 1 {
        upper
    } else {
        f64::midpoint(sorted[half - 1], upper)
    })
}
