//! A rehearsal on recorded sound: real files, real programs, one board, and the truth at the end.

mod outcome;
mod parts;
mod window;

use std::path::PathBuf;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::process::{Folder, Program, run, say};
use outcome::Outcome;
use parts::Part;

/// How the rehearsal is played.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Feeds the recordings as fast as they can be heard.
    pub fast: bool,
    /// Keeps the coordinator and its board open at the end.
    pub stay: bool,
    /// Announces nothing: the stations join by the address in the link.
    pub no_discovery: bool,
    /// Where connections to the board arrive from outside this private network.
    pub board_socket: Option<PathBuf>,
    /// The port by which the board is reached from outside.
    pub board_shown_at: Option<u16>,
}

/// The ensemble of the rehearsal: invented.
const ENSEMBLE: &str = "Harps at Alder Mill";
/// The reference pitch until the first half is played.
const FIRST_PITCH: &str = "440";
/// The reference pitch that the oboe brings.
const SECOND_PITCH: &str = "442";
/// How long any one thing may take before the rehearsal is called off.
const PATIENCE: Duration = Duration::from_secs(30);

impl Options {
    /// Reads the words of the command line; what is wrong comes back as one sentence.
    pub fn parse(mut words: impl Iterator<Item = String>) -> Result<Self, String> {
        let mut options = Self::default();
        while let Some(word) = words.next() {
            let mut value = || words.next().ok_or_else(|| format!("{word} needs a value"));
            match word.as_str() {
                "--fast" => options.fast = true,
                "--stay" => options.stay = true,
                "--no-discovery" => options.no_discovery = true,
                "--board-socket" => options.board_socket = Some(value()?.into()),
                "--board-shown-at" => {
                    let port = value()?;
                    options.board_shown_at = Some(port.parse().map_err(|_| format!("{port} is not a port"))?);
                }
                _ => return Err(format!("the rehearsal has no option “{word}”")),
            }
        }
        Ok(options)
    }
}

/// Plays the rehearsal; whether every string that was heard was heard right.
pub fn play(options: &Options) -> Result<bool, String> {
    let folder = Folder::new("rehearsal");
    let data = folder.inside("coordinator");
    let parts = parts::cast()?;
    let (mut coordinator, opened) = open(options, &data)?;
    let board = text(&opened, "board")?;
    let board = window::open(options, board)?;
    say(&format!("The board is at {board}"));
    say(&format!(
        "Two harpists play recorded strings; A is {FIRST_PITCH} Hz, and {SECOND_PITCH} Hz from the middle on."
    ));
    let mut stations = Vec::new();
    for part in &parts {
        stations.push(start(options, part, &folder, &text(&opened, "join")?)?);
    }
    let plucks: usize = parts.iter().map(|part| part.strings.len()).sum();
    let begun = Instant::now();
    let mut moved = false;
    let mut ended = 0;
    let mut last = String::new();
    while ended < stations.len() {
        std::thread::sleep(Duration::from_millis(if options.fast { 100 } else { 1000 }));
        ended = stations.iter().filter(|station| has_ended(station)).count();
        let status = status(&data)?;
        let heard = heard(&status);
        let line = format!("{heard:>3} of {plucks} strings heard · {}", text(&status, "line")?);
        if line != last {
            say(&line);
            last = line;
        }
        if !moved && heard * 2 >= plucks {
            moved = true;
            order(&["pitch", SECOND_PITCH, "--data", &data])?;
            say(&format!(
                "The oboe gives {SECOND_PITCH} Hz: every string is judged anew, without a pluck."
            ));
        }
        if begun.elapsed() > PATIENCE + Duration::from_secs(3) * plucks as u32 {
            return Err("the recordings do not end".to_owned());
        }
    }
    if !moved {
        order(&["pitch", SECOND_PITCH, "--data", &data])?;
    }
    let outcome = Outcome::compare(&settled_status(&data)?, &parts)?;
    outcome.table().iter().for_each(|line| say(line));
    if options.stay {
        say(&format!("The board stays at {board} until Ctrl-C."));
        coordinator.wait(Duration::from_secs(24 * 3600));
    }
    for station in &mut stations {
        station.interrupt(Duration::from_secs(5));
    }
    coordinator.interrupt(Duration::from_secs(5));
    Ok(outcome.is_right())
}

