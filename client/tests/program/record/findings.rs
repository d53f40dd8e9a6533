//! What months of readings come to: findings, and each string's history.

use std::fs;

use super::{readings, record, refused};
use crate::running::{Folder, objects, run, told};

#[test]
fn a_pin_that_slips_is_found_and_the_kind_of_pin_decides_what_to_do() {
    let folder = Folder::new("record-slip");
    let data = folder.at("data");
    record(&data, &["--harp", "pedal-47", "begin", "The walnut harp"]);
    assert!(record(&data, &["findings"])[0].starts_with("Too early to say"));
    let file = folder.at("readings.csv");
    fs::write(&file, readings()).expect("write");
    assert_eq!(
        record(&data, &["import", &file]),
        ["new harps: 0, readings: 846, entries: 0"]
    );
    assert_eq!(
        record(&data, &["import", &file]),
        ["new harps: 0, readings: 0, entries: 0"]
    );
    let said = record(&data, &["findings"]);
    assert_eq!(said[0], "3B: the pin slips", "{said:?}");
    assert_eq!(said.len(), 4, "one finding and no other: {said:?}");
    assert!(said[1].contains("5 times, whatever the weather"), "{said:?}");
    assert!(said[2].contains("Push the key in while turning"), "{said:?}");
    record(&data, &["did", "pin-pushed", "2024-10-28", "--string", "3B"]);
    let said = record(&data, &["findings"]);
    assert!(
        said[2].contains("pushed in on 2024-10-28 and slips again: ask a technician"),
        "{said:?}"
    );
    record(&data, &["harp", "--pins", "threaded"]);
    let said = record(&data, &["findings"]);
    assert!(said[2].contains("must not be pushed"), "{said:?}");
    let found = &objects(&record(&data, &["findings", "--json"]))[0];
    assert_eq!(
        (found["string"].as_u64(), found["cause"].as_str()),
        (Some(20), Some("slipping-pin"))
    );
    assert!(record(&data, &["findings", "--csv"])[1].starts_with("3B,slipping-pin,2024-10-31,"));
    let usual = record(&data, &["strings", "--csv"]);
    assert_eq!(usual.len(), 48);
    let history = record(&data, &["history", "3B", "--csv", "--plot", &folder.at("3B.svg")]);
    assert_eq!(history.len(), 19);
    assert!(history[1].ends_with(",440,equal,home"), "{history:?}");
    record(&data, &["strings", "--plot", &folder.at("harp.svg")]);
    assert!(
        fs::read_to_string(folder.at("harp.svg"))
            .expect("a drawing")
            .contains("Every string as it is usually found")
    );
    assert!(
        fs::read_to_string(folder.at("3B.svg"))
            .expect("a drawing")
            .contains("3B: as left, and as found next time")
    );
    record(&data, &["page", &folder.at("page.html")]);
    let page = fs::read_to_string(folder.at("page.html")).expect("a page");
    for part in [
        "The walnut harp",
        "47 strings · threaded pins · played by",
        "9 tunings, the newest on 2024-11-04",
        "3B: the pin slips",
        "<svg",
        "Strings to replace",
        "Nobody has written down when these 47 strings were put on: 0G–7C.",
    ] {
        assert!(page.contains(part), "{part}");
    }
}

/// A check may go on after the harp was tuned in between.
#[test]
fn the_history_gives_each_reading_to_its_own_tuning() {
    let folder = Folder::new("record-history");
    let data = folder.at("data");
    record(&data, &["begin", "The walnut harp"]);
    let (_, lines, _) = told(&run(&["targets", "--json"]));
    let note = objects(&lines)[19]["note"].as_str().expect("note").to_owned();
    let mut csv = "tuning,place,a4_hz,temperament,setting,at_unix_ms,string,note,position,hz,sigma_cents\n".to_owned();
    for (begun, place, a4, at_ms) in [
        ("2024-10-27T03:33:20Z", "regulation check", 440, 1_730_000_000_000_u64),
        ("2024-10-27T05:33:20Z", "home", 442, 1_730_007_200_000),
        ("2024-10-27T03:33:20Z", "regulation check", 440, 1_730_010_800_000),
    ] {
        csv += &format!("{begun},{place},{a4},equal,C,{at_ms},20,{note},0,246.94,0.2\n");
    }
    let file = folder.at("readings.csv");
    fs::write(&file, csv).expect("write");
    record(&data, &["import", &file]);
    let history = record(&data, &["history", "3B", "--csv"]);
    let told: Vec<String> = history[1..]
        .iter()
        .map(|line| line.split(',').skip(6).collect::<Vec<_>>().join(","))
        .collect();
    assert_eq!(
        told,
        [
            "found,440,equal,regulation check",
            "found and left,442,equal,home",
            "left,440,equal,regulation check",
        ],
        "{history:?}"
    );
}

