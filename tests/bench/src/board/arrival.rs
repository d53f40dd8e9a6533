//! Twelve stations that hear recordings as they are played, and viewers of the board: when each settled reading is shown.
//!
//! Every string is plucked twice, the second time a little higher. No desk has asked for it, so that the first reading waits
//! for the second, which counts as it settles: that one is timed, from the station's line to the board. Whether it counts is
//! what the station's own advice says beside the line; what it lets wait all the same is told apart and not timed.

use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::ChildStdin;
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use consort_tests::process::{Folder, Program};
use consort_words::{Key, Words};
use serde_json::Value;

use crate::coordinator::{Coordinator, station_words};
use crate::recordings::{as_loud, higher, read_manifest, read_samples};

/// Stations in the ensemble, and viewers of the board.
pub(super) const STATIONS: usize = 12;
pub(super) const VIEWERS: usize = 32;
/// Strings that each station hears: the first half while one looks, the second while all do.
const RECORDINGS: usize = 14;
/// Of the clean recordings one in so many is played, so that they come from the whole harp.
const EVERY: usize = 3;
/// The second pluck of a string is higher by this much, cents: more than the board rounds away.
const AGAIN_CENTS: f64 = 7.0;
/// How long one thing may take before the measure is given up.
const PATIENCE: Duration = Duration::from_secs(30);
/// Sound is handed over in pieces of this length, samples of 48,000 a second.
const PIECE: usize = 1_920;
/// Silence after the first pluck of a string, pieces: it rings out.
const SILENCE: usize = 12;
/// Silence before another string, pieces: so long that none is taken for one that was plucked in passing.
const REST: usize = 70;

/// What was found.
#[derive(Debug)]
pub(super) struct Arrivals {
    pub(super) delays_ms: Vec<f64>,
    pub(super) lost: usize,
    /// Second readings that the station let wait, or took for another harp's.
    pub(super) left: usize,
    pub(super) one_viewer_percent: f64,
    pub(super) all_viewers_percent: f64,
}

/// Lines of the board with when they came.
type Lines = Arc<Mutex<Vec<(Instant, String)>>>;

pub(super) fn measure() -> Result<Arrivals, String> {
    let folder = Folder::new("measure-board");
    let coordinator = Coordinator::open(&folder)?;
    let (join, board) = (coordinator.said("join")?, coordinator.said("board")?);
    let sounds = Arc::new(sounds()?);
    let mut stations = Vec::new();
    let mut inputs = Vec::new();
    for number in 0..STATIONS {
        let mut station = station(&folder, number, join)?;
        inputs.push(station.stdin().ok_or("a station has no input")?);
        stations.push(station);
    }
    let shown = Lines::default();
    follow(board, Some(shown.clone()))?;
    let half = sounds.len() / 2;
    let pid = coordinator.program.id();
    let (inputs, one_viewer_percent) = play(inputs, &sounds, 0..half, pid)?;
    for _ in 1..VIEWERS {
        follow(board, None)?;
    }
    let (_inputs, all_viewers_percent) = play(inputs, &sounds, half..sounds.len(), pid)?;
    thread::sleep(Duration::from_secs(2));
    let shown = shown.lock().unwrap_or_else(PoisonError::into_inner);
    let pictures: Vec<(Instant, Value)> = shown
        .iter()
        .filter_map(|(at, line)| Some((*at, serde_json::from_str(line.strip_prefix("data:")?.trim()).ok()?)))
        .collect();
    let (mut delays_ms, mut lost, mut left) = (Vec::new(), 0, 0);
    for (number, station) in stations.iter_mut().enumerate() {
        for (at, line) in seconds(station) {
            let Some(line) = line else {
                left += 1;
                continue;
            };
            match pictures
                .iter()
                .find(|(shown_at, picture)| *shown_at + SLACK >= at && shows(picture, number, &line))
            {
                Some((shown_at, _)) => delays_ms.push(shown_at.saturating_duration_since(at).as_secs_f64() * 1e3),
                None => lost += 1,
            }
        }
    }
    Ok(Arrivals {
        delays_ms,
        lost,
        left,
        one_viewer_percent,
        all_viewers_percent,
    })
}

/// The settled second readings of strings that `station` has printed, each with when; none where the station says beside it
/// that it does not count.
fn seconds(station: &mut Program) -> Vec<(Instant, Option<Value>)> {
    let words = Words::english();
    let leaves = [Key::WhyWaits, Key::WhyStrong, Key::WhyTooSoft].map(|key| words.say(key, &[]));
    let mut lines = Vec::new();
    while let Some((at, line)) = station.line(Duration::ZERO, |_| true) {
        if let Ok(line) = serde_json::from_str::<Value>(&line) {
            lines.push((at, line));
        }
    }
    let mut seconds = Vec::new();
    // The string that was read and waits to be plucked again.
    let mut first = None;
    for (place, (at, line)) in lines.iter().enumerate() {
        if line["verdict"] != "settled" {
            continue;
        }
        let string = line["string"].as_u64();
        if first != string {
            first = string;
            continue;
        }
        first = None;
        // What comes of a reading is the next thing that is said of its string, before it is plucked again.
        let mut said = lines[place + 1..].iter().map(|(_, said)| said);
        let said = said.find(|said| !said["word"].is_null() || said["verdict"] == "settled");
        let waits = said.is_some_and(|said| {
            said["string"] == line["string"] && leaves.iter().any(|why| said["why"] == why.as_str())
        });
        seconds.push((*at, (!waits).then(|| line.clone())));
    }
    seconds
}

