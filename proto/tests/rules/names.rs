//! The three ways in which harpists name a string, converted into each other.

use consort_proto::harp_file::preset;
use consort_proto::{Accidental, Letter, Note, StringNumber};

/// Every string of a harp with 47: number from the top, packet number, harp name, scientific name of the natural.
///
/// Harp octaves after S. Moss, on how harp strings are numbered; packet numbers 11 to 15 after a harpist's comparison of
/// strings; 0, 00 and 45 from memory; the rest computed from the definition.
#[rustfmt::skip]
const STRINGS: [(u32, &str, &str, &str); 47] = [
    (1, "00", "0G", "G7"),
    (2, "0", "0F", "F7"),
    (3, "1", "1E", "E7"),
    (4, "2", "1D", "D7"),
    (5, "3", "1C", "C7"),
    (6, "4", "1B", "B6"),
    (7, "5", "1A", "A6"),
    (8, "6", "1G", "G6"),
    (9, "7", "1F", "F6"),
    (10, "8", "2E", "E6"),
    (11, "9", "2D", "D6"),
    (12, "10", "2C", "C6"),
    (13, "11", "2B", "B5"),
    (14, "12", "2A", "A5"),
    (15, "13", "2G", "G5"),
    (16, "14", "2F", "F5"),
    (17, "15", "3E", "E5"),
    (18, "16", "3D", "D5"),
    (19, "17", "3C", "C5"),
    (20, "18", "3B", "B4"),
    (21, "19", "3A", "A4"),
    (22, "20", "3G", "G4"),
    (23, "21", "3F", "F4"),
    (24, "22", "4E", "E4"),
    (25, "23", "4D", "D4"),
    (26, "24", "4C", "C4"),
    (27, "25", "4B", "B3"),
    (28, "26", "4A", "A3"),
    (29, "27", "4G", "G3"),
    (30, "28", "4F", "F3"),
    (31, "29", "5E", "E3"),
    (32, "30", "5D", "D3"),
    (33, "31", "5C", "C3"),
    (34, "32", "5B", "B2"),
    (35, "33", "5A", "A2"),
    (36, "34", "5G", "G2"),
    (37, "35", "5F", "F2"),
    (38, "36", "6E", "E2"),
    (39, "37", "6D", "D2"),
    (40, "38", "6C", "C2"),
    (41, "39", "6B", "B1"),
    (42, "40", "6A", "A1"),
    (43, "41", "6G", "G1"),
    (44, "42", "6F", "F1"),
    (45, "43", "7E", "E1"),
    (46, "44", "7D", "D1"),
    (47, "45", "7C", "C1"),
];

#[test]
fn all_47_strings_convert_between_the_three_ways_of_naming() {
    let harp = preset("pedal-47").expect("a preset");
    for (number, packet, harp_name, scientific) in STRINGS {
        let note: Note = scientific.parse().expect(scientific);
        assert_eq!(note.to_string(), scientific);
        assert_eq!(note.harp_name(), harp_name);
        assert_eq!(note.packet_number(), packet);
        assert_eq!(Note::from_harp_name(harp_name), Ok(note));
        assert_eq!(Note::from_packet_number(packet), Ok(note));
        let number = StringNumber::new(number).expect("a number");
        assert_eq!(harp.find(note.letter, note.octave), Some(number), "{scientific}");
        let string = harp.string(number).expect("a string");
        assert_eq!(string.open.harp_name(), harp_name);
        assert_eq!(string.open.to_string(), format!("{}b{}", note.letter, note.octave));
    }
    assert_eq!(harp.len(), STRINGS.len());
}

/// A harp maker's advice page on compass.
#[test]
fn octaves_turn_over_at_e_and_count_downward() {
    for (scientific, harp_name) in [
        ("C4", "4C"),
        ("D4", "4D"),
        ("E4", "4E"),
        ("F4", "3F"),
        ("G4", "3G"),
        ("A4", "3A"),
        ("B4", "3B"),
        ("G7", "0G"),
        ("C1", "7C"),
    ] {
        assert_eq!(scientific.parse::<Note>().expect(scientific).harp_name(), harp_name);
        assert_eq!(
            Note::from_harp_name(harp_name).expect(harp_name).to_string(),
            scientific
        );
    }
}

