//! From sound to finding: false and slipping strings are synthesised, heard by the real station, and named by the record.

use std::fs;

use consort_harp::{Condition, Fault, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Harp, SampleRate, StringNumber, harp_file};
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
    let stage = Stage {
        rate: SampleRate::STUDIO,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room::default(),
    };
    let mut virtual_harp = VirtualHarp::new(&harp(), condition, stage);
    let form = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(file, form).expect("a file");
    let mut piece = vec![0.0; (RINGS_S * 48_000.0) as usize];
    for (number, _) in harp().numbered() {
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

/// The station's record after it has heard `files` one after the other.
fn hear(data: &str, files: &[&str]) {
    let mut words = vec!["--data", data, "--harp", "lever-22", "--fast", "--until-end"];
    words.extend(["--no-discovery", "--no-browser", "--desk-port", "0", "--input"]);
    words.extend(files);
    let output = run("consort-station", &words);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
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
    hear(&data, &[&even, &even]);
    let said = headlines(&data);
    assert!(said.iter().all(|line| !line.contains("false string")), "{said:?}");
    let data = folder.inside("uneven");
    hear(&data, &[&uneven, &uneven]);
    let name = harp().string(string(14)).expect("a string").open.harp_name();
    assert_eq!(headlines(&data), [format!("{name}: a false string")]);
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
    let whole = folder.inside("whole");
    record(&whole, &["--harp", "lever-22", "begin"]);
    for day in 0..5_i64 {
        let data = folder.inside(&format!("day-{day}"));
        hear(&data, &[if day < 2 { &set } else { &fallen }, &set]);
        let list = folder.inside(&format!("day-{day}.csv"));
        record(&data, &["export", &list, "--list", "readings"]);
        // Nobody waits for five days: each evening is dated back by as many days as were to come.
        let text = fs::read_to_string(&list).expect("a list");
        let dated: Vec<String> = text.lines().map(|line| earlier(line, 5 - day)).collect();
        fs::write(&list, dated.join("\n")).expect("written");
        record(&whole, &["import", &list]);
    }
    let name = harp().string(string(10)).expect("a string").open.harp_name();
    assert_eq!(headlines(&whole), [format!("{name}: the pin slips")]);
}

/// A line of the list of readings, so many days earlier; its first column is the tuning, its sixth the reading.
fn earlier(line: &str, days: i64) -> String {
    let mut fields: Vec<String> = line.split(',').map(str::to_owned).collect();
    let Ok(at_ms) = fields[5].parse::<i64>() else {
        return line.to_owned();
    };
    let at_ms = at_ms - days * 86_400_000;
    fields[5] = at_ms.to_string();
    let (date, time) = fields[0].split_once('T').expect("a moment");
    let date: consort_record::Date = date.parse().expect("a day");
    fields[0] = format!("{}T{time}", date.plus(-(days as i32)));
    fields.join(",")
}