#[test]
fn what_is_old_is_a_finding_and_the_days_before_a_concert_are_hers_to_say() {
    let folder = Folder::new("record-old");
    let data = folder.at("data");
    record(&data, &["--harp", "lever-34", "begin"]);
    record(&data, &["did", "restrung", "2015-11-01", "--note", "by the maker"]);
    let when = |data: &str| {
        let old = objects(&record(data, &["findings", "--json"]));
        let nylon = old
            .into_iter()
            .find(|found| found["about"] == "Nylon strings")
            .expect("old nylon");
        (
            nylon["cause"].clone(),
            nylon["action"].as_str().expect("an action").to_owned(),
        )
    };
    let (cause, action) = when(&data);
    assert!(cause == "old" && action.contains("the longest first: now"), "{action}");
    let said = record(&data, &["findings"]);
    assert!(said[0].starts_with("Too early to say"), "{said:?}");
    assert!(
        said.iter().any(|line| line.contains("its age alone is no reason")),
        "{said:?}"
    );
    let concert = {
        let harps = objects(&record(&data, &["harps", "--json"]));
        assert_eq!(harps[0]["concert_days"], 10);
        // Twelve days from today, by the calendar of the machine that runs the test.
        let days = std::time::SystemTime::now()
            .duration_since(std::time::UNIX_EPOCH)
            .expect("after 1970");
        let on = consort_record::Date::from_days((days.as_secs() / 86_400) as i32 + 12);
        on.to_string()
    };
    record(&data, &["concert", &concert]);
    assert!(when(&data).1.contains("the longest first: now"));
    record(&data, &["harp", "--concert-days", "14"]);
    assert!(
        when(&data).1.contains(&format!("after the concert on {concert}")),
        "{:?}",
        when(&data)
    );
    let page = folder.at("page.html");
    record(&data, &["page", &page]);
    assert!(
        fs::read_to_string(&page)
            .expect("a page")
            .contains(&format!("after the concert on {concert}"))
    );
    record(&data, &["harp", "--concert-days", "0"]);
    let on: consort_record::Date = concert.parse().expect("a day");
    // Three years of a student's strings end in five months.
    let put_on = on.plus(-946 - 12).to_string();
    record(&data, &["did", "restrung", &put_on]);
    let on_page = |words: &[&str]| {
        record(&data, &[&["page", &page], words].concat());
        fs::read_to_string(&page)
            .expect("a page")
            .matches(put_on.as_str())
            .count()
    };
    // What is due within half a year after the technician's day goes on before it, also on paper.
    assert!(
        on_page(&[]) < on_page(&["--regulation", &concert]),
        "more is due before a regulation"
    );
    // A check that cannot hear anything was none.
    assert!(refused(&data, &["check", "nowhere.wav"]).contains("nowhere.wav"));
    assert!(record(&data, &["harps"])[0].ends_with("tunings: 0"));
    assert!(refused(&data, &["harp", "--concert-days", "99"]).contains("it is at most 60"));
    for days in ["-1", "x"] {
        let (code, _, complaints) = told(&run(&["--data", &data, "record", "harp", "--concert-days", days]));
        assert_eq!(code, Some(2));
        assert!(complaints[0].contains("a whole one, from 0 to 60"), "{complaints:?}");
    }
}

#[test]
fn what_was_done_lately_comes_with_what_to_mind() {
    let folder = Folder::new("record-mind");
    let data = folder.at("data");
    record(&data, &["begin"]);
    let days = std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .expect("after 1970");
    let today = consort_record::Date::from_days((days.as_secs() / 86_400) as i32).to_string();
    let did = |words: &[&str]| record(&data, &[&["did"], words].concat()).join(" ");
    assert!(did(&["moved", &today]).contains("leave the harp in no car and no unheated room overnight"));
    assert!(did(&["broke", &today, "--string", "5D"]).contains("where several break at one spot, ask a technician"));
    assert_eq!(record(&data, &["written"])[0], format!("5D, broke on {today}"));
    assert!(refused(&data, &["did", "broke", &today]).contains("pin-pushed and broke name one"));
    let shopping = record(&data, &["shelf", "shopping"]);
    assert_eq!(shopping, ["count,what", "1,\"5th octave D, No. 30, gut\""]);
    record(&data, &["fitted", "5D", &today]);
    assert_eq!(record(&data, &["shelf", "shopping"]).len(), 1);
    record(&data, &["undo"]);
    assert!(did(&["restrung", &today]).contains("a whole tone below its pitch first"));
    assert!(did(&["pin-pushed", &today, "--string", "4C"]).contains("Never hammer a pin"));
    record(&data, &["harp", "--pins", "threaded"]);
    assert!(did(&["pin-pushed", &today, "--string", "4D"]).contains("pushing them does harm"));
    assert_eq!(did(&["moved", "2020-01-01"]), "");
}
