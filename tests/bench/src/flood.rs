//! A stranger calls ten thousand times a second: how long a change of pitch then takes to reach the stations that are in.

use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use consort_peer::{Dialer, Identity};
use consort_proto::{ToCoordinator, ToStation};
use consort_tests::process::{Folder, Program, run as run_program};

use crate::coordinator::{Coordinator, QUIET};
use crate::figures::Figures;
use crate::report;
use crate::statistics::quantile;

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str = "a change of pitch while a stranger calls 10,000 times a second [--json FILE]";

/// Stations in the ensemble.
const STATIONS: usize = 4;
/// Changes of pitch, without the stranger and with it.
const CHANGES: usize = 30;
/// How long one change may take before the measure is given up.
const PATIENCE: Duration = Duration::from_secs(30);
/// Calls a second.
const CALLS: u64 = 10_000;
/// First packets of handshakes that are played again and again, each whole and with a key of its own.
const FIRST_PACKETS: usize = 200;
/// Addresses from which it calls.
const ADDRESSES: u8 = 100;
/// Goals.
const GOAL_MS: f64 = 1_000.0;
const GOAL_COORDINATOR_MB: f64 = 40.0;

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut figures = Figures::new("flood", words)?;
    let folder = Folder::new("measure-flood");
    let coordinator = Coordinator::open(&folder)?;
    let join = coordinator.said("join")?;
    let address: SocketAddr = coordinator.said("stations")?.parse().map_err(|_| "no address")?;
    let mut stations = (0..STATIONS)
        .map(|number| station(&folder, number, join))
        .collect::<Result<Vec<_>, _>>()?;
    let mut quiet = changes(&coordinator.data, &mut stations, 438.0)?;
    let first_packets = first_packets()?;
    let flood = Flood::start(address, first_packets)?;
    thread::sleep(Duration::from_secs(1));
    let mut flooded = changes(&coordinator.data, &mut stations, 442.0)?;
    let (calls, lasted) = flood.stop();
    report(&format!("a change of pitch to {STATIONS} stations, {CHANGES} times"));
    figures.tell("undisturbed, median", quantile(&mut quiet, 0.5), "ms");
    figures.tell("undisturbed, most", quantile(&mut quiet, 1.0), "ms");
    figures.tell("calls a second", calls as f64 / lasted.as_secs_f64(), "1/s");
    figures.tell("under calls, median", quantile(&mut flooded, 0.5), "ms");
    figures.at_most(GOAL_MS, "under calls, most", quantile(&mut flooded, 1.0), "ms");
    let megabytes = coordinator.program.resident_bytes().unwrap_or_default() as f64 / 1e6;
    figures.at_most(
        GOAL_COORDINATOR_MB,
        "memory of the coordinator after it",
        megabytes,
        "MB",
    );
    figures.close()
}

/// Changes the pitch from `first` on, a tenth of a hertz each time, and gives how long each took to all stations.
fn changes(data: &str, stations: &mut [Program], first: f64) -> Result<Vec<f64>, String> {
    let mut times = Vec::new();
    for change in 0..CHANGES {
        let hz = ((first * 10.0).round() + change as f64 + 1.0) / 10.0;
        let begun = Instant::now();
        let ordered = run_program("consort-coordinator", &["pitch", &hz.to_string(), "--data", data]);
        if !ordered.status.success() {
            return Err(String::from_utf8_lossy(&ordered.stderr).into_owned());
        }
        let wanted = format!("\"a4_hz\":{hz:?}");
        let mut last = begun;
        for station in stations.iter_mut() {
            let heard = station.line(PATIENCE, |line| {
                line.contains("\"agreement\"") && line.contains(&wanted)
            });
            last = last.max(heard.ok_or_else(|| format!("a station does not hear of {hz}"))?.0);
        }
        times.push((last - begun).as_secs_f64() * 1_000.0);
        thread::sleep(Duration::from_millis(100));
    }
    Ok(times)
}

