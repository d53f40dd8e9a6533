//! What is written down by hand, planned with, taken out and taken back.

use std::fs;

use super::{record, refused};
use crate::running::{Folder, objects, run, told};

#[test]
fn what_is_written_by_hand_is_planned_with_and_can_be_taken_back() {
    let folder = Folder::new("record-hand");
    let data = folder.at("data");
    record(&data, &["--harp", "lever-34", "begin"]);
    record(
        &data,
        &["fitted", "4C", "2020-01-15", "--gauge", "1.02", "--length", "4C-a"],
    );
    let plan = record(&data, &["plan", "--csv"]);
    assert!(plan[1].contains(",4C,") && plan[1].ends_with("now"), "{plan:?}");
    record(&data, &["did", "restrung", "2026-11-01"]);
    assert!(record(&data, &["plan", "--csv"]).len() == 1, "all strings are new");
    assert_eq!(record(&data, &["plan"]), ["Nothing is due that the record knows of."]);
    record(&data, &["undo"]);
    assert_eq!(
        record(&data, &["undo"]),
        ["Taken out again: 4C, put on on 2020-01-15 (1.02 mm, cut from 4C-a)"]
    );
    record(&data, &["did", "restrung", "2026-11-01"]);
    record(&data, &["harp", "--pins", "threaded"]);
    let undone = &objects(&record(&data, &["undo", "--json"]))[0];
    assert_eq!(
        (undone["kind"].as_str(), undone["content"]["pins"].as_str()),
        (Some("harp"), Some("tapered"))
    );
    assert_eq!(record(&data, &["plan", "--csv"]).len(), 1);
    record(&data, &["room", "--temperature", "20.5", "--humidity", "44"]);
    record(&data, &["concert", "2031-12-12", "Winter concert"]);
    let backup = folder.at("backup.json");
    record(&data, &["export", &backup]);
    let other = folder.at("other");
    assert_eq!(
        record(&other, &["import", &backup]),
        ["new harps: 1, readings: 0, entries: 4"]
    );
    record(&other, &["export", &folder.at("again.json")]);
    let read = |name: &str| fs::read_to_string(folder.at(name)).expect("a file");
    // What was taken out travels as such.
    assert_eq!(read("again.json"), read("backup.json"));
}

#[test]
fn anything_written_down_can_be_taken_out_and_put_back() {
    let folder = Folder::new("record-out");
    let data = folder.at("data");
    record(&data, &["begin"]);
    assert_eq!(record(&data, &["written"]), ["Nothing is written down yet."]);
    assert_eq!(
        record(&data, &["history", "5D"]),
        ["This string has not been heard yet."]
    );
    assert!(record(&data, &["strings"])[0].starts_with("No string has been heard yet"));
    let plan = record(&data, &["plan"]);
    assert_eq!(plan[0], "Nothing is due that the record knows of.");
    assert!(
        plan[1].starts_with("Nobody has written down when these 47 strings were put on"),
        "{plan:?}"
    );
    record(&data, &["fitted", "4C", "2020-01-15"]);
    record(
        &data,
        &["did", "remark", "2021-02-01", "--string", "5D", "--note", "buzzes"],
    );
    record(&data, &["did", "regulated", "2022-03-01"]);
    let all = [
        "regulated on 2022-03-01",
        "the remark of 2021-02-01 about 5D: “buzzes”",
        "4C, put on on 2020-01-15",
    ];
    assert_eq!(record(&data, &["written"]), all);
    assert_eq!(
        record(&data, &["written", "--csv"])[3],
        "2020-01-15,fitting,\"4C, put on on 2020-01-15\""
    );
    assert_eq!(
        record(&data, &["take-out", all[2]]),
        [format!("Taken out again: {}", all[2])]
    );
    assert_eq!(record(&data, &["written"]), all[..2]);
    assert!(refused(&data, &["take-out", all[2]]).contains("nothing that is written down reads"));
    assert_eq!(record(&data, &["undo"]), [format!("Back again: {}", all[2])]);
    assert_eq!(record(&data, &["written"]), all);
}

