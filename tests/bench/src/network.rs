//! Bad Wi-Fi: false alarms, a station that vanishes, the way back after an outage and after a coordinator's death.
//!
//! Heartbeats are played in virtual time; everything else is a real coordinator and light stations, each behind a proxy
//! of its own.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::thread;
use std::time::{Duration, Instant};

use consort_proto::JoinLink;
use consort_proxy::{Fate, Proxy, Weather};
use consort_session::SILENT_AFTER;
use consort_tests::process::{Folder, run as run_program};
use serde_json::Value;

use crate::coordinator::Coordinator;
use crate::ensemble::watch;
use crate::figures::{Figures, take};
use crate::light::{Crowd, Habits};
use crate::report;
use crate::statistics::quantile;

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str = "bad Wi-Fi: false alarms, silence on the board, the way back after outages and a kill \
     [--only heartbeats|vanishing|outages|long|kill] [--logbooks FOLDER] [--json FILE]";

/// Stations in the hall.
const STATIONS: usize = 40;
/// Hours of heartbeats in each weather, in virtual time.
const HOURS: u64 = 1_000;
const PATIENCE: Duration = Duration::from_secs(60);
/// How long the hall is watched for its traffic.
const WATCHED: Duration = Duration::from_secs(20);

const LOSS: Weather = Weather {
    loss: 20.0,
    ..Weather::FAIR
};

/// What can be measured by itself.
const PARTS: [&str; 5] = ["heartbeats", "vanishing", "outages", "long", "kill"];
/// Outages while links live, in seconds, each once; and one that outlives them, so often, since one station in a hundred
/// is looked for among so many.
const OUTAGES_S: &[u64] = &[3, 8, 12];
const LONG_OUTAGES_S: &[u64] = &[20, 20, 20];

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut words = words.to_vec();
    let only = take("--only", &mut words)?;
    if only.as_deref().is_some_and(|part| !PARTS.contains(&part)) {
        return Err(format!("--only takes one of {}", PARTS.join(", ")));
    }
    let logbooks = take("--logbooks", &mut words)?;
    let is_wanted = |part: &str| only.as_deref().is_none_or(|only| only == part);
    let mut figures = Figures::new("network", &words)?;
    if is_wanted("heartbeats") {
        heartbeats(&mut figures);
    }
    if PARTS[1..].iter().any(|part| is_wanted(part)) {
        let folder = Folder::new("measure-network");
        let mut hall = Hall::open(&folder, logbooks.map(PathBuf::from))?;
        report(&format!("{STATIONS} stations, each plucks a string a second"));
        if is_wanted("vanishing") {
            vanishing(&mut hall, &mut figures)?;
        }
        if is_wanted("outages") {
            outages(&mut hall, &mut figures, OUTAGES_S, (1.0, 1.5))?;
        }
        if is_wanted("long") {
            outages(&mut hall, &mut figures, LONG_OUTAGES_S, (3.0, 4.0))?;
        }
        if is_wanted("kill") {
            kills(&mut hall, &folder, &mut figures)?;
        }
    }
    figures.close()
}

fn heartbeats(figures: &mut Figures) {
    report(&format!(
        "heartbeats of {HOURS} station-hours in virtual time, a fifth of them lost"
    ));
    figures.at_most(
        0.0,
        "false silences, each lost for itself",
        false_silences(LOSS) as f64,
        "in 1,000 h",
    );
    let per_hundred = false_silences(Weather::BURSTS) as f64 * 100.0 / HOURS as f64;
    figures.at_most(1.0, "false silences, lost in bursts of 300 ms", per_hundred, "in 100 h");
}

fn vanishing(hall: &mut Hall, figures: &mut Figures) -> Result<(), String> {
    let traffic = hall.traffic();
    figures.at_most(8.0, "traffic of a station, both ways", traffic, "kB/s");
    let mut silences = hall.vanish()?;
    let what = "vanished until silent on the board";
    figures.tell(format!("{what}, median"), quantile(&mut silences, 0.5), "s");
    figures.at_most(4.3, format!("{what}, most"), quantile(&mut silences, 1.0), "s");
    Ok(())
}

