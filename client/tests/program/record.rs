//! The harp's record on the command line: what the station writes into it, what is written by hand, and what it says.

use std::fs;

use crate::running::{ALONE, Folder, objects, program, recordings, run, told};

/// Runs `record` on the data in `data` with `words`; it has to work, and gives its lines.
#[track_caller]
fn record(data: &str, words: &[&str]) -> Vec<String> {
    let (code, lines, complaints) = told(&run(&[&["--data", data, "record"], words].concat()));
    assert_eq!((code, complaints.len()), (Some(0), 0), "{words:?}: {complaints:?}");
    lines
}

/// Runs `record` with `words`, which it has to refuse, and gives its sentence.
#[track_caller]
fn refused(data: &str, words: &[&str]) -> String {
    let (code, _, complaints) = told(&run(&[&["--data", data, "record"], words].concat()));
    assert_eq!((code, complaints.len()), (Some(1), 1), "{words:?}: {complaints:?}");
    complaints[0].clone()
}

/// Nine daily tunings of a concert harp as a list of readings: every string is left in tune and found a cent or so off;
/// string 20 (3B) is found eight cents flat from the fifth tuning on.
fn readings() -> String {
    let (_, lines, _) = told(&run(&["targets", "--json"]));
    let mut csv = "tuning,place,a4_hz,temperament,setting,at_unix_ms,string,note,position,hz,sigma_cents\n".to_owned();
    for day in 0..9_u32 {
        let begun_s = 1_730_000_000 + i64::from(day) * 86_400;
        // 2024-10-27T03:33:20Z, checked against `date --utc --date=@1730000000`.
        let date = [
            "10-27", "10-28", "10-29", "10-30", "10-31", "11-01", "11-02", "11-03", "11-04",
        ][day as usize];
        for (place, target) in objects(&lines).iter().enumerate() {
            let (string, note) = (place + 1, target["note"].as_str().expect("note"));
            let hz = target["target_hz"].as_f64().expect("target");
            let wanders = f64::from((day * 7 + place as u32 * 5) % 11) / 5.0 - 1.0;
            let found = if string == 20 && day >= 4 {
                wanders - 8.0
            } else {
                wanders
            };
            for (later, cents) in [(0, found), (3_000, 0.0)] {
                csv += &format!(
                    "2024-{date}T03:33:20Z,home,440,equal,C,{},{string},{note},0,{},0.2\n",
                    begun_s * 1_000 + 20_000 * place as i64 + later,
                    hz * f64::exp2(cents / 1_200.0),
                );
            }
        }
    }
    csv
}

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
    assert!(did(&["restrung", &today]).contains("a whole tone below its pitch first"));
    assert!(did(&["pin-pushed", &today, "--string", "4C"]).contains("Never hammer a pin"));
    record(&data, &["harp", "--pins", "threaded"]);
    assert!(did(&["pin-pushed", &today, "--string", "4D"]).contains("pushing them does harm"));
    assert_eq!(did(&["moved", "2020-01-01"]), "");
}

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
fn with_no_harp_or_several_each_order_says_what_to_do() {
    let folder = Folder::new("record-which");
    let data = folder.at("data");
    let orders: [&[&str]; 10] = [
        &["findings"],
        &["strings"],
        &["history", "4C"],
        &["plan"],
        &["steps"],
        &["undo"],
        &["shelf", "list"],
        &["room", "--humidity", "40"],
        &["did", "restrung", "2020-01-01"],
        &["page", "page.html"],
    ];
    for order in orders.iter().chain(&[&["harps"] as &[&str], &["export", "all.json"]]) {
        let sentence = refused(&data, order);
        assert!(
            sentence.contains("holds no harp yet: tune one"),
            "{order:?}: {sentence}"
        );
    }
    record(&data, &["begin", "The walnut harp"]);
    record(&data, &["begin", "The maple harp"]);
    for order in orders {
        let sentence = refused(&data, order);
        assert!(
            sentence.contains("holds several harps: say which one with --of"),
            "{order:?}: {sentence}"
        );
    }
    assert!(refused(&data, &["begin", "the Walnut harp"]).contains("already has a harp called “The walnut harp”"));
    assert_eq!(record(&data, &["findings", "--of", "the walnut harp"]).len(), 1);
    assert_eq!(record(&data, &["harps"]).len(), 2);
}

