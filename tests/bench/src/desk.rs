//! The desk of a real station: from a settled reading to the page, and how much a browser has to fetch.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::sync::mpsc::{self, Receiver};
use std::thread;
use std::time::{Duration, Instant};

use consort_tests::process::{Folder, Program};
use serde_json::Value;

use crate::coordinator::QUIET;
use crate::figures::Figures;
use crate::recordings::{higher, read_samples};
use crate::report;
use crate::script::{self, Page};
use crate::statistics::quantile;

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str = "from a settled reading to the desk's page; its script and its bytes [--json FILE]";

/// A string that is heard, 26 cents flat.
const RECORDING: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../recordings/clean-29-cb5.flac");
/// Plucks that are heard and timed.
const PLUCKS: usize = 100;
/// How long one may take before the measure is given up.
const PATIENCE: Duration = Duration::from_secs(20);
/// Goals.
const GOAL_MS: f64 = 100.0;
const GOAL_KB: f64 = 150.0;
const GOAL_SCRIPT_MS: f64 = 4.0;
/// Pictures that are drawn: ten seconds of a moving string.
const TURNS: usize = 200;
/// The files of the page.
const FILES: [&str; 11] = [
    "",
    "desk.css",
    "desk.js",
    "ear.js",
    "large.js",
    "setup.js",
    "stand.js",
    "tone.js",
    "page.css",
    "follow.js",
    "strings.js",
];

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut figures = Figures::new("desk", words)?;
    let folder = Folder::new("measure-desk");
    let (mut station, url) = open(&folder)?;
    let (address, token) = url.trim_start_matches("http://").split_once("/#").ok_or("no token")?;
    let cookie = enter(address, token)?;
    let pictures = follow(address, &cookie)?;
    let mut sound = station.stdin().ok_or("the station does not listen")?;
    let recording = read_samples(Path::new(RECORDING))?.0;
    let (mut times, mut drawn) = (Vec::new(), Vec::new());
    for pluck in 0..=PLUCKS {
        // A few cents beside the one before, so that the picture has to change.
        let plucked = higher(&recording, ((pluck * 7) % 23) as f64);
        let bytes: Vec<u8> = plucked
            .into_iter()
            .chain(std::iter::repeat_n(0.0, 48_000))
            .flat_map(f32::to_le_bytes)
            .collect();
        drawn.extend(pictures.try_iter().map(|(_, picture)| picture));
        sound.write_all(&bytes).map_err(|why| why.to_string())?;
        sound.flush().map_err(|why| why.to_string())?;
        let (read, line) = station
            .line(PATIENCE, |line| line.contains("\"settled\""))
            .ok_or("a pluck has no answer")?;
        let line: Value = serde_json::from_str(&line).map_err(|why| why.to_string())?;
        let string = line["string"].as_u64().ok_or("no string")? as usize;
        let cents = line["cents"].as_f64().ok_or("no cents")?;
        let shown = shows(&pictures, string, cents)?;
        // The first takes the string into hand: nobody asked for it, so that it counts once it has stood alone.
        if pluck > 0 {
            times.push(shown.saturating_duration_since(read).as_secs_f64() * 1_000.0);
        }
    }
    report(&format!("from a settled reading to the page, {PLUCKS} plucks"));
    figures.tell("median", quantile(&mut times, 0.5), "ms");
    figures.at_most(GOAL_MS, "99 of 100", quantile(&mut times, 0.99), "ms");
    drawn.extend(pictures.try_iter().map(|(_, picture)| picture));
    let series = [("desk".to_owned(), drawn)];
    let script = script::times(Page::Desk, TURNS, &series)?.pop().unwrap_or_default();
    // The first picture makes the page, the others change it.
    let (first, others) = script.split_first().ok_or("the browser tells no times")?;
    let mut others = others.to_vec();
    figures.tell("script of the first picture", *first, "ms");
    figures.at_most(
        GOAL_SCRIPT_MS,
        "script of a change, median",
        quantile(&mut others, 0.5),
        "ms",
    );
    figures.tell("script of a change, 99 of 100", quantile(&mut others, 0.99), "ms");
    let mut bytes = 0;
    for file in FILES {
        bytes += get(address, &format!("/{file}"), &cookie)?.len();
    }
    figures.at_most(
        GOAL_KB,
        "the page with all that it asks for",
        bytes as f64 / 1_000.0,
        "kB",
    );
    figures.close()
}

