//! Which harp of the record is heard, read, or begun.

use std::fs;

use super::{record, refused};
use crate::running::{ALONE, Folder, objects, program, recordings, run, told};

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