/// Outages of these lengths, and the goals where packets get lost each for itself and in bursts.
fn outages(hall: &mut Hall, figures: &mut Figures, lengths_s: &[u64], goals: (f64, f64)) -> Result<(), String> {
    for (name, weather, goal) in [
        ("a fifth lost", LOSS, goals.0),
        ("lost in bursts", Weather::BURSTS, goals.1),
    ] {
        let mut times = Vec::new();
        for &outage_s in lengths_s {
            times.extend(hall.converge(weather, Duration::from_secs(outage_s))?);
        }
        let longest = lengths_s.last().copied().unwrap_or_default();
        let what = format!("newest pitch after up to {longest} s without network, {name}");
        figures.tell(format!("{what}, median"), quantile(&mut times, 0.5), "s");
        figures.at_most(goal, "the same, 99 of 100", quantile(&mut times, 0.99), "s");
        figures.tell("the same, most", quantile(&mut times, 1.0), "s");
    }
    Ok(())
}

fn kills(hall: &mut Hall, folder: &Folder, figures: &mut Figures) -> Result<(), String> {
    let mut back = Vec::new();
    for _ in 0..3 {
        back.extend(hall.kill(folder)?);
    }
    let what = "back after a kill of the coordinator, a fifth lost";
    figures.tell(format!("{what}, median"), quantile(&mut back, 0.5), "s");
    figures.at_most(3.0, "the same, 99 of 100", quantile(&mut back, 0.99), "s");
    Ok(())
}

/// How often a station whose heart beats would be called silent.
fn false_silences(weather: Weather) -> usize {
    let beat_every = consort_session::Config::default().beat_every;
    let beats = (HOURS * 3_600_000 / beat_every.as_millis() as u64) as u32;
    let mut fate = Fate::new(1);
    let (mut last, mut silences) = (Duration::ZERO, 0);
    for beat in 0..beats {
        let sent = beat_every * beat;
        if let Some(on_the_way) = fate.of_packet(sent, &weather).into_iter().min() {
            let arrives = sent + on_the_way;
            silences += usize::from(arrives.saturating_sub(last) >= SILENT_AFTER);
            last = last.max(arrives);
        }
    }
    silences
}

/// A real coordinator and light stations, each behind a proxy.
struct Hall {
    coordinator: Coordinator,
    port: String,
    proxies: Vec<Proxy>,
    crowd: Crowd,
    /// Whether its stations keep logbooks.
    is_logged: bool,
    /// Tenths of a hertz above 438: each change of pitch is another.
    changes: u32,
}

impl Hall {
    fn open(folder: &Folder, logbooks: Option<PathBuf>) -> Result<Self, String> {
        let coordinator = Coordinator::open(folder)?;
        let address: SocketAddr = coordinator.said("stations")?.parse().map_err(|_| "no address")?;
        let join: JoinLink = coordinator.said("join")?.parse().map_err(|_| "no join link")?;
        let proxies = (0..STATIONS as u64)
            .map(|seed| Proxy::start(seed, address, Weather::FAIR))
            .collect::<Result<Vec<_>, _>>()
            .map_err(|why| why.to_string())?;
        let links = proxies.iter().map(|proxy| JoinLink {
            addresses: vec![proxy.address()],
            ..join.clone()
        });
        let habits = Habits {
            live_every: None,
            pluck_every: Some(Duration::from_secs(1)),
        };
        let mut crowd = Crowd::start(links.collect(), habits, logbooks.as_deref())?;
        crowd.wait(Instant::now(), PATIENCE, |joined, _| joined)?;
        Ok(Self {
            port: address.port().to_string(),
            coordinator,
            proxies,
            crowd,
            is_logged: logbooks.is_some(),
            changes: 0,
        })
    }

    fn set(&self, weather: Weather) {
        self.proxies.iter().for_each(|proxy| proxy.set(weather, weather));
    }

    /// Kilobytes a second of one station, both ways.
    fn traffic(&self) -> f64 {
        let carried = || -> u64 {
            let both = self.proxies.iter().map(Proxy::carried);
            both.map(|(up, down)| up + down).sum()
        };
        let before = carried();
        thread::sleep(WATCHED);
        (carried() - before) as f64 / 1_000.0 / WATCHED.as_secs_f64() / STATIONS as f64
    }

