//! Disks that fill up, files that are damaged or old: nothing that was acknowledged is lost, and every trouble is said.

use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use consort_tests::process::{Folder, Program, is_isolated, path_of, run, say};
use serde_json::Value;

use crate::ensemble::{Ensemble, PATIENCE, cents, expect_line, station_words};

/// A coordinator whose data lies on a disk of a few megabytes that only it sees.
struct SmallDisk {
    /// Holds the place where the disk is.
    _folder: Folder,
    coordinator: Program,
    opened: Value,
    /// The disk as this program sees it.
    disk: String,
}

impl SmallDisk {
    fn open() -> Option<Self> {
        let folder = Folder::new("small-disk");
        let data = folder.inside("coordinator");
        fs::create_dir_all(&data).expect("a folder");
        let mut command = Command::new("unshare");
        command.args(["-m", "sh", "-c"]);
        command.arg("mount -t tmpfs -o size=3m none \"$0\" || exit 77; exec \"$@\"");
        command.arg(&data).arg(path_of("consort-coordinator"));
        command.args([
            "--data",
            &data,
            "--listen",
            "127.0.0.1",
            "--port",
            "0",
            "--board-port",
            "0",
        ]);
        command.args(["--control-port", "0", "--no-browser", "--json", "--no-discovery"]);
        let mut coordinator = Program::spawn(&mut command);
        let line = coordinator.line(PATIENCE, |line| line.contains("\"open\""));
        let Some((_, line)) = line else {
            let ended = coordinator.wait(PATIENCE);
            assert!(
                !is_isolated(),
                "no small disk can be made here: {ended:?}\n{}",
                coordinator.transcript()
            );
            return None;
        };
        let opened = serde_json::from_str(&line).expect("the open line is JSON");
        let disk = format!("/proc/{}/root{data}", coordinator.id());
        Some(Self {
            _folder: folder,
            coordinator,
            opened,
            disk,
        })
    }

    fn order(&self, words: &[&str]) -> (bool, String) {
        let words: Vec<&str> = words.iter().copied().chain(["--data", &self.disk]).collect();
        let output = run("consort-coordinator", &words);
        let said = if output.status.success() {
            &output.stdout
        } else {
            &output.stderr
        };
        (output.status.success(), String::from_utf8_lossy(said).into_owned())
    }

