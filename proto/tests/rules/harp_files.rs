//! Harp files: each that is none is refused in one sentence, and each string may have its own.

use consort_proto::harp_file::{self, BYTES_MAX, parse};
use consort_proto::{Cents, Harp, HarpString, Material, Mechanism, Note};

fn string(harp: &Harp, name: &str) -> HarpString {
    let note: Note = name.parse().expect("a note");
    let number = harp.find(note.letter, note.octave).expect("a string");
    *harp.string(number).expect("a string")
}

/// A harp of eight strings.
const RUNS: &str = "name = \"Mine\"\nkind = \"lever\"\n\
    [[runs]]\nfrom = \"C5\"\nto = \"C4\"\nmaterial = \"gut\"\nmechanism = \"lever\"\n";

fn run(from: &str, to: &str) -> String {
    format!("[[runs]]\nfrom = \"{from}\"\nto = \"{to}\"\nmaterial = \"wire\"\nmechanism = \"lever\"\n")
}

/// [`RUNS`], and one string with whatever it has of its own.
fn with_string(note: &str, own: &str) -> String {
    format!("{RUNS}[[strings]]\nnote = \"{note}\"\n{own}\n")
}

#[test]
fn each_harp_file_that_is_none_is_refused_in_one_sentence_that_names_the_thing() {
    let below = |from: &str, to: &str| format!("{RUNS}{}", run(from, to));
    for (text, sentence) in [
        (
            below("A3", "G3"),
            "the harp file skips B3: each run starts at the string just below the run before it",
        ),
        (
            below("C4", "G3"),
            "the harp file names C4 twice: leave one of the two out",
        ),
        (
            below("E4", "G3"),
            "the harp file names E4 twice: leave one of the two out",
        ),
        (
            with_string("D4", "[[strings]]\nnote = \"Db4\""),
            "the harp file names D4 twice: leave one of the two out",
        ),
        (
            with_string("F3", ""),
            "the harp file describes F3, but no run contains that string: lengthen a run, or leave the entry out",
        ),
        (
            with_string("H4", ""),
            "the harp file names a string that does not exist: “H4” is not a note: write letter, flat (b) or sharp (#) \
             and octave −1 to 9, as in Cb4",
        ),
        (
            below("B3", "J"),
            "the harp file names a string that does not exist: “J” is not a note: write letter, flat (b) or sharp (#) \
             and octave −1 to 9, as in Cb4",
        ),
        (
            below("B3", "D4"),
            "the run from B3 to D4 runs upward: list strings from the top down",
        ),
        (
            RUNS.replace("kind = \"lever\"", "kind = \"lever\"\nopen = { H = \"flat\" }"),
            "the harp file tunes “H” open, which is not a letter from A to G: write one of them, as in open = { E = \"flat\" }",
        ),
        (
            with_string("D4", "regulation = [1.0, 50.5]"),
            "the harp file does not make a harp: the regulation error of string 7 is beyond ±50 cents",
        ),
        (
            with_string("D4", "regulation = [-51]"),
            "the harp file does not make a harp: the regulation error of string 7 is beyond ±50 cents",
        ),
        (
            with_string("D4", "regulation = [1.0, 2.0, 3.0]"),
            "the harp file gives 3 regulation errors for D4: a string has at most two, for one and for two semitones",
        ),
        (
            with_string("D4", "regulation = [1.0, nan]"),
            "the harp file gives NaN as a regulation error of D4: give a number of cents, such as 2.5",
        ),
        (
            with_string("D4", "regulation = [-inf]"),
            "the harp file gives -inf as a regulation error of D4: give a number of cents, such as 2.5",
        ),
        (
            RUNS.replace("Mine", " "),
            "the harp file does not make a harp: a harp's name has 1 to 60 characters, none of them invisible",
        ),
        (
            RUNS.replace("Mine", "Mi\\u202Ene"),
            "the harp file does not make a harp: a harp's name has 1 to 60 characters, none of them invisible",
        ),
        (
            RUNS.replace("Mine", &"m".repeat(61)),
            "the harp file does not make a harp: a harp's name has 1 to 60 characters, none of them invisible",
        ),
        (
            format!("name = \"Mine\"\nkind = \"lever\"\n{}", run("C9", "C0")),
            "the harp file does not make a harp: a harp has 1 to 63 strings, this one has 64",
        ),
        (
            "name = \"Mine\"\nkind = \"lever\"\nruns = []\n".to_owned(),
            "the harp file does not make a harp: a harp has 1 to 63 strings, this one has 0",
        ),
        (
            format!("{RUNS}#{}", " ".repeat(BYTES_MAX - RUNS.len())),
            "the harp file is too long: it has 65537 bytes, and at most 65536 are read",
        ),
    ] {
        let refusal = parse(&text).expect_err(sentence);
        assert_eq!(refusal.to_string(), sentence);
    }
}

