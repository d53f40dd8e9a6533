//! Four stations and a coordinator as real processes: how fast a new pitch reaches everyone, and what each holds in
//! memory.

use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;
use std::sync::mpsc;
use std::thread;
use std::time::{Duration, Instant};

use consort_tests::process::{Folder, Program, run as run_program};

use crate::coordinator::{Coordinator, station_words};
use crate::figures::Figures;
use crate::report;
use crate::statistics::quantile;

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str =
    "a change of pitch on its way to four stations and the board; memory of each program [--json FILE]";

/// Stations in the ensemble.
const STATIONS: usize = 4;
/// Changes of pitch.
const CHANGES: usize = 40;
/// How long one change may take before the measure is given up.
const PATIENCE: Duration = Duration::from_secs(20);
/// Goals: a change reaches four stations and the board; memory of a station and of the coordinator.
const GOAL_MS: f64 = 100.0;
const GOAL_STATION_MB: f64 = 60.0;
const GOAL_COORDINATOR_MB: f64 = 40.0;

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut figures = Figures::new("ensemble", words)?;
    let folder = Folder::new("measure");
    let coordinator = Coordinator::open(&folder)?;
    let (join, board) = (coordinator.said("join")?, coordinator.said("board")?);
    let recordings = recordings()?;
    let mut stations = Vec::new();
    for number in 0..STATIONS {
        stations.push(station(&folder, number, join, &recordings)?);
    }
    let board = watch(board)?;
    let (mut to_stations, mut to_board) = (Vec::new(), Vec::new());
    for change in 0..CHANGES {
        let pitch = format!("{}", 438.0 + (change + 1) as f64 / 10.0);
        let begun = Instant::now();
        let ordered = run_program("consort-coordinator", &["pitch", &pitch, "--data", &coordinator.data]);
        if !ordered.status.success() {
            return Err(String::from_utf8_lossy(&ordered.stderr).into_owned());
        }
        let wanted = format!(
            "\"a4_hz\":{}",
            if pitch.contains('.') {
                pitch.clone()
            } else {
                format!("{pitch}.0")
            }
        );
        let mut last = begun;
        for station in &mut stations {
            let heard = station.line(PATIENCE, |line| {
                line.contains("\"agreement\"") && line.contains(&wanted)
            });
            last = last.max(heard.ok_or_else(|| format!("a station does not hear of {pitch}"))?.0);
        }
        to_stations.push((last - begun).as_secs_f64() * 1000.0);
        let shown = format!("A = {pitch} ");
        loop {
            let (at, line) = board
                .recv_timeout(PATIENCE)
                .map_err(|_| format!("the board does not show {pitch}"))?;
            if line.contains(&shown) {
                to_board.push((at - begun).as_secs_f64() * 1000.0);
                break;
            }
        }
        thread::sleep(Duration::from_millis(150));
    }
    report(&format!("a change of pitch, from the typed order, {CHANGES} times"));
    for (name, mut times) in [("all four stations", to_stations), ("the board", to_board)] {
        figures.tell(format!("to {name}, median"), quantile(&mut times, 0.5), "ms");
        figures.at_most(GOAL_MS, format!("to {name}, most"), quantile(&mut times, 1.0), "ms");
    }
    report("memory held, after a tuning was heard");
    let megabytes = |program: &Program| program.resident_bytes().unwrap_or_default() as f64 / 1e6;
    let most = stations.iter().map(megabytes).fold(0.0, f64::max);
    figures.at_most(GOAL_STATION_MB, "the largest station", most, "MB");
    figures.at_most(
        GOAL_COORDINATOR_MB,
        "the coordinator",
        megabytes(&coordinator.program),
        "MB",
    );
    figures.close()
}

fn station(folder: &Folder, number: usize, join: &str, recordings: &[String]) -> Result<Program, String> {
    let words = station_words(folder, number, join);
    let mut words: Vec<&str> = words.iter().map(String::as_str).collect();
    words.extend(["--fast", "--input"]);
    words.extend(recordings.iter().map(String::as_str));
    let mut station = Program::start("consort-station", &words);
    let ended = station.line(Duration::from_secs(120), |line| line.contains("\"input-ended\""));
    ended.ok_or_else(|| format!("a station does not hear its recordings\n{}", station.transcript()))?;
    Ok(station)
}

fn recordings() -> Result<Vec<String>, String> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../recordings");
    let entries = std::fs::read_dir(&folder).map_err(|why| format!("{}: {why}", folder.display()))?;
    let mut files: Vec<String> = entries
        .flatten()
        .map(|entry| entry.path().to_string_lossy().into_owned())
        .filter(|p| p.ends_with(".flac"))
        .collect();
    files.sort();
    files.truncate(12);
    Ok(files)
}

/// Follows the board as a browser would; each line comes with the moment at which it arrived.
pub(crate) fn watch(board: &str) -> Result<mpsc::Receiver<(Instant, String)>, String> {
    let rest = board.strip_prefix("http://").ok_or("the board has no address")?;
    let (address, path) = rest.split_once('/').ok_or("the board has no path")?;
    let mut connection = TcpStream::connect(address).map_err(|why| why.to_string())?;
    write!(
        connection,
        "GET /{path}live HTTP/1.1\r\nHost: {address}\r\nAccept: text/event-stream\r\n\r\n"
    )
    .map_err(|why| why.to_string())?;
    let (lines, arrived) = mpsc::channel();
    thread::spawn(move || {
        for line in BufReader::new(connection).lines().map_while(Result::ok) {
            if lines.send((Instant::now(), line)).is_err() {
                return;
            }
        }
    });
    Ok(arrived)
}
