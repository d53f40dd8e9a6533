//! Discs that are allowed for: the choice, what it does, and the targets of the station.

use std::fs;

use super::{record, refused};
use crate::desk::Desk;
use crate::running::{Folder, Running, objects, run, told};
use crate::sound::{MIDDLE_C_FLAT_HZ, pluck, raised};

/// A check of middle C: six cents sharp in natural, three in sharp.
fn checked(data: &str, file: &str) {
    let hz = |cents: f64| MIDDLE_C_FLAT_HZ * f64::exp2(cents / 1_200.0);
    let mut csv = "tuning,place,a4_hz,temperament,setting,at_unix_ms,string,note,position,hz,sigma_cents\n".to_owned();
    for (position, cents) in [(0, 0.0), (1, 106.0), (2, 203.0)] {
        csv += &format!(
            "2024-10-27T03:33:20Z,home,440,equal,C,{},26,Cb4,{position},{},0.3\n",
            1_730_000_000_000_i64 + position,
            hz(cents),
        );
    }
    fs::write(file, csv).expect("write");
    record(data, &["--harp", "pedal-47", "begin"]);
    record(data, &["import", file]);
}

#[test]
fn a_letter_is_allowed_for_shown_in_all_positions_and_taken_back() {
    let folder = Folder::new("record-allow");
    let data = folder.at("data");
    checked(&data, &folder.at("check.csv"));
    let looked = record(&data, &["allow"]);
    assert!(looked[0].contains("for a technician to set"), "{looked:?}");
    assert!(looked[1].starts_with("C is not allowed for."), "{looked:?}");
    let rows = |lines: &[String]| -> Vec<String> {
        lines
            .iter()
            .filter(|line| line.starts_with("  "))
            .map(|line| line.trim().to_owned())
            .collect()
    };
    let middle = "4C   −6.0    flat +0.0 → −6.0   natural +6.0 → +0.0   sharp +3.0 → −3.0";
    assert!(rows(&looked).contains(&middle.to_owned()), "{looked:?}");
    let unknown = "the position played was not checked";
    assert!(
        rows(&looked)
            .iter()
            .any(|row| row.starts_with("5C") && row.contains(unknown)),
        "{looked:?}"
    );
    let target = |words: &[&str]| {
        let asked = [&["--data", &data, "targets", "--json"], words].concat();
        let (_, lines, _) = told(&run(&asked));
        let rows = objects(&lines);
        (
            rows[25]["cents_from_equal"].as_f64(),
            rows[24]["cents_from_equal"].as_f64(),
        )
    };
    let harp = objects(&record(&data, &["harps", "--json"]))[0]["harp"]
        .as_str()
        .expect("its name")
        .to_owned();
    assert_eq!(target(&["--harp", &harp]), (Some(0.0), Some(0.0)));
    let chosen = record(&data, &["allow", "c"]);
    assert!(
        chosen[1].starts_with("C is allowed for") && chosen[1].contains("C major"),
        "{chosen:?}"
    );
    assert_eq!(
        target(&["--harp", &harp]),
        (Some(-6.0), Some(0.0)),
        "only the chosen letter moves"
    );
    let told = &objects(&record(&data, &["--json", "history", "4C"]))[0];
    let cents = told["cents"].as_f64().expect("cents");
    assert!(
        (cents - 6.0).abs() < 0.01,
        "its history is told against the same target: {told}"
    );
    let sharp = ["--harp", &harp, "--setting", "C#"];
    assert_eq!(target(&sharp), (Some(-3.0), Some(0.0)), "as the setting plays it");
    assert_eq!(
        target(&["--harp", "pedal-47"]),
        (Some(0.0), Some(0.0)),
        "a preset is as it is"
    );
    let told = &objects(&record(&data, &["allow", "--json", "--plays", "C#"]));
    let middle = told.iter().find(|row| row["harp_name"] == "4C").expect("4C");
    assert_eq!(
        (
            middle["moves_cents"].as_f64(),
            middle["plays"].as_u64(),
            middle["allowed"].as_bool()
        ),
        (Some(-3.0), Some(2), Some(true))
    );
    record(&data, &["page", &folder.at("page.html")]);
    let page = fs::read_to_string(folder.at("page.html")).expect("a page");
    assert!(
        page.contains("What is off, allowed for") && page.contains("+6.0 → +0.0"),
        "the sheet shows it"
    );
    assert!(record(&data, &["undo"])[0].starts_with("Back again: the harp with tapered pins"));
    assert_eq!(target(&["--harp", &harp]), (Some(0.0), Some(0.0)));
    record(&data, &["allow", "C G"]);
    let still = record(&data, &["allow", "G", "--off"]);
    assert!(
        still.iter().any(|line| line.contains("nothing can be allowed for")),
        "{still:?}"
    );
    let undone = record(&data, &["undo"]);
    assert!(
        undone[0].ends_with("allowing for the discs or levers of C G"),
        "{undone:?}"
    );
    assert!(refused(&data, &["allow", "H"]).contains("names no letters"));
    assert!(refused(&data, &["allow", "C", "--plays", "H"]).contains("is not a pedal setting"));
}

#[test]
fn a_running_station_tunes_by_what_is_chosen_and_no_longer_once_it_is_not() {
    let folder = Folder::new("allow-running");
    let data = folder.at("data");
    checked(&data, &folder.at("check.csv"));
    let mut station = Running::start(&data, &["--no-opening", "--harp", "pedal-47"]);
    let desk = Desk::enter(&mut station);
    let plucked = |station: &mut Running, off: bool| {
        station.play(&pluck(raised(MIDDLE_C_FLAT_HZ, -6.0), 48_000));
        let standing = |picture: &serde_json::Value| picture["strings"][25]["standing"].clone();
        let shown = desk.wait_until(|picture| standing(picture) != "not-heard");
        assert_eq!(standing(&shown) == "off", off, "{}", shown["sentence"]);
    };
    plucked(&mut station, true);
    // The station starts anew inside itself, with its desk where it was.
    record(&data, &["allow", "C"]);
    station.next_with("event", "desk");
    plucked(&mut station, false);
    record(&data, &["undo"]);
    station.next_with("event", "desk");
    plucked(&mut station, true);
}