#[test]
fn what_is_not_toml_or_not_a_word_of_harp_files_is_refused_with_its_line() {
    for (text, line, names) in [
        ("this is not a harp".to_owned(), "line 1: ", ""),
        (RUNS.replace("\"lever\"\n[", "lever\n["), "line 2: ", ""),
        (RUNS.replace("kind = \"lever\"", "kind = \"lute\""), "line 2: ", "lute"),
        (RUNS.replace("kind", "colour = \"red\"\nkind"), "line 2: ", "colour"),
        (RUNS.replace("\"gut\"", "\"silk\""), "line 6: ", "silk"),
        (with_string("D4", "mechanism = \"pin\""), "line 10: ", "pin"),
        (with_string("D4", "open = \"sharper\""), "line 10: ", "sharper"),
        (with_string("D4", "regulation = [\"much\"]"), "line 10: ", "much"),
        (RUNS.replace("to = \"C4\"\n", ""), "line 3: ", "to"),
    ] {
        let refusal = parse(&text).expect_err(line).to_string();
        assert!(
            refusal.starts_with(&format!("the harp file cannot be read: {line}")),
            "{refusal}"
        );
        assert!(refusal.contains(names), "{refusal}");
        assert!(!refusal.contains('\n'), "{refusal}");
    }
}

#[test]
fn a_harp_file_may_be_as_long_as_the_limit_and_give_every_string_its_own() {
    let text = format!("{RUNS}#{}", " ".repeat(BYTES_MAX - RUNS.len() - 1));
    assert_eq!(text.len(), BYTES_MAX);
    assert_eq!(parse(&text).expect("a harp").len(), 8);
    let own = "open = \"sharp\"\nmaterial = \"fluorocarbon\"\nmechanism = \"fixed\"\nregulation = [-50, 50]";
    let harp = parse(&with_string("F4", own)).expect("a harp");
    assert_eq!(
        string(&harp, "F4"),
        HarpString {
            open: "F#4".parse().expect("a note"),
            material: Material::Fluorocarbon,
            mechanism: Mechanism::Fixed,
            regulation: [Cents(-50.0), Cents(50.0)],
        }
    );
    assert_eq!(
        string(&harp, "E4"),
        HarpString {
            open: "E4".parse().expect("a note"),
            material: Material::Gut,
            mechanism: Mechanism::Lever,
            regulation: [Cents(0.0); 2],
        }
    );
}

/// What is written is read again as the same harp, also with a string tuned otherwise than its letter and a regulation
/// error.
#[test]
fn a_harp_that_is_written_is_read_again() {
    for name in harp_file::preset_names() {
        let harp = harp_file::preset(name).expect("a preset");
        let text = harp_file::write(&harp).expect(name);
        assert_eq!(harp_file::parse(&text).expect(name), harp, "{text}");
        let mut strings = harp.strings().to_vec();
        let last = strings.len() - 1;
        strings[last].open.accidental = consort_proto::Accidental::Sharp;
        strings[3].material = consort_proto::Material::Fluorocarbon;
        strings[5].regulation = [consort_proto::Cents(2.5), consort_proto::Cents(-1.0)];
        let own =
            consort_proto::Harp::new("The \"walnut\" one".to_owned(), harp.kind(), strings.clone()).expect("a harp");
        let text = harp_file::write(&own).expect(name);
        assert_eq!(harp_file::parse(&text).expect(name), own, "{text}");
        strings.remove(4);
        let torn = consort_proto::Harp::new("Torn".to_owned(), harp.kind(), strings).expect("a harp");
        assert!(harp_file::write(&torn).is_err(), "{name} with a hole");
    }
}
