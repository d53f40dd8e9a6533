//! From sound to finding: false and slipping strings are synthesised, heard by the real station, and named by the record.

use std::ops::RangeInclusive;
use std::time::{SystemTime, UNIX_EPOCH};

use consort_harp::{Condition, Fault, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Cents, Harp, HarpString, SampleRate, StringNumber, harp_file};
use consort_record::{Date, Moment};
use consort_tests::process::{Folder, run};

/// Every string of the harp rings this long, seconds.
const RINGS_S: f64 = 1.9;

fn harp() -> Harp {
    harp_file::preset("lever-22").expect("a preset")
}

fn string(number: u32) -> StringNumber {
    StringNumber::new(number).expect("a string")
}

/// Writes a pluck of each string from the top, as the harp in `condition` sounds, to `file`.
fn sound(condition: &Condition, file: &str) {
    sound_of(&harp(), condition, false, file);
}

/// The same of some strings.
fn sound_some(condition: &Condition, strings: RangeInclusive<u8>, file: &str) {
    sound_strings(&harp(), condition, false, strings, file);
}

/// The same of `harp`, with all its levers on or off.
fn sound_of(harp: &Harp, condition: &Condition, levers_on: bool, file: &str) {
    sound_strings(harp, condition, levers_on, 1..=u8::MAX, file);
}

fn sound_strings(harp: &Harp, condition: &Condition, levers_on: bool, strings: RangeInclusive<u8>, file: &str) {
    let stage = Stage {
        rate: SampleRate::STUDIO,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room::default(),
    };
    let mut virtual_harp = VirtualHarp::new(harp, condition, stage);
    for (number, _) in harp.numbered() {
        virtual_harp.move_lever(number, levers_on);
    }
    let form = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(file, form).expect("a file");
    // Nobody plucks in the moment in which a recording begins.
    (0..24_000).for_each(|_| writer.write_sample(0.0_f32).expect("written"));
    let mut piece = vec![0.0; (RINGS_S * 48_000.0) as usize];
    for (number, _) in harp.numbered().filter(|(number, _)| strings.contains(&number.get())) {
        virtual_harp.damp_all();
        let plane = 0.3 + f64::from(number.get() % 5) / 10.0;
        virtual_harp.pluck(
            number,
            Pluck {
                plane,
                ..Pluck::ORDINARY
            },
        );
        virtual_harp.render(&mut piece);
        piece
            .iter()
            .for_each(|&sample| writer.write_sample(sample).expect("written"));
    }
    writer.finalize().expect("written");
}