/// An accidental does not move a string: C flat stays in the octave of its C.
#[test]
fn the_accidental_does_not_change_the_name_of_the_string() {
    for (note, harp_name, packet) in [
        ("Cb4", "4C", "24"),
        ("B#3", "4B", "25"),
        ("Fb4", "3F", "21"),
        ("E#4", "4E", "22"),
    ] {
        let parsed: Note = note.parse().expect(note);
        assert_eq!(
            (parsed.harp_name().as_str(), parsed.packet_number().as_str()),
            (harp_name, packet),
            "{note}"
        );
    }
}

/// “C7” is 32.7 Hz to those who write the harp octave after the letter and 2093 Hz to everyone else, so letter first is
/// always scientific here and octave first always the harp's.
#[test]
fn letter_first_is_scientific_and_octave_first_is_the_harps() {
    let scientific: Note = "C7".parse().expect("a note");
    let harp = Note::from_harp_name("7C").expect("a harp name");
    assert_eq!((scientific.octave, harp.octave), (7, 1));
    assert_eq!(scientific.semitones_above_a4() - harp.semitones_above_a4(), 72);
    assert_eq!(
        Note::from_harp_name("C7").expect_err("letter first").to_string(),
        "“C7” is not a note: write letter, flat (b) or sharp (#) and octave −1 to 9, as in Cb4"
    );
    assert_eq!(
        "7C".parse::<Note>().expect_err("octave first").to_string(),
        "“7C” is not a note: write letter, flat (b) or sharp (#) and octave −1 to 9, as in Cb4"
    );
}

/// By count: string 11 of a harp with 47 is 2D, while packet number 11 is 2B.
#[test]
fn the_count_from_the_top_is_not_the_packet_number() {
    let harp = preset("pedal-47").expect("a preset");
    let eleventh = harp.string(StringNumber::new(11).expect("a number")).expect("a string");
    assert_eq!(eleventh.open.harp_name(), "2D");
    assert_eq!(
        Note::from_packet_number("11").expect("a packet number").harp_name(),
        "2B"
    );
}

/// Common practice, no source, and by count: C D E F from the bottom, so the fourth string is the lowest black one.
#[test]
fn the_fourth_string_from_the_bottom_of_a_harp_with_47_is_an_f() {
    let harp = preset("pedal-47").expect("a preset");
    let letters: Vec<Letter> = harp
        .strings()
        .iter()
        .rev()
        .take(4)
        .map(|string| string.open.letter)
        .collect();
    assert_eq!(letters, [Letter::C, Letter::D, Letter::E, Letter::F]);
}

#[test]
fn accidentals_are_read_in_type_and_in_print() {
    let note = |accidental| Note::new(Letter::C, accidental, 4);
    for (text, accidental) in [
        ("Cb4", Accidental::Flat),
        ("c♭4", Accidental::Flat),
        ("C4", Accidental::Natural),
        (" c4 ", Accidental::Natural),
        ("C#4", Accidental::Sharp),
        ("C♯4", Accidental::Sharp),
    ] {
        assert_eq!(text.parse(), Ok(note(accidental)), "{text}");
    }
    assert_eq!("b4".parse(), Ok(Note::new(Letter::B, Accidental::Natural, 4)));
    assert_eq!("bb4".parse(), Ok(Note::new(Letter::B, Accidental::Flat, 4)));
}

#[test]
fn what_names_no_string_is_refused() {
    for text in ["", "H4", "C", "C10", "C-2", "Cbb4", "C4x", "4C", "♭4", "C 4"] {
        assert!(text.parse::<Note>().is_err(), "{text}");
    }
    for text in ["", "4", "C", "C4", "4H", "44C", "4Cb", "-1C", "٤C"] {
        assert!(Note::from_harp_name(text).is_err(), "{text}");
    }
    for text in ["", "0000", "61", "-1", "1.5", "1E", "４"] {
        assert!(Note::from_packet_number(text).is_err(), "{text}");
    }
}
