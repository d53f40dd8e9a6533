//! Harps: the compass of the presets, what their open strings are tuned to, and what their mechanisms reach.

use consort_proto::harp_file::{parse, preset, preset_names, preset_text};
use consort_proto::target::Tuning;
use consort_proto::{Accidental, Cents, Harp, HarpString, Kind, Letter, Material, Mechanism, Note, Setting};

fn harp(name: &str) -> Harp {
    preset(name).expect("a preset")
}

fn place(string: &HarpString) -> String {
    format!("{}{}", string.open.letter, string.open.octave)
}

fn string(harp: &Harp, name: &str) -> HarpString {
    let note: Note = name.parse().expect("a note");
    *harp
        .string(harp.find(note.letter, note.octave).expect("a string"))
        .expect("a string")
}

fn serving(key: &str) -> Tuning {
    Tuning {
        setting: key.parse().expect("a key"),
        ..Tuning::default()
    }
}

/// An open encyclopedia's article on the pedal harp: 47 strings from C1 to G7, 48 exist; an instrument page: 46 start
/// on D; a glossary: 44 from low D to high E.
/// The compass of the 40-string pedal harp and of all lever harps is from memory; that most have 34 strings is the answer
/// of a general reference page.
#[test]
fn presets_have_the_usual_counts_and_compass() {
    let mut names: Vec<&str> = preset_names().collect();
    for (name, kind, count, lowest, highest) in [
        ("pedal-48", Kind::Pedal, 48, "C1", "A7"),
        ("pedal-47", Kind::Pedal, 47, "C1", "G7"),
        ("pedal-46", Kind::Pedal, 46, "D1", "G7"),
        ("pedal-44", Kind::Pedal, 44, "D1", "E7"),
        ("pedal-40", Kind::Pedal, 40, "A1", "E7"),
        ("lever-40", Kind::Lever, 40, "G1", "D7"),
        ("lever-38", Kind::Lever, 38, "A1", "C7"),
        ("lever-36", Kind::Lever, 36, "C2", "C7"),
        ("lever-34", Kind::Lever, 34, "C2", "A6"),
        ("lever-33", Kind::Lever, 33, "C2", "G6"),
        ("lever-29", Kind::Lever, 29, "C2", "C6"),
        ("lever-27", Kind::Lever, 27, "C3", "A6"),
        ("lever-26", Kind::Lever, 26, "C3", "G6"),
        ("lever-22", Kind::Lever, 22, "C3", "C6"),
    ] {
        let harp = harp(name);
        assert_eq!((harp.kind(), harp.len()), (kind, count), "{name}");
        assert_eq!(place(&harp.strings()[0]), highest, "{name}");
        assert_eq!(place(&harp.strings()[count - 1]), lowest, "{name}");
        assert!(harp.name().contains(&format!("{count} strings")), "{}", harp.name());
        for pair in harp.strings().windows(2) {
            assert_eq!(
                pair[0].open.steps() - pair[1].open.steps(),
                1,
                "{name}: no string is left out"
            );
        }
        names.retain(|&other| other != name);
    }
    assert_eq!(names, [""; 0], "every preset is checked");
    assert!(preset("pedal-45").is_none() && preset_text("pedal-45").is_none());
}

/// Computed from the definition: equal temperament, A4 = 440 Hz, all pedals up; the 47 open strings from G flat 7 down,
/// in hertz.
#[rustfmt::skip]
const OPEN_STRINGS: [f64; 47] = [
    2959.9554, 2637.0205, 2489.0159, 2217.4610, 1975.5332, 1864.6550, 1661.2188,
    1479.9777, 1318.5102, 1244.5079, 1108.7305, 987.7666, 932.3275, 830.6094,
    739.9888, 659.2551, 622.2540, 554.3653, 493.8833, 466.1638, 415.3047,
    369.9944, 329.6276, 311.1270, 277.1826, 246.9417, 233.0819, 207.6523,
    184.9972, 164.8138, 155.5635, 138.5913, 123.4708, 116.5409, 103.8262,
    92.4986, 82.4069, 77.7817, 69.2957, 61.7354, 58.2705, 51.9131,
    46.2493, 41.2034, 38.8909, 34.6478, 30.8677,
];

