//! A station as a real process: from its start to the moment in which it is linked, with a code and without.

use std::time::{Duration, Instant};

use consort_tests::process::{Folder, Program};

use crate::coordinator::{Coordinator, QUIET};
use crate::figures::Figures;
use crate::report;
use crate::statistics::quantile;

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str =
    "from a station's start until it is linked: the first time by code, then without one [--json FILE]";

/// Stations that join, each with a key of its own; the coordinator has seats for 64.
const STATIONS: usize = 40;
/// How long one may take before the measure is given up.
const PATIENCE: Duration = Duration::from_secs(20);
/// Goals for the median.
const GOAL_BY_CODE_MS: f64 = 1_500.0;
const GOAL_RETURN_MS: f64 = 500.0;

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut figures = Figures::new("joining", words)?;
    let folder = Folder::new("measure-joining");
    let coordinator = Coordinator::open(&folder)?;
    let (code, address) = (coordinator.said("code")?, coordinator.said("address")?);
    let (mut by_code, mut returns) = (Vec::new(), Vec::new());
    for number in 0..STATIONS {
        let data = folder.inside(&format!("station-{number}"));
        by_code.push(linked(&data, &["--code", code, "--coordinator", address])?);
        returns.push(linked(&data, &[])?);
    }
    report(&format!(
        "from the start until linked, {STATIONS} stations, on loopback"
    ));
    for (name, mut times, goal) in [
        ("by code", by_code, GOAL_BY_CODE_MS),
        ("without one", returns, GOAL_RETURN_MS),
    ] {
        figures.at_most(goal, format!("{name}, median"), quantile(&mut times, 0.5), "ms");
        figures.tell(format!("{name}, most"), quantile(&mut times, 1.0), "ms");
    }
    figures.close()
}

/// Starts the station that is kept in `data`, waits until it is linked, and ends it; the time in milliseconds.
fn linked(data: &str, more: &[&str]) -> Result<f64, String> {
    let words = [&["--data", data, "--input", "stdin"], &QUIET[..], more].concat();
    let begun = Instant::now();
    let mut station = Program::start("consort-station", &words);
    let (at, _) = station
        .line(PATIENCE, |line| line.contains("\"joined\""))
        .ok_or_else(|| format!("a station is not linked\n{}", station.transcript()))?;
    station.interrupt(PATIENCE);
    Ok((at - begun).as_secs_f64() * 1_000.0)
}