#[test]
fn a_harp_whose_name_is_taken_is_taken_in_under_another() {
    let folder = Folder::new("record-as");
    let (own, pupils, backup) = (folder.at("own"), folder.at("pupils"), folder.at("backup.json"));
    for data in [&own, &pupils] {
        record(data, &["--harp", "pedal-47", "begin"]);
    }
    record(&pupils, &["fitted", "4C", "2020-01-15"]);
    record(&pupils, &["export", &backup]);
    let sentence = refused(&own, &["import", &backup]);
    assert!(
        sentence.contains("give this one another name, at an import with --as"),
        "{sentence}"
    );
    assert_eq!(
        record(&own, &["import", &backup, "--as", "The pupil's harp"]),
        ["new harps: 1, readings: 0, entries: 1"]
    );
    assert_eq!(
        record(&own, &["import", &backup]),
        ["new harps: 0, readings: 0, entries: 0"]
    );
    assert_eq!(record(&own, &["plan", "--csv", "--of", "The pupil's harp"]).len(), 48);
}

/// Where a database keeps the number of its layout: four bytes, the highest first (SQLite, Database File Format, 1.3).
const LAYOUT_AT: usize = 60;

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

#[test]
fn the_station_writes_every_settled_reading_into_the_record() {
    let folder = Folder::new("record-station");
    let data = folder.at("data");
    let files = ["clean-22-cb4.flac", "clean-23-db4.flac"].map(|file| recordings().join(file));
    let output = program()
        .args([
            "--data",
            &data,
            "--fast",
            "--until-end",
            "--place",
            "The town hall",
            "--input",
        ])
        .args(&files)
        .args(ALONE)
        .output()
        .expect("run");
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(
        record(&data, &["harps"]),
        ["Pedal harp, 47 strings: 47 strings, tunings: 1"]
    );
    let history = objects(&record(&data, &["history", "4C", "--json"]));
    assert_eq!(history.len(), 1);
    assert_eq!(history[0]["place"], "The town hall");
    // The manifest says 60 cents sharp of an A of 442 Hz, which is 67.85 cents of 440 Hz.
    let cents = history[0]["cents"].as_f64().expect("cents");
    assert!((cents - 67.85).abs() < 1.0, "{cents}");
}

/// Hears one string of a concert harp at `hour` with the station's data in `data`, the harp as `words` choose it, and
/// lists the harps of the record.
#[track_caller]
fn hear(data: &str, hour: u8, words: &[&str]) -> Vec<String> {
    let output = program()
        .args(["--data", data, "--fast", "--until-end", "--input"])
        .arg(recordings().join("clean-22-cb4.flac"))
        .args(ALONE)
        // No two tunings begin at one moment, however fast the test is.
        .args(["--recorded", &format!("2026-11-20T{hour:02}:00:00Z")])
        .args(words)
        .output()
        .expect("run");
    let complaints = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{words:?}: {complaints}");
    record(data, &["harps"])
}

