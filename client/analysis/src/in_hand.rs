//! The string that was chosen by hand, over several plucks: it is turned between them and while it sounds, and other strings
//! answer it wherever it was.

use crate::note::Note;

/// A chosen string that is plucked within this of where it was chased to, cents, is chased on.
const CHASED_ON_CENTS: f64 = 40.0;
/// Elsewhere it was plucked only if the power there grew so many times: of 90 swells of strings that answered 87 grew by less,
/// and of 25 plucks all but one by more (virtual harps; that one lay 42 cents off).
const PLUCKED_ELSEWHERE: f64 = 4.4;

/// The note before the one at place `at` of the string that was chosen, if it is chased, and where.
fn chased_before(notes: &[Note], at: usize, chosen: Option<u8>) -> Option<(usize, f64)> {
    let before = (0..notes.len()).filter(|&other| {
        let note = &notes[other];
        let is_it = note.verdict().is_some_and(|verdict| Some(verdict.string) == chosen);
        note.onset < notes[at].onset && note.open && note.passed && is_it
    });
    let newest = before.max_by_key(|&other| notes[other].onset)?;
    Some((newest, notes[newest].chased_at()?))
}

/// That note, and how far from where it is chased the chosen string seems to have been plucked at `at`, cents.
fn plucked_from(notes: &[Note], at: usize, chosen: Option<u8>) -> Option<(usize, f64)> {
    let (before, chased) = chased_before(notes, at, chosen)?;
    let verdict = notes[at].verdict().filter(|verdict| Some(verdict.string) == chosen)?;
    Some((before, 1200.0 * (verdict.hz / chased).log2().abs()))
}

/// Whether a note that was just found is what a chosen string left behind as it was turned: others that answered it where it
/// was swell, and nothing of it is new.
pub(crate) fn is_left_behind(notes: &[Note], at: usize, chosen: Option<u8>) -> bool {
    plucked_from(notes, at, chosen)
        .is_some_and(|(_, cents)| cents > CHASED_ON_CENTS && notes[at].growth() < PLUCKED_ELSEWHERE)
}

/// A chosen string that is plucked again where it was chased to is chased on from there.
pub(crate) fn hand_over(notes: &mut [Note], at: usize, chosen: Option<u8>) {
    if let Some((before, cents)) = plucked_from(notes, at, chosen)
        && cents <= CHASED_ON_CENTS
    {
        let (place, trend) = notes[before].way();
        notes[at].go_on(place, trend.loosened(cents));
    }
}

/// Whether a note may be told of as it sounds: while a chosen string is chased, what begins beside it has to prove to be a
/// pluck, and that of another string to be one for certain.
pub(crate) fn may_be_tracked(notes: &[Note], note: &Note, chosen: Option<u8>) -> bool {
    let Some(verdict) = note.verdict() else {
        return false;
    };
    let is_chased = notes.iter().any(|note| note.open && note.chased_at().is_some());
    match chosen.filter(|_| is_chased) {
        Some(chosen) => note.passed && (verdict.string == chosen || note.is_pluck_for_certain()),
        None => true,
    }
}