#[test]
fn the_open_strings_of_a_pedal_harp_in_equal_temperament() {
    let harp = harp("pedal-47");
    for key in ["Cb", "C", "F#"] {
        for ((number, string), hz) in harp.numbered().zip(OPEN_STRINGS) {
            // What has discs is tuned alike whatever setting equal temperament serves.
            let found = serving(key).open_target(string).get();
            assert!((found - hz).abs() < 1e-4, "string {number} in {key}: {found}, not {hz}");
        }
    }
}

/// An orchestration guide on the fixed tuning of the lowest strings, and an open encyclopedia's article: C1 and D1
/// commonly have no discs.
#[test]
fn the_two_lowest_strings_of_a_concert_harp_are_fixed() {
    let harp = harp("pedal-47");
    for (number, string) in harp.numbered() {
        let expected = if number.get() >= 46 {
            Mechanism::Fixed
        } else {
            Mechanism::Discs
        };
        assert_eq!(string.mechanism, expected, "{}", place(string));
    }
    let fixed: Vec<String> = harp.strings().iter().rev().take(2).map(place).collect();
    assert_eq!(fixed, ["C1", "D1"]);
    for key in ["Cb", "C", "C#"] {
        let tuning = serving(key);
        for name in ["C1", "D1"] {
            let string = string(&harp, name);
            assert_eq!(
                (tuning.position(&string), tuning.playing_note(&string)),
                (0, string.open),
                "{name} in {key}"
            );
            assert_eq!(
                tuning.open_target(&string),
                tuning.frequency(string.open),
                "{name} in {key}"
            );
        }
    }
}

/// A fixed string is tuned to what its harp file says, so a piece in C major is served by naming it natural.
#[test]
fn a_fixed_string_sounds_what_the_harp_file_says() {
    let text = preset_text("pedal-47")
        .expect("a preset")
        .replace("note = \"C1\"", "note = \"C1\"\nopen = \"natural\"");
    let harp = parse(&text).expect("a harp");
    let found = Tuning::default().open_target(&string(&harp, "C1")).get();
    assert!((found - 32.7032).abs() < 5e-5, "{found}");
}

/// Common practice, no source: nylon at the top, gut in the middle, wires in the bass, from G2 down.
#[test]
fn the_strings_of_a_concert_harp_are_nylon_gut_and_wire() {
    let harp = harp("pedal-47");
    let count = |material| {
        harp.strings()
            .iter()
            .filter(|string| string.material == material)
            .count()
    };
    assert_eq!(
        (count(Material::Nylon), count(Material::Gut), count(Material::Wire)),
        (9, 26, 12)
    );
    assert_eq!(string(&harp, "A2").material, Material::Gut);
    assert_eq!(string(&harp, "G2").material, Material::Wire);
}

/// General reference pages on lever harps: usual open tuning in E flat; a lever raises its string by one semitone.
#[test]
fn a_lever_harp_in_e_flat_serves_c_major_with_three_letters_up() {
    let harp = harp("lever-34");
    let tuning = Tuning::default();
    for string in harp.strings() {
        let lever = u8::from(matches!(string.open.letter, Letter::E | Letter::A | Letter::B));
        assert_eq!(tuning.position(string), lever, "{}", string.open);
        assert_eq!(
            tuning.playing_note(string).accidental,
            Accidental::Natural,
            "{}",
            string.open
        );
        let open = tuning.open_target(string).cents_above(tuning.frequency(string.open)).0;
        assert!(open.abs() < 1e-9, "{}: {open}", string.open);
    }
}

