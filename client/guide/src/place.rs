//! Where a pin is, in the words by which a hand finds it.

use consort_proto::{Accidental, Harp, Letter, Naming, Note, StringNumber};
use consort_words::{Arg, Key};

use crate::Phrase;

/// Counted from an end only this far; further in nobody counts.
const COUNTED_FROM_AN_END: usize = 10;
/// Pins around middle C that are found from it.
const COUNTED_FROM_MIDDLE_C: i32 = 4;

/// Where the pin of string `number` is; the harp has that string.
///
/// Within ten strings of an end it counts from there; around middle C from middle C; a C or F by its colour; else from
/// the C or F below it, as players find high pins by following a coloured string over (common practice, no source).
pub fn place(harp: &Harp, number: StringNumber, naming: Naming) -> Phrase {
    const MIDDLE_C: i32 = Note::new(Letter::C, Accidental::Natural, 4).steps();
    let Some(string) = harp.string(number) else {
        return Phrase::plain(Key::PlaceMiddleC);
    };
    let steps = string.open.steps();
    let from_bottom = harp.len() - number.index();
    if steps == MIDDLE_C {
        return Phrase::plain(Key::PlaceMiddleC);
    }
    let from_middle = steps - MIDDLE_C;
    if from_middle.abs() <= COUNTED_FROM_MIDDLE_C && harp.find(Letter::C, 4).is_some() {
        let key = if from_middle > 0 {
            Key::PlacePinsAbove
        } else {
            Key::PlacePinsBelow
        };
        return Phrase {
            key,
            args: vec![
                ("count", Arg::from(from_middle.unsigned_abs())),
                ("landmark", Arg::from("middle C")),
            ],
        };
    }
    if from_bottom <= COUNTED_FROM_AN_END {
        return Phrase {
            key: Key::PlaceFromBottom,
            args: vec![("count", Arg::from(from_bottom))],
        };
    }
    if usize::from(number.get()) <= COUNTED_FROM_AN_END {
        return Phrase {
            key: Key::PlaceFromTop,
            args: vec![("count", Arg::from(u32::from(number.get())))],
        };
    }
    match string.open.letter {
        Letter::C => Phrase {
            key: Key::PlaceRed,
            args: vec![("name", Arg::from(naming.of(string.open)))],
        },
        Letter::F => Phrase {
            key: Key::PlaceDark,
            args: vec![("name", Arg::from(naming.of(string.open)))],
        },
        letter => {
            let landmark = if matches!(letter, Letter::D | Letter::E) {
                Letter::C
            } else {
                Letter::F
            };
            let above = (letter.index() - landmark.index()) as u32;
            let below = naming.of(Note::new(landmark, Accidental::Natural, string.open.octave));
            Phrase {
                key: Key::PlaceAboveLetter,
                args: vec![("count", Arg::from(above)), ("name", Arg::from(below))],
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::harp_file::preset;
    use consort_words::Words;

    #[test]
    fn a_pin_is_found_from_an_end_from_middle_c_or_from_a_coloured_string() {
        let harp = preset("pedal-47").expect("a preset");
        let words = Words::english();
        #[rustfmt::skip]
        let table = [
            // number  where
            ( 1, "the top string"),
            ( 2, "2nd from the top"),
            (10, "10th from the top"),
            (12, "the red 2C"),
            (15, "one above 2F"),
            (18, "one above 3C"),
            (23, "3 pins above middle C"),
            (25, "the pin above middle C"),
            (26, "middle C"),
            (27, "the pin below middle C"),
            (33, "the red 5C"),
            (34, "three above 5F"),
            (44, "4th from the bottom"),
            (47, "the bottom string"),
        ];
        for (number, found) in table {
            let number = StringNumber::new(number).expect("a string");
            assert_eq!(place(&harp, number, Naming::Harp).say(&words), found, "string {number}");
        }
    }
}
