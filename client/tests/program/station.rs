//! The station by itself: what it hears it advises on, remembers, and keeps telling.

use crate::desk::Desk;
use crate::running::{ALONE, Folder, Running, objects, program, recordings, told};
use crate::sound::{MIDDLE_C_FLAT_HZ, pluck, raised};

#[test]
fn recordings_are_advised_on_string_by_string_and_the_station_ends_with_them() {
    let folder = Folder::new("advice");
    let files = ["clean-22-cb4.flac", "clean-23-db4.flac"].map(|file| recordings().join(file));
    let output = program()
        .args(["--data", &folder.at("data"), "--pitch", "442", "--advice", "json"])
        .args(["--fast", "--until-end", "--input"])
        .args(&files)
        .args(ALONE)
        .output()
        .expect("run");
    let (code, lines, complaints) = told(&output);
    assert_eq!((code, complaints.len()), (Some(0), 0), "{complaints:?}");
    for line in &lines {
        let keys = ["{\"string\":", ",\"word\":", ",\"cents\":", ",\"why\":", ",\"place\":"];
        let places: Vec<usize> = keys.iter().map(|key| line.find(key).expect(line)).collect();
        assert!(places[0] == 0 && places.is_sorted(), "{line}");
    }
    let advice = objects(&lines);
    assert_eq!(advice[0]["word"], "Pluck");
    assert_eq!(advice[0]["place"], "middle C");
    let of = |string: u8| {
        let about = |line: &&serde_json::Value| line["string"] == string && line["word"] != "Pluck";
        advice.iter().rfind(about).expect("advice").clone()
    };
    // Their manifest says 60 cents sharp and 45 cents flat of an A of 442 Hz.
    assert_eq!(of(26)["word"], "Loosen");
    assert!(
        (of(26)["cents"].as_f64().expect("cents") - 60.0).abs() < 1.0,
        "{}",
        of(26)
    );
    assert_eq!(of(25)["word"], "Tighten");
    assert!(
        (of(25)["cents"].as_f64().expect("cents") + 44.8).abs() < 1.0,
        "{}",
        of(25)
    );
}

#[test]
fn a_string_that_is_turned_into_tune_and_plucked_again_holds() {
    let folder = Folder::new("holds");
    let mut station = Running::start(&folder.at("data"), &["--advice", "json", "--no-opening"]);
    for cents in [-30.0, 0.5, 0.3] {
        station.play(&pluck(raised(MIDDLE_C_FLAT_HZ, cents), 48_000));
    }
    for (word, cents) in [("Tighten", -30.0), ("Once more", 0.5), ("Holds", 0.3)] {
        let line = station.next_with("word", word);
        assert_eq!(line["string"], 26, "{line}");
        assert!((line["cents"].as_f64().expect("cents") - cents).abs() < 1.5, "{line}");
    }
}

/// Middle C of a concert harp is C flat 4, and the strings below it are B, A, G, F, E and D flat.
#[test]
fn a_tuning_opens_with_seven_plucks_that_find_the_pedal_in_natural() {
    let folder = Folder::new("opening");
    let mut station = Running::start(&folder.at("data"), &["--advice", "json"]);
    let asked = |line: &serde_json::Value| (line["string"].as_u64(), line["cents"].is_null());
    for (place, semitones_below) in [0.0, 1.0, 3.0, 5.0, 7.0, 8.0, 10.0].into_iter().enumerate() {
        let line = station.next_with("word", "Pluck");
        assert_eq!(asked(&line), (Some(26 + place as u64), true), "{line}");
        // The G string sounds a semitone high.
        let pedal = if place == 3 { 100.0 } else { 0.0 };
        let hz = raised(MIDDLE_C_FLAT_HZ, -100.0 * semitones_below + pedal - 6.0);
        station.play(&pluck(hz, 48_000));
    }
    let line = station.next_with("word", "Pedal up?");
    assert_eq!(line["string"], 29, "{line}");
    assert!(line["why"].as_str().expect("text").contains("the G pedal"), "{line}");
}

#[test]
fn a_name_and_marks_outlast_the_program() {
    let folder = Folder::new("memory");
    let data = folder.at("data");
    let mut station = Running::start(&data, &["--name", "Mirela"]);
    let desk = Desk::enter(&mut station);
    assert_eq!(desk.wish(r#"{"wish":"mark","string":3,"mark":"missing"}"#).0, 204);
    desk.wait_until(|picture| picture["strings"][2]["standing"] == "missing");
    station.end();
    let mut again = Running::start(&data, &[]);
    let picture = Desk::enter(&mut again).look();
    assert_eq!(picture["name"], "Mirela");
    assert_eq!(picture["strings"][2]["standing"], "missing");
}

#[test]
fn a_coordinator_that_is_not_there_is_said_and_the_harp_is_tuned_all_the_same() {
    let folder = Folder::new("nobody");
    // Nobody answers on a port that was free a moment ago.
    let port = std::net::UdpSocket::bind("127.0.0.1:0")
        .and_then(|socket| socket.local_addr())
        .expect("port");
    let link = format!("consort://{port}/{}/{}", "a".repeat(52), "a".repeat(26));
    let mut station = Running::start(&folder.at("data"), &["--join", &link]);
    station.play(&pluck(MIDDLE_C_FLAT_HZ, 48_000));
    station.next_with("verdict", "settled");
    let said = station.next_with("event", "said");
    let sentence = said["sentence"].as_str().expect("sentence");
    assert!(
        sentence.contains(&port.to_string()) && sentence.contains("no answer"),
        "{sentence}"
    );
}