    /// Every fifth station vanishes, five times; seconds until the board shows each as silent.
    fn vanish(&mut self) -> Result<Vec<f64>, String> {
        let board = watch(self.coordinator.said("board")?)?;
        let mut times = Vec::new();
        for round in 0..5 {
            let gone: Vec<usize> = (round..STATIONS).step_by(5).collect();
            let begun = Instant::now();
            for &station in &gone {
                self.proxies[station].set(Weather::CUT, Weather::CUT);
            }
            let mut waiting: Vec<String> = gone.iter().map(|station| format!("Light {station}")).collect();
            while !waiting.is_empty() {
                let (at, line) = board.recv_timeout(PATIENCE).map_err(|_| "the board shows no silence")?;
                let silent = silent(&line);
                waiting.retain(|name| {
                    let is_silent = at > begun && silent.contains(name);
                    if is_silent {
                        times.push((at - begun).as_secs_f64());
                    }
                    !is_silent
                });
            }
            self.set(Weather::FAIR);
            self.crowd.wait(Instant::now(), PATIENCE, |joined, _| joined)?;
            thread::sleep(Duration::from_secs(1));
        }
        Ok(times)
    }

    /// The network goes away for `outage` and comes back as `weather`; the pitch changes meanwhile. Seconds from the
    /// moment in which it is back until each station has it.
    fn converge(&mut self, weather: Weather, outage: Duration) -> Result<Vec<f64>, String> {
        self.set(weather);
        self.crowd.wait(Instant::now(), PATIENCE, |joined, _| joined)?;
        thread::sleep(Duration::from_secs(2));
        self.set(Weather::CUT);
        thread::sleep(outage / 2);
        let hz = self.change()?;
        thread::sleep(outage / 2);
        self.crowd.catch_up();
        let (healed, age) = (Instant::now(), self.crowd.age());
        self.set(weather);
        let times = self.crowd.wait(healed, PATIENCE, |_, a4| (a4 - hz).abs() < 0.01)?;
        if self.is_logged {
            let slowest = times.iter().enumerate().max_by(|one, other| one.1.total_cmp(other.1));
            let (station, ms) = slowest.unwrap_or((0, &0.0));
            report(&format!(
                "  the slowest: light-{station}, {ms:.0} ms after {:.3} s",
                age.as_secs_f64()
            ));
        }
        Ok(times.into_iter().map(|ms| ms / 1_000.0).collect())
    }

    /// The coordinator is killed and opened again; seconds from its opening until each station is back.
    fn kill(&mut self, folder: &Folder) -> Result<Vec<f64>, String> {
        self.set(LOSS);
        self.crowd.wait(Instant::now(), PATIENCE, |joined, _| joined)?;
        thread::sleep(Duration::from_secs(2));
        self.coordinator.program.kill();
        thread::sleep(Duration::from_secs(1));
        let hz = 0.1 * f64::from(self.changes) + 438.0;
        self.crowd.catch_up();
        self.coordinator = Coordinator::open_on(folder, &self.port)?;
        let opened = Instant::now();
        self.changes += 1;
        let pitch = hz + 0.1;
        self.order(pitch)?;
        // The new pitch says that it is the new coordinator by whom it was welcomed.
        let times = self
            .crowd
            .wait(opened, PATIENCE, |joined, a4| joined && (a4 - pitch).abs() < 0.01)?;
        Ok(times.into_iter().map(|ms| ms / 1_000.0).collect())
    }

    fn change(&mut self) -> Result<f64, String> {
        self.changes += 1;
        let hz = 438.0 + 0.1 * f64::from(self.changes);
        self.order(hz)?;
        Ok(hz)
    }

    fn order(&self, hz: f64) -> Result<(), String> {
        let pitch = format!("{hz:.1}");
        let ordered = run_program(
            "consort-coordinator",
            &["pitch", &pitch, "--data", &self.coordinator.data],
        );
        match ordered.status.success() {
            true => Ok(()),
            false => Err(String::from_utf8_lossy(&ordered.stderr).into_owned()),
        }
    }
}

/// Whom a line of the board's stream shows as silent.
fn silent(line: &str) -> Vec<String> {
    let page = line.strip_prefix("data:").map(serde_json::from_str::<Value>);
    let Some(Ok(page)) = page else { return Vec::new() };
    let harps = page["harps"].as_array().map_or(&[][..], Vec::as_slice);
    let silent = harps.iter().filter(|harp| harp["presence"] == "silent");
    silent
        .filter_map(|harp| harp["name"].as_str().map(str::to_owned))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_board_says_who_is_silent() {
        let line = r#"data: {"harps":[{"name":"Light 1","presence":"here"},{"name":"Light 2","presence":"silent"}]}"#;
        assert_eq!(silent(line), ["Light 2"]);
        assert_eq!(silent(": nothing new"), Vec::<String>::new());
    }
}
