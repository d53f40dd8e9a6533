//! The check of the regulation: what spoils a pluck, and what to do then.

use super::record;
use crate::running::{Folder, run, told};
use crate::sound::{pluck, raised, write_wav};

/// The D above middle C with its pedal in flat, at A4 = 440 Hz in equal temperament: 440·2^(−8/12).
const OPEN_HZ: f64 = 277.182_630_977;

#[test]
fn a_pedal_that_stands_elsewhere_and_another_string_are_told_and_not_written_down() {
    let folder = Folder::new("record-check");
    let data = folder.at("data");
    record(&data, &["--harp", "pedal-47", "begin"]);
    let file = folder.at("flat.wav");
    let hear = |cents: f64, words: &[&str]| {
        write_wav(&file, 48_000, 32, &[&pluck(raised(OPEN_HZ, cents), 48_000)]);
        let (code, _, said) = told(&run(&[&["--data", &data, "record", "check"], words].concat()));
        assert_eq!(code, Some(0), "{said:?}");
        said
    };
    // The letters are checked in the order of the pedals, D first, in flat first.
    for (cents, says) in [
        (
            100.0,
            "whole semitones from 4D as it is asked for: look where its pedal or lever stands",
        ),
        (500.0, "That sounded like 3G, which is not asked for now"),
    ] {
        let said = hear(cents, &[&file]);
        assert!(said.iter().any(|line| line.contains(says)), "{cents}: {said:?}");
        assert!(record(&data, &["harps"])[0].ends_with("tunings: 0"));
    }
    let said = hear(3.0, &[&file]);
    assert!(said.iter().any(|line| line.contains("4D: 277.")), "{said:?}");
    assert!(record(&data, &["harps"])[0].ends_with("tunings: 1"));
}
