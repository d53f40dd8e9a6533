//! A string that was put on: what the desk marks and what the record says are one thing.

use std::fs;
use std::time::{Duration, Instant};

use super::{readings, record};
use crate::desk::Desk;
use crate::running::{Folder, Running};

/// Looks at the record until `wanted` of what is written down.
fn written_until(data: &str, wanted: impl Fn(&[String]) -> bool) -> Vec<String> {
    let patience = Instant::now() + Duration::from_secs(20);
    loop {
        let written = record(data, &["written"]);
        if wanted(&written) {
            return written;
        }
        assert!(Instant::now() < patience, "it never came to that: {written:?}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

fn standing(picture: &serde_json::Value) -> &str {
    picture["strings"][19]["standing"].as_str().unwrap_or_default()
}

/// 3B is string 20 from the top.
#[test]
fn a_string_marked_as_new_is_written_down_once_and_taken_out_with_its_mark() {
    let folder = Folder::new("renewed-desk");
    let data = folder.at("data");
    record(&data, &["--harp", "pedal-47", "begin"]);
    let file = folder.at("readings.csv");
    fs::write(&file, readings()).expect("write");
    record(&data, &["import", &file]);
    assert_eq!(record(&data, &["findings"])[0], "3B: the pin slips");
    let mut station = Running::start(&data, &["--no-opening", "--harp", "pedal-47"]);
    let desk = Desk::enter(&mut station);
    let mark = |mark: &str| {
        let (status, _, _) = desk.wish(&format!(r#"{{"wish":"mark","string":20,"mark":{mark}}}"#));
        assert_eq!(status, 204);
    };
    mark(r#""new""#);
    let written = written_until(&data, |written| written[0].starts_with("3B, put on on "));
    let today = written[0].rsplit(' ').next().expect("a day").to_owned();
    // The old string's finding is closed, and the plan says when to look again.
    assert!(
        !record(&data, &["findings"])
            .iter()
            .any(|line| line.contains("3B: the pin slips"))
    );
    let plan = record(&data, &["plan"]);
    assert!(
        plan.iter()
            .any(|line| line.starts_with("3B, put on on") && line.contains("tune it daily")),
        "{plan:?}"
    );
    record(&data, &["page", &folder.at("page.html")]);
    let page = fs::read_to_string(folder.at("page.html")).expect("a page");
    assert!(page.contains("tune it daily"), "the sheet says so too");
    // The mark taken back, and the same by the desk's undo.
    mark("null");
    written_until(&data, |written| written[0].starts_with("Nothing is written down"));
    mark(r#""new""#);
    written_until(&data, |written| written[0].starts_with("3B, put on on "));
    assert_eq!(desk.wish(r#"{"wish":"undo"}"#).0, 204);
    written_until(&data, |written| written[0].starts_with("Nothing is written down"));
    desk.wait_until(|picture| standing(picture) == "not-heard");
    // Also when the station was started anew in between.
    mark(r#""new""#);
    written_until(&data, |written| written[0].starts_with("3B, put on on "));
    station.end();
    let mut station = Running::start(&data, &["--no-opening", "--harp", "pedal-47"]);
    let desk = Desk::enter(&mut station);
    let mark = |mark: &str| {
        let (status, _, _) = desk.wish(&format!(r#"{{"wish":"mark","string":20,"mark":{mark}}}"#));
        assert_eq!(status, 204);
    };
    desk.wait_until(|picture| standing(picture) == "new");
    mark("null");
    written_until(&data, |written| written[0].starts_with("Nothing is written down"));
    // What she adds is said of the same string, and then stays when the mark goes.
    mark(r#""new""#);
    written_until(&data, |written| written[0].starts_with("3B, put on on "));
    record(&data, &["fitted", "3B", &today, "--gauge", "1.02"]);
    assert_eq!(
        record(&data, &["written"]),
        [format!("3B, put on on {today} (1.02 mm)")]
    );
    mark("null");
    desk.wait_until(|picture| standing(picture) == "not-heard");
    mark(r#""new""#);
    desk.wait_until(|picture| standing(picture) == "new");
    assert_eq!(record(&data, &["written"]).len(), 1, "the record has it already");
}

#[test]
fn a_string_that_is_written_down_is_new_at_the_desk_and_no_longer_once_that_is_taken_back() {
    let folder = Folder::new("renewed-record");
    let data = folder.at("data");
    record(&data, &["--harp", "pedal-47", "begin"]);
    record(&data, &["room", "--humidity", "44"]);
    let mut station = Running::start(&data, &["--no-opening", "--harp", "pedal-47"]);
    let desk = Desk::enter(&mut station);
    // A long-past day is no new string; what the command says of today's is heard at the desk.
    record(&data, &["fitted", "3A", "2020-01-10"]);
    record(&data, &["shelf", "add", "3B-a", "3B"]);
    let today = record(&data, &["--csv", "shelf", "list"]);
    let today = today[1]
        .split(',')
        .find(|field| field.len() == 10 && field.starts_with("20"))
        .expect("a day")
        .to_owned();
    record(&data, &["fitted", "3B", &today]);
    let shown = desk.wait_until(|picture| standing(picture) == "new");
    assert_eq!(shown["strings"][20]["standing"], "not-heard", "3A is no new one");
    record(&data, &["undo"]);
    desk.wait_until(|picture| standing(picture) == "not-heard");
}