#[test]
fn a_record_that_was_begun_is_that_of_the_harp_that_is_heard() {
    let folder = Folder::new("record-begun");
    let data = folder.at("data");
    let begun = |words: &[&str]| {
        let (code, lines, complaints) = told(&run(&[&["--data", &data, "record"], words].concat()));
        assert_eq!(code, Some(0), "{complaints:?}");
        assert!(lines[0].contains("takes it for the harp that it hears"), "{lines:?}");
    };
    let hear = |hour: u8, harp: &[&str]| hear(&data, hour, harp);
    begun(&["begin", "The walnut harp"]);
    // The size is typed as the manual says, and it is still the same harp.
    assert_eq!(
        hear(8, &["--harp", "pedal-47"]),
        ["The walnut harp: 47 strings, tunings: 1"]
    );
    begun(&["begin", "The old harp"]);
    let both = [
        "The old harp: 47 strings, tunings: 1",
        "The walnut harp: 47 strings, tunings: 1",
    ];
    assert_eq!(hear(12, &[]), both);
    let harps = hear(16, &["--harp", "the walnut harp"]);
    assert_eq!(harps, [both[0], "The walnut harp: 47 strings, tunings: 2"]);
    let history = record(&data, &["--of", "The walnut harp", "history", "4C"]);
    assert_eq!(history.len(), 2, "{history:?}");
    // Without a word it is one more of the harps that were heard last.
    begun(&["--harp", "lever-22", "begin", "The small harp"]);
    begun(&["begin", "Another small harp"]);
    let harps = record(&data, &["harps"]);
    assert_eq!(harps[0], "Another small harp: 22 strings, tunings: 0");
    let (code, _, complaints) = told(&run(
        &[&["--data", &data, "--harp", "The oak harp"], &ALONE[..]].concat()
    ));
    assert_eq!(code, Some(1));
    assert!(
        complaints[0].contains("no harp called “The oak harp” here"),
        "{complaints:?}"
    );
}

/// The usual harp's own name belongs to a harp of the record once it was heard without any other; a name or a file says
/// which one is meant, whatever was begun since.
#[test]
fn a_harp_that_is_named_is_the_one_that_is_heard_whichever_was_begun_last() {
    let folder = Folder::new("record-named");
    let (data, file) = (folder.at("data"), folder.at("usual.toml"));
    let counted = |usual: u8| {
        [
            format!("Pedal harp, 47 strings: 47 strings, tunings: {usual}"),
            "The walnut harp: 47 strings, tunings: 0".to_owned(),
        ]
    };
    fs::write(&file, told(&run(&["harp", "pedal-47"])).1.join("\n")).expect("a harp file");
    assert_eq!(hear(&data, 1, &[]), counted(1)[..1]);
    for (hour, word, tunings) in [
        (4, "Pedal harp, 47 strings", 2),
        (8, "pedal-47", 3),
        (12, file.as_str(), 4),
    ] {
        // Begun last, the walnut harp is the one that would be heard without a word.
        if hour == 4 {
            told(&run(&["--data", &data, "record", "begin", "The walnut harp"]));
        } else {
            let walnut = told(&run(&["harp", "pedal-47"])).1.join("\n");
            let walnut = walnut.replace("Pedal harp, 47 strings", "The walnut harp");
            fs::write(std::path::Path::new(&data).join("harp.toml"), walnut).expect("a harp file");
        }
        assert_eq!(hear(&data, hour, &["--harp", word]), counted(tunings), "{word}");
    }
    // Where only a file gives the usual name, it is a harp of its own, too.
    let other = folder.at("other");
    told(&run(&["--data", &other, "record", "begin", "The walnut harp"]));
    assert_eq!(hear(&other, 1, &["--harp", &file]), counted(1));
}

#[test]
fn a_harp_of_the_record_is_chosen_by_its_name_whatever_is_called_so_besides() {
    let folder = Folder::new("record-chosen");
    let data = folder.at("data");
    told(&run(&[
        "--data", &data, "--harp", "lever-22", "record", "begin", "Walnut",
    ]));
    fs::create_dir(folder.at("Walnut")).expect("a folder of that name");
    let recording = recordings().join("clean-22-cb4.flac");
    for order in [
        &["targets", "--json"] as &[&str],
        &["beats", "--json"],
        &["listen", "--json"],
    ] {
        let mut program = program();
        program
            .current_dir(folder.at("."))
            .args(["--data", &data, "--harp", "Walnut"]);
        if order[0] == "listen" {
            program.arg(order[0]).arg(&recording).arg(order[1]);
        } else {
            program.args(order);
        }
        let (code, lines, complaints) = told(&program.output().expect("run"));
        assert_eq!((code, complaints.len()), (Some(0), 0), "{order:?}: {complaints:?}");
        if order[0] == "targets" {
            assert_eq!(lines.len(), 22);
        }
    }
    told(&run(&[
        "--data", &data, "--harp", "lever-22", "record", "begin", "Oak/2",
    ]));
    assert_eq!(told(&run(&["--data", &data, "--harp", "Oak/2", "targets"])).0, Some(0));
    for name in ["pedal-47", "Lever-34", "mine.toml"] {
        let sentence = refused(&data, &["begin", name]);
        assert!(
            sentence.contains("cannot be called") && sentence.contains(name),
            "{sentence}"
        );
    }
    // What is only printed is no choice among harps of a record.
    let (code, _, complaints) = told(&run(&["harp", "Walnut"]));
    assert_eq!(code, Some(1));
    assert!(
        complaints[0].contains("lever-22") && !complaints[0].contains("record"),
        "{complaints:?}"
    );
}

