//! How many stations one coordinator carries: a real process with raised limits, and light stations with sockets of their own.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{IpAddr, Ipv4Addr, TcpStream};
use std::path::PathBuf;
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};

use consort_coordinator::{Config, Coordinator};
use consort_proto::JoinLink;
use consort_tests::process::{Folder, Program, run as run_program};
use serde_json::{Value, json};

use crate::figures::{Figures, take};
use crate::light::{Crowd, Habits};
use crate::report;
use crate::statistics::quantile;

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str = "so many light stations at one coordinator: change of pitch, share of a core, memory [--stations 40|100|1000] [--json FILE]";
/// What it says about the coordinator that it starts.
pub(crate) const ABOUT_SERVE: &str =
    "a coordinator with room for a thousand stations, for the measure of capacity: FOLDER";

/// Stations in each hall, people who look at the board, and the goals: the change of pitch to all, the share of one core
/// and the memory.
const HALLS: [Hall; 3] = [
    Hall {
        stations: 40,
        viewers: 32,
        change_ms: 150.0,
        core_percent: 50.0,
        memory_mb: 64.0,
    },
    Hall {
        stations: 100,
        viewers: 0,
        change_ms: 150.0,
        core_percent: 50.0,
        memory_mb: 120.0,
    },
    Hall {
        stations: 1_000,
        viewers: 0,
        change_ms: 1_000.0,
        core_percent: 50.0,
        memory_mb: 120.0,
    },
];
/// Changes of pitch in each hall.
const CHANGES: u32 = 20;
/// How long its work is watched.
const WATCHED: Duration = Duration::from_secs(20);
const PATIENCE: Duration = Duration::from_secs(120);

struct Hall {
    stations: usize,
    viewers: usize,
    change_ms: f64,
    core_percent: f64,
    memory_mb: f64,
}

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut words = words.to_vec();
    let wanted = take("--stations", &mut words)?;
    let is_wanted = |hall: &&Hall| {
        wanted
            .as_ref()
            .is_none_or(|stations| *stations == hall.stations.to_string())
    };
    let halls: Vec<&Hall> = HALLS.iter().filter(is_wanted).collect();
    if halls.is_empty() {
        return Err("--stations takes one of 40, 100, 1000".to_owned());
    }
    let mut figures = Figures::new("capacity", &words)?;
    for hall in halls {
        fill(hall, &mut figures)?;
    }
    figures.close()
}

fn fill(hall: &Hall, figures: &mut Figures) -> Result<(), String> {
    let Hall { stations, viewers, .. } = *hall;
    report(&format!(
        "{stations} stations, 10 live words a second each, {viewers} viewers of the board"
    ));
    let folder = Folder::new("measure-capacity");
    let data = folder.inside("coordinator");
    let own = std::env::current_exe().map_err(|why| why.to_string())?;
    let mut program = Program::spawn(Command::new(own).args(["serve", &data]));
    let (_, line) = program
        .line(PATIENCE, |line| line.contains("\"join\""))
        .ok_or_else(|| format!("the coordinator does not open\n{}", program.transcript()))?;
    let opened: Value = serde_json::from_str(&line).map_err(|why| why.to_string())?;
    let text = |name: &str| opened[name].as_str().ok_or_else(|| format!("no {name}"));
    let join: JoinLink = text("join")?.parse().map_err(|_| "no join link")?;
    let habits = Habits {
        live_every: Some(Duration::from_millis(100)),
        pluck_every: None,
    };
    let begun = Instant::now();
    let mut crowd = Crowd::start(vec![join; stations], habits)?;
    crowd.wait(begun, PATIENCE, |joined, _| joined)?;
    figures.tell("until all have joined", begun.elapsed().as_secs_f64(), "s");
    let looking: Vec<TcpStream> = (0..viewers)
        .map(|_| look(text("board")?))
        .collect::<Result<_, String>>()?;
    thread::sleep(Duration::from_secs(2));
    let mut all = Vec::new();
    for change in 1..=CHANGES {
        let hz = 440.0 + 0.1 * f64::from(change);
        crowd.catch_up();
        let begun = Instant::now();
        let ordered = run_program("consort-coordinator", &["pitch", &format!("{hz:.1}"), "--data", &data]);
        if !ordered.status.success() {
            return Err(String::from_utf8_lossy(&ordered.stderr).into_owned());
        }
        let times = crowd.wait(begun, PATIENCE, |_, a4| (a4 - hz).abs() < 0.01)?;
        all.push(times.into_iter().fold(0.0, f64::max));
        thread::sleep(Duration::from_millis(200));
    }
    figures.tell(
        "a new pitch, from the order to all, median",
        quantile(&mut all, 0.5),
        "ms",
    );
    figures.at_most(
        hall.change_ms,
        format!("the same, most of {CHANGES}"),
        quantile(&mut all, 1.0),
        "ms",
    );
    let before = cpu_seconds(&program);
    thread::sleep(WATCHED);
    let used = cpu_seconds(&program)
        .zip(before)
        .map_or(f64::NAN, |(after, before)| after - before);
    figures.at_most(
        hall.core_percent,
        "work of the coordinator",
        100.0 * used / WATCHED.as_secs_f64(),
        "% of a core",
    );
    let megabytes = program.resident_bytes().map_or(f64::NAN, |bytes| bytes as f64 / 1e6);
    figures.at_most(hall.memory_mb, "memory of the coordinator", megabytes, "MB");
    drop(looking);
    Ok(())
}