/// By count: open in E flat, a full set of levers reaches eight major keys.
#[test]
fn a_lever_harp_in_e_flat_reaches_the_keys_from_three_flats_to_four_sharps() {
    let harp = harp("lever-34");
    for sharps in -7..=7 {
        let setting = Setting::major(sharps).expect("a key");
        let tuning = Tuning {
            setting,
            ..Tuning::default()
        };
        let reaches = harp
            .strings()
            .iter()
            .all(|string| tuning.playing_note(string).accidental == setting.of(string.open.letter));
        assert_eq!(reaches, (-3..=4).contains(&sharps), "{sharps}");
    }
}

#[test]
fn what_a_mechanism_cannot_reach_is_served_as_nearly_as_it_can() {
    let (lever, pedal) = (harp("lever-34"), harp("pedal-47"));
    for (harp, name, key, position, playing) in [
        // Two semitones above the open string: the lever gives one.
        (&lever, "E4", "C#", 1, "E4"),
        (&lever, "A4", "B", 1, "A4"),
        // Below the open string: no lever lowers.
        (&lever, "D4", "Db", 0, "D4"),
        (&lever, "C4", "Cb", 0, "C4"),
        // Pedals reach all three.
        (&pedal, "E4", "C#", 2, "E#4"),
        (&pedal, "E4", "C", 1, "E4"),
        (&pedal, "E4", "Cb", 0, "Eb4"),
    ] {
        let (tuning, string) = (serving(key), string(harp, name));
        let note: Note = playing.parse().expect("a note");
        assert_eq!(
            (tuning.position(&string), tuning.playing_note(&string)),
            (position, note),
            "{name} in {key}"
        );
    }
}

/// C. Swanson, Harp Column forum, 23 August 2021: one older harp, open strings set exactly, cents above 100 in natural
/// and above 200 in sharp.
/// Computed from the definition: a string that its disc raises too far is tuned that much lower when open.
#[test]
fn a_measured_regulation_error_is_taken_off_the_open_string() {
    let measured = [
        ("C3", 2.0, 10.0),
        ("B2", 2.0, 3.0),
        ("C2", 0.0, 5.0),
        ("B1", 0.0, 3.0),
        ("A1", 1.0, 4.0),
    ];
    let entries: String = measured
        .iter()
        .map(|(note, natural, sharp)| {
            format!("[[strings]]\nnote = \"{note}\"\nregulation = [{natural:?}, {sharp:?}]\n")
        })
        .collect();
    let harp = parse(&format!("{}\n{entries}", preset_text("pedal-47").expect("a preset"))).expect("a harp");
    for (name, natural, sharp) in measured {
        let string = string(&harp, name);
        for (key, semitones, error) in [("Cb", 0.0, 0.0), ("C", 100.0, natural), ("C#", 200.0, sharp)] {
            let tuning = serving(key);
            let open = tuning.open_target(&string);
            let lowered = open.cents_above(tuning.frequency(string.open)).0;
            assert!((lowered + error).abs() < 1e-9, "{name} in {key}: {lowered}");
            let sounding = open.raised_by(Cents(semitones + error));
            let wanted = tuning.frequency(tuning.playing_note(&string));
            assert!(sounding.cents_above(wanted).0.abs() < 1e-9, "{name} in {key}");
        }
    }
    assert_eq!(string(&harp, "D3").regulation, [Cents(0.0); 2]);
}

#[test]
fn what_is_known_of_discs_makes_no_other_harp_and_another_string_does() {
    let usual = preset("pedal-47").expect("a preset");
    let with = |change: &dyn Fn(&mut HarpString)| {
        let mut strings = usual.strings().to_vec();
        change(&mut strings[20]);
        Harp::new("The walnut harp".to_owned(), usual.kind(), strings).expect("a harp")
    };
    assert!(with(&|string| string.regulation = [Cents(2.0), Cents(1.0)]).is_strung_like(&usual));
    assert!(!with(&|string| string.material = Material::Wire).is_strung_like(&usual));
    assert!(!preset("pedal-46").expect("a preset").is_strung_like(&usual));
}
