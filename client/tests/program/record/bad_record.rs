//! What cannot be, and records that are newer, damaged, or written by two at once.

use std::fs;

use super::{record, refused};
use crate::running::{Folder, program, run, told};

/// Where a database keeps the number of its layout: four bytes, the highest first (SQLite, Database File Format, 1.3).
const LAYOUT_AT: usize = 60;

#[test]
#[rustfmt::skip]
fn what_cannot_be_is_refused_in_one_sentence() {
    let folder = Folder::new("record-refused");
    let data = folder.at("data");
    let bad = folder.at("bad.csv");
    fs::write(&bad, "at,temperature_c,humidity_percent\n2024-10-27T10:00:00Z,20,140\n").expect("write");
    assert!(refused(&data, &["findings"]).contains("holds no harp yet: tune one"));
    record(&data, &["begin"]);
    assert!(refused(&data, &["undo"]).contains("nothing to take back"));
    record(&data, &["harp", "--made", "2001-05-01"]);
    for (words, says) in [
        (vec!["begin"],                               "already has a harp called"),
        (vec!["findings", "--of", ""],                "give --of one of these names"),
        (vec!["findings", "--of", "Harpsichord"],     "no harp called “Harpsichord”"),
        (vec!["history", "9Z"],                       "this harp has no string “9Z”"),
        (vec!["fitted", "4C", "2999-01-01"],          "has not come yet"),
        (vec!["fitted", "4C", "1999-01-01"],          "before the harp was made on 2001-05-01"),
        (vec!["fitted", "4C", "1st of May"],          "is not a day"),
        (vec!["fitted", "4C", "2020-01-01", "--gauge", "9"], "a string of 9 mm is none"),
        (vec!["did", "painted", "2020-01-01"],        "nothing that can be done"),
        (vec!["room", "--humidity", "140"],           "a humidity of 140 % is none"),
        (vec!["room"],                                "nothing is said of the room"),
        (vec!["harp"],                                "nothing is said of the harp"),
        (vec!["concert", "2999-01-01", " "],          "the concert’s name is empty"),
        (vec!["room", "--humidity", "40", "--at", "2999-01-01T00:00:00Z"], "has not come yet"),
        (vec!["harp", "--made", "2999-01-01"],        "has not come yet"),
        (vec!["import", "nowhere.json"],              "nowhere.json cannot be read"),
        (vec!["import", bad.as_str()],                "line 2, column humidity_percent: a humidity of 140 %"),
    ] {
        let sentence = refused(&data, &words);
        assert!(sentence.contains(says), "{words:?}: {sentence}");
    }
    let (code, _, complaints) = told(&run(&["--data", &data, "--place", ""]));
    assert_eq!(code, Some(2));
    assert!(complaints[0].contains("“” is no place"), "{complaints:?}");
}

#[test]
fn a_newer_record_is_read_and_a_damaged_one_is_left_as_it_is() {
    let folder = Folder::new("record-newer");
    let data = folder.at("data");
    record(&data, &["begin"]);
    let file = std::path::Path::new(&data).join("record.sqlite");
    let mut bytes = fs::read(&file).expect("the record");
    bytes[LAYOUT_AT..LAYOUT_AT + 4].copy_from_slice(&[0, 0, 0, 99]);
    fs::write(&file, &bytes).expect("a newer layout");
    let said = record(&data, &["findings"]);
    assert!(said[0].starts_with("Too early to say"), "{said:?}");
    assert!(said[1].contains("can only be read: update this program"), "{said:?}");
    for order in [
        &["undo"] as &[&str],
        &["room", "--humidity", "40"],
        &["begin", "Another"],
    ] {
        assert!(refused(&data, order).contains("can only be read: update this program"));
    }
    fs::write(&file, vec![0x5a; 8_192]).expect("damage");
    for order in [&["findings"] as &[&str], &["undo"], &["harps"]] {
        let sentence = refused(&data, order);
        assert!(
            sentence.contains("is damaged") && sentence.contains("import the newest backup"),
            "{sentence}"
        );
    }
    // A harp of it is not said to be unknown, and a usual one is none of its business.
    let targets = |harp: &str| told(&run(&["--data", &data, "--harp", harp, "targets"]));
    let (code, _, complaints) = targets("The walnut harp");
    assert_eq!(code, Some(1));
    assert!(complaints[0].contains("is damaged"), "{complaints:?}");
    assert_eq!(targets("lever-22").0, Some(0));
    assert_eq!(fs::read(&file).expect("the record"), vec![0x5a; 8_192]);
}

/// Two windows, or the desk and a command: each waits for the other.
#[test]
fn commands_that_write_at_the_same_time_lose_nothing() {
    let folder = Folder::new("record-both");
    let data = folder.at("data");
    record(&data, &["begin"]);
    let writers: Vec<_> = (1..=6)
        .map(|string| {
            let words = ["--data", &data, "record", "fitted", &string.to_string(), "2020-01-15"].map(str::to_owned);
            program().args(words).spawn().expect("a program")
        })
        .collect();
    for mut writer in writers {
        assert!(writer.wait().expect("its end").success());
    }
    let list = folder.at("fittings.csv");
    record(&data, &["export", &list, "--list", "fittings"]);
    assert_eq!(fs::read_to_string(&list).expect("the list").lines().count(), 7);
}