fn open(options: &Options, data: &str) -> Result<(Program, Value), String> {
    let mut words = vec![
        "--data",
        data,
        "--name",
        ENSEMBLE,
        "--pitch",
        FIRST_PITCH,
        "--listen",
        "127.0.0.1",
    ];
    words.extend([
        "--port",
        "0",
        "--board-port",
        "0",
        "--control-port",
        "0",
        "--no-browser",
        "--json",
    ]);
    if options.no_discovery {
        words.push("--no-discovery");
    }
    let mut coordinator = Program::start("consort-coordinator", &words);
    let Some((_, line)) = coordinator.line(PATIENCE, |line| line.contains("\"open\"")) else {
        return Err(format!("the coordinator does not open\n{}", coordinator.transcript()));
    };
    let opened = serde_json::from_str(&line).map_err(|why| format!("{line}: {why}"))?;
    Ok((coordinator, opened))
}

fn start(options: &Options, part: &Part, folder: &Folder, link: &str) -> Result<Program, String> {
    let data = folder.inside(part.player);
    // Without its addresses the link says whom to trust, and discovery must find where.
    let without_addresses = link.split('/').skip(3).collect::<Vec<_>>().join("/");
    let link = if options.no_discovery {
        link.to_owned()
    } else {
        format!("consort:///{without_addresses}")
    };
    let mut words = vec![
        "--data",
        &data,
        "--name",
        part.player,
        "--harp",
        "pedal-47",
        "--join",
        &link,
    ];
    words.extend(["--desk-port", "0", "--no-browser", "--json"]);
    if options.fast {
        words.push("--fast");
    }
    if options.no_discovery {
        words.push("--no-discovery");
    }
    words.push("--input");
    let files: Vec<String> = part
        .strings
        .iter()
        .map(|string| string.file.to_string_lossy().into_owned())
        .collect();
    words.extend(files.iter().map(String::as_str));
    let mut station = Program::start("consort-station", &words);
    if station.line(PATIENCE, |line| line.contains("\"joined\"")).is_none() {
        return Err(format!(
            "{} does not find the coordinator\n{}",
            part.player,
            station.transcript()
        ));
    }
    say(&format!(
        "{} has joined{}.",
        part.player,
        if options.no_discovery {
            ""
        } else {
            ", found by discovery"
        }
    ));
    Ok(station)
}

fn has_ended(station: &Program) -> bool {
    station.has_printed("\"input-ended\"")
}

/// The status once every report on its way has arrived: the same twice, a second apart.
fn settled_status(data: &str) -> Result<Value, String> {
    let mut before = status(data)?;
    for _ in 0..10 {
        std::thread::sleep(Duration::from_secs(1));
        let now = status(data)?;
        if now["stations"] == before["stations"] && now["pitch_hz"] == 442.0 {
            return Ok(now);
        }
        before = now;
    }
    Err("the status does not come to rest".to_owned())
}

fn status(data: &str) -> Result<Value, String> {
    let line = order(&["status", "--json", "--data", data])?;
    serde_json::from_str(&line).map_err(|why| format!("{line}: {why}"))
}

fn order(words: &[&str]) -> Result<String, String> {
    let output = run("consort-coordinator", words);
    if output.status.success() {
        Ok(String::from_utf8_lossy(&output.stdout).trim().to_owned())
    } else {
        Err(String::from_utf8_lossy(&output.stderr).trim().to_owned())
    }
}

fn heard(status: &Value) -> usize {
    let strings = status["stations"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|station| station["strings"].as_array());
    strings.flatten().filter(|string| string["cents"].is_number()).count()
}

fn text(value: &Value, key: &str) -> Result<String, String> {
    value[key]
        .as_str()
        .map(str::to_owned)
        .ok_or_else(|| format!("no “{key}” in {value}"))
}
