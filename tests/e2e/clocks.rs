//! Clocks that are wrong: no time of the wall travels, so that a laptop whose clock is a day off is as good as any other.

mod wall;

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use consort_tests::process::{Program, path_of, say};

use crate::ensemble::{Ensemble, cents, expect_line, station_words};
use crate::weather::wait_for_report;
use wall::Wall;

/// A day, in seconds.
const DAY_S: i64 = 86_400;

/// Starts the station of Runa, who hears `files`, in a world whose steady clocks are `ahead_s` seconds ahead of everyone
/// else's; where the system gives no such world, in this one.
fn station_ahead(ensemble: &Ensemble, ahead_s: i64, files: &[&str]) -> Program {
    let ahead = ahead_s.to_string();
    let world = ["-T", "--monotonic", &ahead, "--boottime", &ahead];
    let is_given = ahead_s > 0
        && Command::new("unshare")
            .args(world)
            .arg("true")
            .status()
            .is_ok_and(|how| how.success());
    if !is_given && ahead_s > 0 {
        say("left out: this system gives no world with another steady clock; the wall's clock is moved all the same");
    }
    let program = path_of("consort-station");
    let mut command = if is_given {
        let mut command = Command::new("unshare");
        command.args(world).arg(program);
        command
    } else {
        Command::new(program)
    };
    let data = ensemble.folder.inside("Runa");
    Program::spawn(command.args(station_words(&data, "Runa", files, &["--no-discovery"])))
}

/// Moves the moment in which the waiting reports were heard, as if the wall clock had been that far off then.
fn shift_reports(data: &str, by_s: i64) {
    let memory = rusqlite::Connection::open(Path::new(data).join("station.sqlite")).expect("the station's memory");
    let shifted = memory
        .execute("UPDATE report SET heard_unix_ms = heard_unix_ms + ?1 * 1000", [by_s])
        .expect("shifted");
    assert!(shifted > 0, "no report waits");
}

#[test]
fn a_station_whose_clocks_are_a_day_off_reports_is_heard_and_follows_like_any_other() {
    for (test, wall_s, ahead_s) in [("wall-behind", -DAY_S, 0), ("all-ahead", DAY_S, DAY_S)] {
        let mut ensemble = Ensemble::open(test, &["--no-discovery"]);
        let link = ensemble.text("join");
        let mut station = ensemble.station("Runa", &[], &["--join", &link, "--no-discovery"]);
        expect_line(&mut station, "\"joined\"");
        ensemble.wait_for("the seat", |status| status["stations"][0]["presence"] == "here");
        station.kill();
        let port = ensemble.port();
        ensemble.coordinator.kill();
        // She plucks while nobody is there, and her clock is set before the report can leave.
        let mut alone = station_ahead(&ensemble, ahead_s, &["clean-40-gb6.flac"]);
        expect_line(&mut alone, "\"input-ended\"");
        let data = ensemble.folder.inside("Runa");
        wait_for_report(&data);
        alone.kill();
        shift_reports(&data, wall_s);
        ensemble.kill_and_reopen(&port, &["--no-discovery"]);
        let mut again = station_ahead(&ensemble, ahead_s, &[]);
        expect_line(&mut again, "\"joined\"");
        ensemble.wait_for("the reading", |status| cents(status, "Runa", 8).is_some());
        ensemble.order(&["pitch", "443"]);
        expect_line(&mut again, "\"a4_hz\":443.0");
        // Longer than it takes to be called silent.
        std::thread::sleep(consort_session::SILENT_AFTER + Duration::from_millis(500));
        let status = ensemble.status();
        assert_eq!(status["stations"][0]["presence"], "here", "{test}: {status}");
        assert!(!again.has_printed("\"offline\""), "{test}: {}", again.transcript());
    }
}

#[test]
fn a_clock_on_the_wall_that_jumps_during_the_session_moves_nothing() {
    let mut ensemble = Ensemble::open("wall-jumps", &["--no-discovery"]);
    let of = |program: &str| Wall::of(program, &ensemble.folder);
    let (Some(leaders), Some(hers)) = (of("coordinator"), of("station")) else {
        return;
    };
    let port = ensemble.port();
    ensemble.kill_and_reopen_as(&port, &["--no-discovery"], |command| leaders.before(command));
    let link = ensemble.text("join");
    let data = ensemble.folder.inside("Runa");
    let mut command = Command::new(path_of("consort-station"));
    command.args(station_words(&data, "Runa", &[], &["--join", &link, "--no-discovery"]));
    hers.before(&mut command);
    let mut station = Program::spawn(&mut command);
    expect_line(&mut station, "\"joined\"");
    ensemble.wait_for("the seat", |status| status["stations"][0]["presence"] == "here");
    ensemble.order(&["start", "25"]);
    let starts_in = |status: &serde_json::Value| status["start_in_s"].as_u64().unwrap_or_default();
    for (hz, leaders_s, hers_s) in [
        (441, DAY_S, 0),
        (442, -DAY_S, DAY_S),
        (443, -DAY_S, -DAY_S),
        (444, 0, -365 * DAY_S),
    ] {
        leaders.set(leaders_s);
        hers.set(hers_s);
        ensemble.order(&["pitch", &hz.to_string()]);
        expect_line(&mut station, &format!("\"a4_hz\":{hz}.0"));
        let status = ensemble.status();
        assert_eq!(status["stations"][0]["presence"], "here", "{hz}: {status}");
        let left_s = starts_in(&status);
        assert!(
            (24 * 60..=25 * 60).contains(&left_s),
            "{hz}: the start is in {left_s} s"
        );
    }
    // Longer than it takes to be called silent.
    std::thread::sleep(consort_session::SILENT_AFTER + Duration::from_millis(500));
    let status = ensemble.status();
    assert_eq!(status["stations"][0]["presence"], "here", "{status}");
    assert!(!station.has_printed("\"offline\""), "{}", station.transcript());
    // A start is written down by the wall: one that was set under a wrong one outlasts a restart under the same.
    leaders.set(DAY_S);
    ensemble.order(&["start", "20"]);
    ensemble.kill_and_reopen_as(&port, &["--no-discovery"], |command| leaders.before(command));
    let status = ensemble.wait_for("the seat", |status| status["stations"][0]["presence"] == "here");
    let left_s = starts_in(&status);
    assert!((19 * 60..=20 * 60).contains(&left_s), "the start is in {left_s} s");
}