/// The station's record after it has heard `files` one after the other, made so many `days` ago at noon.
fn hear(data: &str, files: &[&str], days: i32) {
    let recorded = today().plus(-days).noon().to_string();
    let mut words = vec!["--data", data, "--harp", "lever-22", "--fast", "--until-end"];
    words.extend([
        "--no-discovery",
        "--no-browser",
        "--desk-port",
        "0",
        "--recorded",
        &recorded,
        "--input",
    ]);
    words.extend(files);
    let output = run("consort-station", &words);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

fn today() -> Date {
    let since_1970 = SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970");
    Moment(since_1970.as_secs().cast_signed()).date()
}

fn record(data: &str, words: &[&str]) -> Vec<String> {
    let output = run("consort-station", &[&["--data", data, "record"], words].concat());
    assert!(
        output.status.success(),
        "{words:?}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8_lossy(&output.stdout)
        .lines()
        .map(str::to_owned)
        .collect()
}

/// What is found, as `3D: the pin slips`.
fn headlines(data: &str) -> Vec<String> {
    record(data, &["findings"])
        .into_iter()
        .filter(|line| !line.starts_with(' '))
        .collect()
}

#[test]
fn a_false_string_is_heard_and_named_in_one_tuning() {
    let folder = Folder::new("record-false");
    let (even, uneven) = (folder.inside("even.wav"), folder.inside("uneven.wav"));
    sound(&Condition::sound(3), &even);
    let faults = vec![(string(14), Fault::False)];
    sound(
        &Condition {
            faults,
            ..Condition::sound(3)
        },
        &uneven,
    );
    let data = folder.inside("even");
    hear(&data, &[&even, &even], 1);
    let said = headlines(&data);
    assert!(said.iter().all(|line| !line.contains("false string")), "{said:?}");
    let data = folder.inside("uneven");
    let name = harp().string(string(14)).expect("a string").open.harp_name();
    record(&data, &["--harp", "lever-22", "begin"]);
    record(&data, &["shelf", "add", "bad", &name, "--yields", "3"]);
    record(&data, &["fitted", &name, "2020-01-10", "--length", "bad"]);
    hear(&data, &[&uneven, &uneven], 1);
    assert_eq!(headlines(&data), [format!("{name}: a false string")]);
    let evidence = record(&data, &["findings"]).join("\n");
    assert!(evidence.contains("beats"), "{evidence}");
    let beats = timbres(&data, string(14))
        .iter()
        .filter_map(|timbre| timbre["beat_hz"].as_f64())
        .collect::<Vec<_>>();
    assert!(
        !beats.is_empty() && beats.iter().all(|beat| (0.45..1.25).contains(beat)),
        "{beats:?}"
    );
    // The length is suspect while its string is on, and bad for good once another one is in its place.
    assert!(record(&data, &["shelf", "list"])[0].contains("Suspect, since"));
    let now = today().to_string();
    let told = record(&data, &["fitted", &name, &now, "--gauge", "0.9"]).join(" ");
    assert!(told.contains("The length bad gave a false string"), "{told}");
    assert!(headlines(&data).iter().all(|line| !line.contains("false string")));
    assert!(record(&data, &["shelf", "list"])[0].ends_with(&format!("Bad since {now}.")));
    assert!(record(&data, &["undo"])[0].contains("put on on"));
    assert!(record(&data, &["undo"])[0].contains("the length bad is bad"));
    assert!(record(&data, &["shelf", "list"])[0].contains("Suspect, since"));
}

/// What a station has written down of each pluck of `string`, as `timbre` of the backup says it.
fn timbres(data: &str, string: StringNumber) -> Vec<serde_json::Value> {
    let backup = format!("{data}/backup.json");
    record(data, &["export", &backup]);
    let backup = std::fs::read(backup).expect("a backup");
    let backup: serde_json::Value = serde_json::from_slice(&backup).expect("JSON");
    let tunings = backup["harps"].as_array().into_iter().flatten();
    let tunings = tunings.flat_map(|harp| harp["tunings"].as_array().cloned().unwrap_or_default());
    let readings = tunings.flat_map(|tuning| tuning["readings"].as_array().cloned().unwrap_or_default());
    readings
        .filter(|reading| reading["string"] == string.get())
        .map(|reading| reading["timbre"].clone())
        .collect()
}

#[test]
fn a_string_that_grows_dull_is_heard_evening_by_evening_and_planned() {
    let folder = Folder::new("record-dull");
    let (bright, dull) = (folder.inside("bright.wav"), folder.inside("dull.wav"));
    // A few neighbours are enough: what they all have in common would be the pickup's doing.
    let plucked = 13..=18;
    let faults = vec![(string(15), Fault::Dull)];
    sound_some(&Condition::sound(11), plucked.clone(), &bright);
    sound_some(
        &Condition {
            faults,
            ..Condition::sound(11)
        },
        plucked,
        &dull,
    );
    let data = folder.inside("data");
    let name = harp().string(string(15)).expect("a string").open.harp_name();
    let planned = |data: &str| record(data, &["plan"]).into_iter().filter(|line| line.contains("dull"));
    for evening in 0..8 {
        hear(&data, &[if evening < 4 { &bright } else { &dull }], 8 - evening);
        if evening == 6 {
            assert_eq!(planned(&data).count(), 0, "three evenings are too few");
        }
    }
    let said: Vec<String> = planned(&data).collect();
    assert!(said.len() == 1 && said[0].starts_with(&name), "{said:?}");
    let decays: Vec<f64> = timbres(&data, string(15))
        .iter()
        .filter_map(|timbre| timbre["decay_s"].as_f64())
        .collect();
    assert!(decays.len() == 8 && decays[0] > 1.5 * decays[7], "{decays:?}");
}

#[test]
fn a_slipping_pin_is_heard_over_five_days_and_named() {
    let folder = Folder::new("record-slips");
    let (set, fallen) = (folder.inside("set.wav"), folder.inside("fallen.wav"));
    sound(&Condition::sound(5), &set);
    let far_off = vec![(string(10), -9.0)];
    sound(
        &Condition {
            far_off,
            ..Condition::sound(5)
        },
        &fallen,
    );
    let data = folder.inside("data");
    // Nobody waits for five days: each evening's recordings are of another day.
    for evening in 0..5 {
        hear(&data, &[if evening < 2 { &set } else { &fallen }, &set], 5 - evening);
    }
    let name = harp().string(string(10)).expect("a string").open.harp_name();
    assert_eq!(headlines(&data), [format!("{name}: the pin slips")]);
    let days: Vec<String> = record(&data, &["history", &name])
        .into_iter()
        .map(|line| line.chars().take(10).collect())
        .collect();
    let (first, last) = (today().plus(-5).to_string(), today().plus(-1).to_string());
    assert_eq!((days.first(), days.last()), (Some(&first), Some(&last)));
}

#[test]
fn levers_out_of_regulation_are_heard_within_a_cent_and_a_check_goes_on_where_it_was() {
    let folder = Folder::new("record-levers");
    // Levers set by somebody in a hurry; the program knows nothing of it.
    let errors = |number: u32| f64::from((number * 37) % 19) - 8.5;
    let strings = harp().strings().to_vec();
    let set = (1..).zip(strings).map(|(number, string)| HarpString {
        regulation: [Cents(errors(number)), Cents(0.0)],
        ..string
    });
    let set = Harp::new("set".to_owned(), harp().kind(), set.collect()).expect("a harp");
    let (off, on) = (folder.inside("off.wav"), folder.inside("on.wav"));
    sound_of(&set, &Condition::sound(7), false, &off);
    sound_of(&set, &Condition::sound(7), true, &on);
    let data = folder.inside("data");
    record(&data, &["--harp", "lever-22", "begin"]);
    assert!(record(&data, &["steps"])[0].starts_with("No disc or lever was checked"));
    // Broken off after the open strings, it asks for the levers next.
    assert!(record(&data, &["check", &off])[0].starts_with("No disc or lever was checked"));
    let table = record(&data, &["--json", "check", &on]);
    assert_eq!(table.len(), 22, "{table:#?}");
    let mut far: Vec<f64> = Vec::new();
    for line in &table {
        let step: serde_json::Value = serde_json::from_str(line).expect("JSON");
        let number = step["string"].as_u64().expect("a number") as u32;
        far.push((step["cents"].as_f64().expect("cents") - errors(number)).abs());
        let sigma = step["sigma_cents"].as_f64().expect("an uncertainty");
        assert!(sigma > 0.0 && sigma < 2.0, "{line}");
    }
    far.sort_by(f64::total_cmp);
    assert!(far[20] < 1.0, "within a cent for 95 in 100: {far:?}");
    assert!(record(&data, &["check", &on])[0].starts_with("There is nothing to check"));
}