    fn until(&self, what: &str, wanted: impl Fn(&Value) -> bool) -> Value {
        let begun = Instant::now();
        loop {
            let (_, text) = self.order(&["status", "--json"]);
            let status: Value = serde_json::from_str(&text).unwrap_or_default();
            if wanted(&status) {
                return status;
            }
            assert!(begun.elapsed() < PATIENCE, "{what} does not come: {text}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Writes until nothing more fits.
    fn fill(&self) -> PathBuf {
        let path = Path::new(&self.disk).join("holiday-pictures");
        let mut file = File::create(&path).expect("a file");
        for size in [64 * 1024, 4_096, 1] {
            while file.write_all(&vec![7; size]).is_ok() {}
        }
        path
    }
}

#[test]
fn a_disk_that_fills_during_a_rehearsal_is_said_and_loses_nothing() {
    let Some(mut hall) = SmallDisk::open() else {
        say("skipped: no small disk can be made here; `cargo verify` runs this where one can");
        return;
    };
    let link = hall.opened["join"].as_str().expect("a join link").to_owned();
    let folder = Folder::new("small-disk-station");
    let data = folder.inside("Runa");
    let station = |files: &[&str], more: &[&str]| {
        let words = station_words(&data, "Runa", files, &[&["--no-discovery"], more].concat());
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        Program::start("consort-station", &words)
    };
    let mut first = station(&[], &["--join", &link]);
    expect_line(&mut first, "\"joined\"");
    hall.until("the seat", |status| status["stations"][0]["presence"] == "here");
    let pictures = hall.fill();
    // The leader is told that it was not done, and the agreement stays what it was everywhere. The last of the file may
    // have room left in it for a word or two.
    let refused = (1..=200)
        .map(|tenth| format!("{:.1}", 440.0 + f64::from(tenth) / 10.0))
        .find_map(|hz| {
            let (done, said) = hall.order(&["pitch", &hz]);
            (!done).then_some(said)
        });
    assert!(refused.is_some(), "everything fits on a full disk");
    let before = hall.until("the trouble", |status| status["disk_trouble"] == true);
    assert_eq!(before["stations"][0]["presence"], "here");
    first.kill();
    // A reading that is heard meanwhile is kept by the station, and not acknowledged.
    let mut second = station(&["clean-40-gb6.flac"], &[]);
    expect_line(&mut second, "\"input-ended\"");
    let status = hall.until("the status", |status| status["disk_trouble"] == true);
    assert_eq!(cents(&status, "Runa", 8), None, "nothing is shown that is not kept");
    // It empties again, and everything goes on by itself.
    fs::remove_file(pictures).expect("room");
    let after = hall.until("the reading", |status| cents(status, "Runa", 8).is_some());
    assert_eq!(after["pitch_hz"], before["pitch_hz"]);
    hall.until("the end of the trouble", |status| status["disk_trouble"] == false);
    let (done, said) = hall.order(&["pitch", "442"]);
    assert!(done, "{said}");
    assert!(hall.coordinator.wait(Duration::ZERO).is_none(), "it runs");
}

fn copy(from: &str, to: &str) {
    let _ = fs::remove_dir_all(to);
    fs::create_dir_all(to).expect("a folder");
    for entry in fs::read_dir(from).expect("a folder").flatten() {
        fs::copy(entry.path(), Path::new(to).join(entry.file_name())).expect("a copy");
    }
}

#[test]
fn a_coordinator_that_is_opened_with_yesterdays_file_is_followed() {
    let mut ensemble = Ensemble::open("yesterday", &["--no-discovery"]);
    let (link, port) = (ensemble.text("join"), ensemble.port());
    let mut station = ensemble.station("Runa", &[], &["--join", &link, "--no-discovery"]);
    expect_line(&mut station, "\"joined\"");
    ensemble.wait_for("the seat", |status| status["stations"][0]["presence"] == "here");
    let (data, yesterday) = (
        ensemble.folder.inside("coordinator"),
        ensemble.folder.inside("yesterday"),
    );
    ensemble.coordinator.kill();
    copy(&data, &yesterday);
    ensemble.kill_and_reopen(&port, &["--no-discovery"]);
    for hz in ["441", "442", "443"] {
        ensemble.order(&["pitch", hz]);
    }
    expect_line(&mut station, "\"a4_hz\":443.0");
    ensemble.coordinator.kill();
    copy(&yesterday, &data);
    ensemble.kill_and_reopen(&port, &["--no-discovery"]);
    // All screens agree, though the station had heard of later decisions.
    expect_line(&mut station, "\"a4_hz\":440.0");
    assert_eq!(ensemble.status()["pitch_hz"], 440.0);
    ensemble.order(&["pitch", "439"]);
    expect_line(&mut station, "\"a4_hz\":439.0");
}

#[test]
fn a_damaged_file_is_put_aside_and_said_and_the_stations_are_told_that_they_are_not_known() {
    let mut ensemble = Ensemble::open("damaged", &["--no-discovery"]);
    let (link, port) = (ensemble.text("join"), ensemble.port());
    let mut station = ensemble.station("Runa", &[], &["--join", &link, "--no-discovery"]);
    expect_line(&mut station, "\"joined\"");
    ensemble.wait_for("the seat", |status| status["stations"][0]["presence"] == "here");
    let before = ensemble.status()["session"].clone();
    ensemble.coordinator.kill();
    let data = ensemble.folder.inside("coordinator");
    let file = Path::new(&data).join("session.sqlite");
    let mut bytes = fs::read(&file).expect("the session's file");
    let middle = bytes.len() / 4;
    bytes[middle..middle * 3].fill(0x5a);
    fs::write(&file, bytes).expect("written");
    let _ = fs::remove_file(Path::new(&data).join("session.sqlite-wal"));
    ensemble.kill_and_reopen(&port, &["--no-discovery"]);
    assert_ne!(ensemble.status()["session"], before);
    assert!(
        ensemble.coordinator.transcript().contains("damaged"),
        "{}",
        ensemble.coordinator.transcript()
    );
    let aside = fs::read_dir(&data).expect("the folder").flatten();
    assert!(
        aside
            .map(|entry| entry.file_name())
            .any(|name| name.to_string_lossy().contains("damaged"))
    );
    expect_line(&mut station, "not-invited");
    assert_eq!(ensemble.status()["stations"].as_array().map(Vec::len), Some(0));
}