/// Looks at the board as a page does, and reads no further than the first picture: a phone in a pocket.
fn look(board: &str) -> Result<TcpStream, String> {
    let rest = board.strip_prefix("http://").ok_or("the board has no address")?;
    let (address, path) = rest.split_once('/').ok_or("the board has no path")?;
    let mut stream = TcpStream::connect(address).map_err(|why| why.to_string())?;
    write!(stream, "GET /{path}live HTTP/1.1\r\nHost: {address}\r\n\r\n").map_err(|why| why.to_string())?;
    let mut first = String::new();
    BufReader::new(Read::by_ref(&mut stream))
        .read_line(&mut first)
        .map_err(|why| why.to_string())?;
    Ok(stream)
}

/// Time of processors that the program has used, where the system tells.
fn cpu_seconds(program: &Program) -> Option<f64> {
    /// Ticks a second in which Linux counts, on all its usual machines (man 5 proc).
    const TICKS: f64 = 100.0;
    let stat = std::fs::read_to_string(format!("/proc/{}/stat", program.id())).ok()?;
    // Its name stands in brackets and may hold anything; the times are the twelfth and thirteenth field after it.
    let fields: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    let ticks = |at: usize| fields.get(at)?.parse::<f64>().ok();
    Some((ticks(11)? + ticks(12)?) / TICKS)
}

/// Is the coordinator that [`run`] starts: the usual one, with more seats and links.
pub(crate) fn serve(words: &[String]) -> Result<(), String> {
    let [data] = words else {
        return Err("takes the folder of its data".to_owned());
    };
    let mut config = Config::in_folder(PathBuf::from(data));
    config.listen = IpAddr::V4(Ipv4Addr::LOCALHOST);
    (config.port, config.board_port, config.control_port) = (0, 0, 0);
    config.discovery = None;
    config.limits.links = 2_048;
    // All call from one address.
    (config.limits.strangers, config.limits.strangers_per_address) = (256, 256);
    config.limits.places_at_ease = 128;
    config.session.stations_max = 1_024;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|why| why.to_string())?;
    runtime.block_on(async {
        let coordinator = Coordinator::bind(config).map_err(|why| why.to_string())?;
        let addresses = coordinator.addresses();
        let opened = json!({ "join": addresses.join.to_string(), "board": addresses.board });
        report(&opened.to_string());
        coordinator
            .run(std::future::pending())
            .await
            .map_err(|why| why.to_string())
    })
}