/// What differs is said, so that what is taken out is what was meant.
#[test]
fn of_two_strings_put_on_in_one_place_on_one_day_the_one_that_is_named_is_taken_out() {
    let folder = Folder::new("record-alike");
    let data = folder.at("data");
    record(&data, &["begin"]);
    let fitted = |words: &[&str]| record(&data, &[&["fitted", "5D", "2020-11-20"], words].concat());
    fitted(&["--gauge", "1.02"]);
    fitted(&["--gauge", "1.04"]);
    fitted(&["--material", "nylon", "--length", "5D-a"]);
    let all = [
        "5D, put on on 2020-11-20 (1.02 mm)",
        "5D, put on on 2020-11-20 (1.04 mm)",
        "5D, put on on 2020-11-20 (nylon, cut from 5D-a)",
    ];
    let mut written = record(&data, &["written"]);
    written.sort();
    assert_eq!(written, all);
    record(&data, &["take-out", all[1]]);
    let mut written = record(&data, &["written"]);
    written.sort();
    assert_eq!(written, [all[0], all[2]]);
    assert!(refused(&data, &["take-out", "5D, put on on 2020-11-20"]).contains("nothing that is written down reads"));
    // One length, in a list of another laptop once more with another number of strings, reads alike.
    let list = folder.at("lengths.csv");
    let lengths = "name,bought,string,material,gauge_mm,yields\n3E-a,2020-01-05,17,gut,,2\n3E-a,2020-01-06,17,gut,,3\n";
    fs::write(&list, lengths).expect("write");
    record(&data, &["import", &list]);
    let sentence = refused(&data, &["take-out", "the length 3E-a for 3E"]);
    assert!(sentence.contains("more than one entry reads"), "{sentence}");
}

#[test]
fn what_is_taken_back_is_said_as_it_now_stands() {
    let folder = Folder::new("record-back");
    let data = folder.at("data");
    record(&data, &["begin"]);
    record(&data, &["harp", "--concert-days", "1"]);
    record(&data, &["harp", "--concert-days", "14"]);
    let harp = "Back again: the harp with tapered pins and its player, student, with no new strings";
    assert_eq!(
        record(&data, &["undo"]),
        [format!("{harp} on the day before a concert")]
    );
    assert_eq!(
        record(&data, &["undo"]),
        [format!("{harp} in the 10 days before a concert")]
    );
    let room = |figure: &str, of: &str| {
        record(&data, &["room", figure, of, "--at", "2020-11-25T19:30:00Z"]);
    };
    room("--humidity", "40");
    room("--temperature", "20");
    room("--humidity", "45");
    let earlier = "Back again: the room at 2020-11-25T19:30:00Z as it was noted before";
    assert_eq!(record(&data, &["undo"]), [earlier]);
    assert_eq!(record(&data, &["undo"]), [earlier]);
    assert_eq!(
        record(&data, &["undo"]),
        ["Taken out again: the room at 2020-11-25T19:30:00Z"]
    );
}

#[test]
fn a_string_that_was_just_put_on_comes_with_what_to_do_and_an_old_one_with_nothing() {
    let folder = Folder::new("record-fitted");
    let data = folder.at("data");
    record(&data, &["begin"]);
    let today = {
        let text = told(&run(&["--data", &data, "record", "shelf", "add", "4C-a", "4C"]));
        assert_eq!(text.0, Some(0));
        let list = record(&data, &["--csv", "shelf", "list"]);
        list[1]
            .split(',')
            .find(|field| field.len() == 10 && field.starts_with("20"))
            .expect("a day")
            .to_owned()
    };
    let said = record(&data, &["fitted", "4C", &today, "--length", "4C-a"]);
    assert!(
        said[0].starts_with("Bring 4C up in several steps") && said[1].contains("should hold by about"),
        "{said:?}"
    );
    assert!(record(&data, &["fitted", "4D", "2020-01-10"]).is_empty());
}
