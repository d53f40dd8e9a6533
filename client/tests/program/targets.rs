//! The table of targets against published values, and in every form.

use crate::running::{Folder, objects, run, told};

/// The row of string `string` as JSON.
#[track_caller]
fn row(words: &[&str], string: usize) -> serde_json::Value {
    let (code, lines, complaints) = told(&run(&[&["targets", "--json"], words].concat()));
    assert_eq!((code, complaints.len()), (Some(0), 0), "{complaints:?}");
    objects(&lines)[string - 1].clone()
}

/// Frequencies of twelve-tone equal temperament from A4 = 440 Hz as physics tables print them, to two decimals.
#[test]
#[rustfmt::skip]
fn open_strings_of_a_pedal_harp_are_those_of_the_published_table() {
    for (string, harp_name, note, packet, plays, hz) in [
        ( 1, "0G", "Gb7", "00", "G7", 2959.96),
        ( 2, "0F", "Fb7", "0",  "F7", 2637.02),
        ( 3, "1E", "Eb7", "1",  "E7", 2489.02),
        (10, "2E", "Eb6", "8",  "E6", 1244.51),     // The next octave begins with the next E.
        (21, "3A", "Ab4", "19", "A4",  415.30),
        (26, "4C", "Cb4", "24", "C4",  246.94),
        (47, "7C", "Cb1", "45", "Cb1",  30.87),     // Without discs it stays in flat.
    ] {
        let row = row(&[], string);
        assert_eq!(row["string"], string);
        assert_eq!(row["harp_name"], harp_name);
        assert_eq!(row["note"], note);
        assert_eq!(row["packet"], packet);
        assert_eq!(row["playing_note"], plays);
        let target = row["target_hz"].as_f64().expect("number");
        assert!((target - hz).abs() <= 0.005, "string {string}: {target}, published {hz}");
        assert_eq!(row["cents_from_equal"], 0.0);
    }
}

#[test]
fn the_table_follows_the_pitch() {
    // 1200·log2(442/440) = 7.851 cents.
    let at = |pitch: &str| row(&["--pitch", pitch], 26)["target_hz"].as_f64().expect("number");
    assert!((1200.0 * (at("442") / at("440")).log2() - 7.851).abs() < 0.002);
}

#[test]
fn every_form_has_every_string() {
    let (code, table, _) = told(&run(&["targets", "--harp", "lever-34"]));
    assert_eq!((code, table.len()), (Some(0), 35));
    let (code, csv, _) = told(&run(&["targets", "--harp", "lever-34", "--csv"]));
    assert_eq!((code, csv.len()), (Some(0), 35));
    assert_eq!(
        csv[0],
        "string,harp_name,note,packet,playing_note,target_hz,cents_from_equal"
    );
    assert!(csv.iter().all(|line| line.split(',').count() == 7), "{csv:?}");
    let (code, json, _) = told(&run(&["targets", "--harp", "lever-34", "--json"]));
    assert_eq!((code, objects(&json).len()), (Some(0), 34));
}

#[test]
fn a_harp_printed_as_a_file_is_the_same_harp_again() {
    let folder = Folder::new("own-harp");
    let (code, harps, _) = told(&run(&["harps"]));
    assert_eq!((code, harps.len()), (Some(0), 14));
    for line in harps {
        let name = line.split(' ').next().expect("name");
        let (_, text, _) = told(&run(&["harp", name]));
        let path = folder.at(&format!("{name}.toml"));
        std::fs::write(&path, text.join("\n")).expect("write");
        let printed = |harp: &str| told(&run(&["targets", "--csv", "--harp", harp]));
        assert_eq!(printed(&path), printed(name), "{name}");
    }
}