#[test]
fn the_shelf_knows_what_is_left_and_what_to_buy_and_is_taken_back() {
    let folder = Folder::new("record-shelf");
    let data = folder.at("data");
    record(&data, &["begin"]);
    assert!(record(&data, &["shelf", "list"])[0].starts_with("Nothing lies on the shelf"));
    record(
        &data,
        &["shelf", "add", "3E-a", "3E", "--yields", "2", "--bought", "2020-01-05"],
    );
    // Two strings of three years and more are due; a third from the same length there is not.
    record(&data, &["fitted", "3E", "2020-01-10", "--length", "3E-a"]);
    record(&data, &["fitted", "3D", "2020-01-10"]);
    let list = record(&data, &["shelf", "list"]);
    assert_eq!(
        list,
        ["3E-a: 3rd octave E, No. 15, gut, 1 of 2 left. Cut from it: 3E 2020-01-10."]
    );
    let needs = record(&data, &["shelf", "needs"]);
    assert!(
        needs.contains(&"3E   3rd octave E, No. 15, gut: cut it from 3E-a".to_owned()),
        "{needs:?}"
    );
    assert_eq!(
        record(&data, &["shelf", "shopping"]),
        ["count,what", "1,\"3rd octave D, No. 16, gut\""]
    );
    record(&data, &["shelf", "spoilt", "3E-a", "--note", "a kink"]);
    let shopping = record(&data, &["shelf", "shopping"]);
    assert!(
        shopping.contains(&"1,\"3rd octave E, No. 15, gut\"".to_owned()),
        "{shopping:?}"
    );
    assert!(record(&data, &["undo"])[0].starts_with("Taken out again: that the length 3E-a is bad"));
    record(&data, &["fitted", "3E", "2021-01-10", "--length", "3E-a"]);
    for (words, says) in [
        (
            vec!["fitted", "3E", "2022-01-10", "--length", "3E-a"],
            "yields 2 strings, and all of them are used",
        ),
        (vec!["shelf", "add", "3E-a", "3E"], "already is a length called “3E-a”"),
        (
            vec!["shelf", "add", "3E-b", "3E", "--yields", "0"],
            "a length of 0 strings is none",
        ),
        (vec!["shelf", "add", " ", "3E"], "a length needs a name"),
        (
            vec!["shelf", "add", "3E-b", "3E", "--bought", "2999-01-01"],
            "has not come yet",
        ),
        (vec!["shelf", "spoilt", "3E-z"], "no length called “3E-z”"),
    ] {
        let sentence = refused(&data, &words);
        assert!(sentence.contains(says), "{words:?}: {sentence}");
    }
    let list = folder.at("lengths.csv");
    record(&data, &["export", &list, "--list", "lengths"]);
    let text = fs::read_to_string(&list).expect("the list");
    assert!(
        text.starts_with("name,bought,string,material,gauge_mm,yields\n3E-a,2020-01-05,17,gut,,2"),
        "{text}"
    );
    let backup = folder.at("backup.json");
    record(&data, &["export", &backup]);
    let other = folder.at("other");
    record(&other, &["import", &backup]);
    assert_eq!(record(&other, &["shelf", "list"]), record(&data, &["shelf", "list"]));
    assert_eq!(
        record(&other, &["--json", "import", &list]),
        [r#"{"entries":0,"harps":0,"readings":0}"#]
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