fn station(folder: &Folder, number: usize, join: &str) -> Result<Program, String> {
    let data = folder.inside(&format!("station-{number}"));
    let words = ["--data", &data, "--join", join, "--input", "stdin"];
    let mut station = Program::start("consort-station", &[&words[..], &QUIET].concat());
    match station.line(PATIENCE, |line| line.contains("\"joined\"")) {
        Some(_) => Ok(station),
        None => Err(format!("a station is not linked\n{}", station.transcript())),
    }
}

/// The first packets of so many handshakes, taken down where nobody answers.
fn first_packets() -> Result<Vec<Vec<u8>>, String> {
    let trap = UdpSocket::bind("127.0.0.1:0").map_err(|why| why.to_string())?;
    let address = trap.local_addr().map_err(|why| why.to_string())?;
    trap.set_read_timeout(Some(Duration::from_secs(5)))
        .map_err(|why| why.to_string())?;
    let calling = thread::spawn(move || -> Result<(), String> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
        runtime.map_err(|why| why.to_string())?.block_on(async {
            let identity = Identity::generate().map_err(|why| why.to_string())?;
            let dialer = Dialer::new(Arc::new(identity)).map_err(|why| why.to_string())?;
            for _ in 0..FIRST_PACKETS * 2 {
                let dial = dialer.dial::<ToCoordinator, ToStation>(address, None);
                // Long enough for the first packet to leave.
                let _ = tokio::time::timeout(Duration::from_millis(3), dial).await;
            }
            Ok(())
        })
    });
    let mut first_packets = Vec::with_capacity(FIRST_PACKETS);
    let mut packet = [0; 2_048];
    while first_packets.len() < FIRST_PACKETS {
        let length = trap
            .recv(&mut packet)
            .map_err(|why| format!("no handshake was begun: {why}"))?;
        // A long header of an Initial packet (RFC 9000, §17.2.2); whatever else comes is the end of a call.
        if packet[0] & 0xf0 == 0xc0 && length >= 1_200 {
            first_packets.push(packet[..length].to_vec());
        }
    }
    calling.join().map_err(|_| "the calls broke off")??;
    Ok(first_packets)
}

/// A stranger who calls until it is stopped.
struct Flood {
    ends: Arc<AtomicBool>,
    calls: Arc<AtomicU64>,
    begun: Instant,
    thread: thread::JoinHandle<()>,
}

impl Flood {
    fn start(address: SocketAddr, first_packets: Vec<Vec<u8>>) -> Result<Self, String> {
        let sockets = (0..ADDRESSES)
            .map(|number| UdpSocket::bind((IpAddr::V4(Ipv4Addr::new(127, 0, 1, number + 1)), 0)))
            .collect::<Result<Vec<_>, _>>()
            .map_err(|why| why.to_string())?;
        let (ends, calls) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU64::new(0)));
        let (stop, count, begun) = (ends.clone(), calls.clone(), Instant::now());
        let thread = thread::spawn(move || {
            let pairs = first_packets.iter().cycle().zip(sockets.iter().cycle());
            for (packet, socket) in pairs {
                if stop.load(Ordering::Relaxed) {
                    return;
                }
                // A full buffer is a call that was too much even for this computer.
                let _ = socket.send_to(packet, address);
                let sent = count.fetch_add(1, Ordering::Relaxed) + 1;
                let due = begun + Duration::from_nanos(sent * 1_000_000_000 / CALLS);
                if let Some(early) = due
                    .checked_duration_since(Instant::now())
                    .filter(|early| early.as_millis() > 0)
                {
                    thread::sleep(early);
                }
            }
        });
        Ok(Self {
            ends,
            calls,
            begun,
            thread,
        })
    }

    /// How often it called, in which time.
    fn stop(self) -> (u64, Duration) {
        self.ends.store(true, Ordering::Relaxed);
        let lasted = self.begun.elapsed();
        // It ends within a millisecond.
        let _ = self.thread.join();
        (self.calls.load(Ordering::Relaxed), lasted)
    }
}
