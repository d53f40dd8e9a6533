//! Reference pitch, temperament, setting and tolerance on the wire, as agreement and orders carry them.

use consort_proto::{Accidental, Cents, Letter, Note, ReferencePitch, Scheme, Setting, Temperament, Tolerance};

use crate::code::Coded;
use crate::error::WireError;
use crate::harp::{cents, millicents};

/// A4 in thousandths of a hertz.
pub(crate) fn millihertz(a4: ReferencePitch) -> u32 {
    (a4.hz().get() * 1000.0).round() as u32
}

/// The A4 of so many thousandths of a hertz.
pub(crate) fn reference(a4_mhz: u32) -> Result<ReferencePitch, WireError> {
    ReferencePitch::new(f64::from(a4_mhz) / 1000.0).map_err(|why| WireError::range("A4", why))
}

/// The place of A among offsets from C to B.
const A: usize = 9;

/// The number of the temperament's name, 0 for offsets of one's own, and the offsets from C to B in any case.
pub(crate) fn temperament_numbers(temperament: &Temperament) -> (u8, [i32; 12]) {
    (temperament.scheme().code(), temperament.offsets().map(millicents))
}

/// The temperament of that number; one that has a name here only in a newer version is known by its offsets.
pub(crate) fn temperament(scheme: u8, offsets: [i32; 12]) -> Result<Temperament, WireError> {
    match Option::<Scheme>::of(scheme) {
        Ok(Some(scheme)) => Ok(Temperament::named(scheme)),
        Ok(None) | Err(_) => {
            // A stays in whole numbers, so that what is sent on is what was heard, to the last bit.
            let kept = offsets.map(|offset| cents(offset.saturating_sub(offsets[A])).0);
            Temperament::own(&kept).map_err(|why| WireError::range("a temperament", why))
        }
    }
}

/// The accidentals from C to B.
pub(crate) fn setting_numbers(setting: Setting) -> [u8; 7] {
    Letter::ALL.map(|letter| setting.of(letter).code())
}

/// The setting of such accidentals.
pub(crate) fn setting(numbers: [u8; 7]) -> Result<Setting, WireError> {
    let mut accidentals = [Accidental::Natural; 7];
    for (accidental, code) in accidentals.iter_mut().zip(numbers) {
        *accidental = Coded::of(code)?;
    }
    Ok(Setting::from_accidentals(accidentals))
}

/// Middle, wires and top, in thousandths of a cent.
pub(crate) fn tolerance_numbers(tolerance: &Tolerance) -> [i32; 3] {
    let Tolerance { middle, wires, top } = *tolerance;
    [middle, wires, top].map(millicents)
}

/// The tolerance of such numbers: no ear judges less than a tenth of a cent, and half a semitone is another note.
pub(crate) fn tolerance(numbers: [i32; 3]) -> Result<Tolerance, WireError> {
    let [middle, wires, top] = numbers.map(cents);
    match [middle, wires, top]
        .into_iter()
        .find(|c| !(Cents(0.1)..=Cents(50.0)).contains(c))
    {
        Some(bad) => {
            let why = format_args!("{} cents, where 0.1 to 50 can be meant", bad.0);
            Err(WireError::range("a tolerance", why))
        }
        None => Ok(Tolerance { middle, wires, top }),
    }
}

/// Letter and octave of a string that everyone is asked for.
pub(crate) fn called_numbers(called: Option<Note>) -> Option<(u8, i8)> {
    called.map(|note| (note.letter.code(), note.octave))
}

/// The string of that letter and octave, as a natural.
pub(crate) fn called(numbers: Option<(u8, i8)>) -> Result<Option<Note>, WireError> {
    let Some((letter, octave)) = numbers else {
        return Ok(None);
    };
    if !(-1..=9).contains(&octave) {
        return Err(WireError::range("an octave", format_args!("{octave} is none")));
    }
    Ok(Some(Note::new(Coded::of(letter)?, Accidental::Natural, octave)))
}