/// The board may be read a little before the station's own line.
const SLACK: Duration = Duration::from_millis(100);

/// Whether the picture shows the station's string as the line says.
fn shows(picture: &Value, station: usize, line: &Value) -> bool {
    let name = name(station);
    let harps = picture["harps"].as_array().into_iter().flatten();
    let Some(harp) = harps.into_iter().find(|harp| harp["name"] == name.as_str()) else {
        return false;
    };
    let number = line["string"].as_u64().unwrap_or_default() as usize;
    let shown = harp["strings"][number.saturating_sub(1)][2].as_f64();
    let heard = line["cents"].as_f64().unwrap_or(f64::NAN);
    shown.is_some_and(|shown| (shown - heard).abs() < 0.051)
}

fn name(station: usize) -> String {
    format!("Player {station}")
}

fn station(folder: &Folder, number: usize, join: &str) -> Result<Program, String> {
    let words = station_words(folder, number, join);
    let mut words: Vec<&str> = words.iter().map(String::as_str).collect();
    words.extend([
        "--no-opening",
        "--input",
        "stdin",
        "--rate",
        "48000",
        "--advice",
        "json",
    ]);
    let mut station = Program::start("consort-station", &words);
    let joined = station.line(PATIENCE, |line| line.contains("\"joined\""));
    joined.ok_or_else(|| format!("a station does not join\n{}", station.transcript()))?;
    Ok(station)
}

/// Plays sounds `which` to all stations in their own time, each station beginning with another one; the share of a core
/// that `pid` used meanwhile, in a hundred.
fn play(
    inputs: Vec<ChildStdin>,
    sounds: &Arc<Vec<Vec<u8>>>,
    which: std::ops::Range<usize>,
    pid: u32,
) -> Result<(Vec<ChildStdin>, f64), String> {
    let (begun, used) = (Instant::now(), used_s(pid)?);
    let players: Vec<_> = inputs
        .into_iter()
        .enumerate()
        .map(|(number, mut input)| {
            let (sounds, which) = (sounds.clone(), which.clone());
            thread::spawn(move || -> std::io::Result<ChildStdin> {
                thread::sleep(Duration::from_millis(170 * number as u64));
                let begun = Instant::now();
                let mut played = 0;
                let count = which.len();
                for place in 0..count {
                    let sound = &sounds[which.start + (place + number) % count];
                    for piece in sound.chunks(4 * PIECE) {
                        input.write_all(piece)?;
                        played += piece.len() / 4;
                        let due = begun + Duration::from_secs_f64(played as f64 / 48_000.0);
                        thread::sleep(due.saturating_duration_since(Instant::now()));
                    }
                }
                Ok(input)
            })
        })
        .collect();
    let mut inputs = Vec::new();
    for player in players {
        let played = player.join().map_err(|_| "a player has stopped")?;
        inputs.push(played.map_err(|why| format!("a station does not listen: {why}"))?);
    }
    let share = (used_s(pid)? - used) / begun.elapsed().as_secs_f64();
    Ok((inputs, 100.0 * share))
}

/// CPU seconds that the program has used, where the system tells.
fn used_s(pid: u32) -> Result<f64, String> {
    let path = format!("/proc/{pid}/schedstat");
    let tasks = std::fs::read_dir(format!("/proc/{pid}/task")).map_err(|why| format!("{path}: {why}"))?;
    let mut used = 0.0;
    for task in tasks.flatten() {
        let text = std::fs::read_to_string(task.path().join("schedstat")).unwrap_or_default();
        used += text
            .split_whitespace()
            .next()
            .and_then(|ns| ns.parse::<f64>().ok())
            .unwrap_or_default()
            / 1e9;
    }
    Ok(used)
}

/// Clean recordings at 48 kHz as the stations take them, each of another string that is plucked twice.
fn sounds() -> Result<Vec<Vec<u8>>, String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../recordings");
    let clean = read_manifest(&folder)?.into_iter();
    clean
        .filter(|recording| recording.condition == "clean")
        .step_by(EVERY)
        .take(RECORDINGS)
        .map(|recording| {
            let (samples, rate) = read_samples(&recording.path)?;
            let once = as_loud(&recording, &samples, rate);
            let again = higher(&once, AGAIN_CENTS);
            let silence = |pieces| std::iter::repeat_n(0.0, PIECE * pieces);
            let twice = once
                .into_iter()
                .chain(silence(SILENCE))
                .chain(again)
                .chain(silence(REST));
            Ok(twice.flat_map(f32::to_le_bytes).collect())
        })
        .collect()
}

/// Follows the board as a browser would, and keeps its lines where somebody wants them.
fn follow(board: &str, kept: Option<Lines>) -> Result<(), String> {
    let rest = board.strip_prefix("http://").ok_or("the board has no address")?;
    let (address, path) = rest.split_once('/').ok_or("the board has no path")?;
    let mut connection = TcpStream::connect(address).map_err(|why| why.to_string())?;
    write!(
        connection,
        "GET /{path}live HTTP/1.1\r\nHost: {address}\r\nAccept: text/event-stream\r\n\r\n"
    )
    .map_err(|why| why.to_string())?;
    thread::spawn(move || {
        for line in BufReader::new(connection).lines().map_while(Result::ok) {
            if let Some(kept) = &kept {
                kept.lock()
                    .unwrap_or_else(PoisonError::into_inner)
                    .push((Instant::now(), line));
            }
        }
    });
    Ok(())
}
