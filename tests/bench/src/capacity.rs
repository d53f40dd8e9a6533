//! How many stations one coordinator carries: a real process with raised limits, and light stations with sockets of their own.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{IpAddr, Ipv4Addr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{ChildStdin, Command};
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

use consort_coordinator::config::Work;
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
    let mut asking = program.stdin().ok_or("the coordinator cannot be asked")?;
    let habits = Habits {
        live_every: Some(Duration::from_millis(100)),
        pluck_every: None,
    };
    let begun = Instant::now();
    let mut crowd = Crowd::start(vec![join; stations], habits, None)?;
    crowd.wait(begun, PATIENCE, |joined, _| joined)?;
    figures.tell("until all have joined", begun.elapsed().as_secs_f64(), "s");
    let looking: Vec<TcpStream> = (0..viewers)
        .map(|_| look(text("board")?))
        .collect::<Result<_, String>>()?;
    thread::sleep(Duration::from_secs(2));
    let changing = Spent::ask(&mut program, &mut asking, COUNT)?;
    changing.tell(figures, "their coming in", "s", 1.0);
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
    Spent::ask(&mut program, &mut asking, COUNT)?.since(&changing).tell(
        figures,
        &format!("{CHANGES} new pitches"),
        "ms each",
        1_000.0 / f64::from(CHANGES),
    );
    let percent = 100.0 / WATCHED.as_secs_f64();
    let working = Spent::ask(&mut program, &mut asking, "")?;
    thread::sleep(WATCHED);
    let counting = Spent::ask(&mut program, &mut asking, COUNT)?;
    thread::sleep(WATCHED);
    let spent = Spent::ask(&mut program, &mut asking, COUNT)?.since(&counting);
    figures.at_most(
        hall.core_percent,
        "work of the coordinator",
        counting.since(&working).all_s * percent,
        "% of a core",
    );
    figures.tell("the same while it counts by kind", spent.all_s * percent, "% of a core");
    spent.tell(figures, "that work", "% of a core", percent);
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

/// What a coordinator has spent its processor time on, in seconds.
struct Spent {
    /// What it says itself, by kind of work.
    told: BTreeMap<String, f64>,
    /// What its writer to the disk took.
    disk_s: f64,
    all_s: f64,
}

impl Spent {
    /// Asks the coordinator and the system; `then` says whether it counts from now on.
    fn ask(program: &mut Program, asking: &mut ChildStdin, then: &str) -> Result<Self, String> {
        writeln!(asking, "{then}").map_err(|why| why.to_string())?;
        let (_, line) = program
            .line(PATIENCE, |line| line.contains("\"spent\""))
            .ok_or("the coordinator does not say what it does")?;
        let told: Value = serde_json::from_str(&line).map_err(|why| why.to_string())?;
        let told: BTreeMap<String, f64> =
            serde_json::from_value(told["spent"].clone()).map_err(|why| why.to_string())?;
        let threads = std::fs::read_dir(format!("/proc/{}/task", program.id())).map_err(|why| why.to_string())?;
        let disk_s = threads
            .flatten()
            .map(|thread| thread.path())
            .filter(|thread| std::fs::read_to_string(thread.join("comm")).is_ok_and(|name| name.trim() == "writer"));
        Ok(Self {
            told,
            disk_s: disk_s.filter_map(|thread| cpu_seconds(&thread)).sum(),
            all_s: cpu_seconds(&PathBuf::from(format!("/proc/{}", program.id()))).unwrap_or(f64::NAN),
        })
    }

    fn since(&self, before: &Self) -> Self {
        let earlier = |what: &String| before.told.get(what).copied().unwrap_or_default();
        let told = self
            .told
            .iter()
            .map(|(what, spent)| (what.clone(), spent - earlier(what)));
        Self {
            told: told.collect(),
            disk_s: self.disk_s - before.disk_s,
            all_s: self.all_s - before.all_s,
        }
    }

    /// Tells where the time went, the most first; what the coordinator counts under no kind is the network's.
    fn tell(&self, figures: &mut Figures, of: &str, unit: &'static str, factor: f64) {
        let counted: f64 = self.told.values().sum();
        let mut shares: Vec<(&str, f64)> = self.told.iter().map(|(what, spent)| (what.as_str(), *spent)).collect();
        shares.push(("writing to the disk", self.disk_s));
        shares.push((
            "packets, cryptography, timers, the rest",
            self.all_s - self.disk_s - counted,
        ));
        shares.sort_by(|one, other| other.1.total_cmp(&one.1));
        for (what, spent) in shares {
            figures.tell(format!("  of {of}: {what}"), spent * factor, unit);
        }
    }
}

/// Time of processors that the process or thread with this folder of the system has used, where the system tells.
fn cpu_seconds(folder: &Path) -> Option<f64> {
    /// Ticks a second in which Linux counts, on all its usual machines (man 5 proc).
    const TICKS: f64 = 100.0;
    let stat = std::fs::read_to_string(folder.join("stat")).ok()?;
    // Its name stands in brackets and may hold anything; the times are the twelfth and thirteenth field after it.
    let fields: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    let ticks = |at: usize| fields.get(at)?.parse::<f64>().ok();
    Some((ticks(11)? + ticks(12)?) / TICKS)
}

/// The line after which the coordinator counts its work by kind; after any other it does not, as in a hall.
const COUNT: &str = "count";

/// Says what the coordinator has done so far, each time a line comes in.
fn answer(work: &Work) {
    for line in std::io::stdin().lines().map_while(Result::ok) {
        work.count(line == COUNT);
        let shares = work.shares().into_iter();
        let spent: BTreeMap<&str, f64> = shares.map(|share| (share.what, share.spent.as_secs_f64())).collect();
        report(&json!({ "spent": spent }).to_string());
    }
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
    let work = Arc::new(Work::default());
    work.count(true);
    config.work = Some(work.clone());
    thread::spawn(move || answer(&work));
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