/// When a picture shows the string as it was read.
fn shows(pictures: &Receiver<(Instant, String)>, string: usize, cents: f64) -> Result<Instant, String> {
    loop {
        let (at, picture) = pictures
            .recv_timeout(PATIENCE)
            .map_err(|_| "the page does not show a reading")?;
        let picture: Value = serde_json::from_str(&picture).map_err(|why| why.to_string())?;
        let shown = picture["strings"][string - 1]["cents"].as_f64();
        if shown.is_some_and(|shown| (shown - cents).abs() <= 0.06) {
            return Ok(at);
        }
    }
}

/// A station that hears what is played to it, with a whole concert harp and no opening check, and its desk's address.
pub(crate) fn open(folder: &Folder) -> Result<(Program, String), String> {
    let data = folder.inside("station");
    let words = [
        "--data",
        &data,
        "--input",
        "stdin",
        "--no-opening",
        "--harp",
        "pedal-47",
    ];
    let mut station = Program::start("consort-station", &[&words[..], &QUIET].concat());
    let (_, line) = station
        .line(PATIENCE, |line| line.contains("\"desk\""))
        .ok_or("no desk")?;
    let line: Value = serde_json::from_str(&line).map_err(|why| why.to_string())?;
    let url = line["url"].as_str().ok_or("the desk has no address")?;
    Ok((station, url.to_owned()))
}

/// Opens the desk at `url` and follows it: the pictures that come, each with its time.
pub(crate) fn look(url: &str) -> Result<Receiver<(Instant, String)>, String> {
    let (address, token) = url.trim_start_matches("http://").split_once("/#").ok_or("no token")?;
    follow(address, &enter(address, token)?)
}

/// Shows the token once; the cookie that is given for it.
fn enter(address: &str, token: &str) -> Result<String, String> {
    let body = format!("{{\"token\":\"{token}\"}}");
    let head = [
        "POST /enter HTTP/1.1".to_owned(),
        format!("Host: {address}"),
        format!("Origin: http://{address}"),
        "Content-Type: application/json".to_owned(),
        "X-Consort: 1".to_owned(),
        format!("Content-Length: {}", body.len()),
        "Connection: close".to_owned(),
    ];
    let answer = ask(address, &format!("{}\r\n\r\n{body}", head.join("\r\n")))?;
    let cookie = answer.lines().find_map(|line| line.strip_prefix("set-cookie: "));
    let cookie = cookie.and_then(|cookie| cookie.split(';').next()).ok_or("no cookie")?;
    Ok(cookie.to_owned())
}

fn get(address: &str, target: &str, cookie: &str) -> Result<String, String> {
    let request = format!("GET {target} HTTP/1.1\r\nHost: {address}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n");
    let answer = ask(address, &request)?;
    let (head, body) = answer.split_once("\r\n\r\n").ok_or("no answer")?;
    if head.starts_with("HTTP/1.1 200") {
        Ok(body.to_owned())
    } else {
        Err(format!("{target}: {head}"))
    }
}

fn ask(address: &str, request: &str) -> Result<String, String> {
    let said = |why: std::io::Error| why.to_string();
    let mut stream = TcpStream::connect(address).map_err(said)?;
    stream.write_all(request.as_bytes()).map_err(said)?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).map_err(said)?;
    Ok(answer)
}

/// The pictures that the page is sent, each with the time at which it came.
fn follow(address: &str, cookie: &str) -> Result<Receiver<(Instant, String)>, String> {
    let said = |why: std::io::Error| why.to_string();
    let mut stream = TcpStream::connect(address).map_err(said)?;
    let request = format!("GET /live HTTP/1.1\r\nHost: {address}\r\nCookie: {cookie}\r\n\r\n");
    stream.write_all(request.as_bytes()).map_err(said)?;
    let (tell, told) = mpsc::channel();
    thread::spawn(move || {
        for line in BufReader::new(stream).lines().map_while(Result::ok) {
            if let Some(picture) = line.strip_prefix("data:").filter(|text| text.trim().len() > 2)
                && tell.send((Instant::now(), picture.trim().to_owned())).is_err()
            {
                return;
            }
        }
    });
    Ok(told)
}
