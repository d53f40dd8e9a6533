//! The leader's place: a real coordinator, the orders given to it, and what it says of the ensemble.

use std::time::Duration;

use serde_json::Value;

use super::Options;
use crate::process::{Program, run};

/// A coordinator that runs, and can be run again.
pub(crate) struct Podium {
    coordinator: Program,
    data: String,
    opened: Value,
    discovery: bool,
}

/// The ensemble of the rehearsal: invented.
const ENSEMBLE: &str = "Harps at Alder Mill";
/// How long a coordinator may take to open.
const OPENS_WITHIN: Duration = Duration::from_secs(30);

impl Podium {
    /// Opens a session at `pitch`.
    pub(crate) fn open(options: &Options, data: String, pitch: &str) -> Result<Self, String> {
        let discovery = !options.no_discovery;
        let words = ["--name", ENSEMBLE, "--pitch", pitch];
        let free = ["--port", "0", "--board-port", "0", "--control-port", "0"];
        let (coordinator, opened) = start(&data, discovery, &[&words[..], &free].concat())?;
        Ok(Self {
            coordinator,
            data,
            opened,
            discovery,
        })
    }

    /// Kills the coordinator as a power cut would, and opens the session again at the same places.
    pub(crate) fn fall_and_rise(&mut self) -> Result<(), String> {
        self.coordinator.kill();
        let ports = [
            port(&self.stations()?)?,
            port(&self.board()?)?,
            port(&self.text("control")?)?,
        ];
        let words = [
            "--port",
            &ports[0],
            "--board-port",
            &ports[1],
            "--control-port",
            &ports[2],
        ];
        let (coordinator, opened) = start(&self.data, self.discovery, &words)?;
        self.coordinator = coordinator;
        self.opened = opened;
        Ok(())
    }

    /// The board's address.
    pub(crate) fn board(&self) -> Result<String, String> {
        self.text("board")
    }

    /// The join link; where stations find the coordinator by themselves, without its addresses.
    pub(crate) fn join_link(&self) -> Result<String, String> {
        let link = self.text("join")?;
        if !self.discovery {
            return Ok(link);
        }
        let without_addresses = link.split('/').skip(3).collect::<Vec<_>>().join("/");
        Ok(format!("consort:///{without_addresses}"))
    }

    /// Gives an order and returns what was answered.
    pub(crate) fn order(&self, words: &[&str]) -> Result<String, String> {
        let output = run("consort-coordinator", &[words, &["--data", &self.data]].concat());
        if output.status.success() {
            Ok(String::from_utf8_lossy(&output.stdout).trim().to_owned())
        } else {
            Err(String::from_utf8_lossy(&output.stderr).trim().to_owned())
        }
    }

    /// Everything that the coordinator knows.
    pub(crate) fn status(&self) -> Result<Value, String> {
        let line = self.order(&["status", "--json"])?;
        serde_json::from_str(&line).map_err(|why| format!("{line}: {why}"))
    }

    /// Whether the coordinator has ended by itself.
    pub(crate) fn has_fallen(&mut self) -> bool {
        self.coordinator.wait(Duration::ZERO).is_some()
    }

    /// Waits until somebody ends the coordinator, for a day at most.
    pub(crate) fn stay(&mut self) {
        self.coordinator.wait(Duration::from_secs(24 * 3_600));
    }

    /// Ends the coordinator politely.
    pub(crate) fn close(&mut self) {
        self.coordinator.interrupt(Duration::from_secs(5));
    }

    fn stations(&self) -> Result<String, String> {
        self.text("stations")
    }

    fn text(&self, key: &str) -> Result<String, String> {
        self.opened[key]
            .as_str()
            .map(str::to_owned)
            .ok_or_else(|| format!("the coordinator does not say its “{key}”"))
    }
}

fn start(data: &str, discovery: bool, words: &[&str]) -> Result<(Program, Value), String> {
    let mut all = vec!["--data", data, "--listen", "127.0.0.1", "--no-browser", "--json"];
    all.extend(words);
    if !discovery {
        all.push("--no-discovery");
    }
    let mut coordinator = Program::start("consort-coordinator", &all);
    let Some((_, line)) = coordinator.line(OPENS_WITHIN, |line| line.contains("\"open\"")) else {
        return Err(format!("the coordinator does not open\n{}", coordinator.transcript()));
    };
    let opened = serde_json::from_str(&line).map_err(|why| format!("{line}: {why}"))?;
    Ok((coordinator, opened))
}

/// The port in an address, with or without a page behind it.
fn port(address: &str) -> Result<String, String> {
    let rest = address.split_once("://").map_or(address, |(_, rest)| rest);
    let at = rest.split('/').next().unwrap_or(rest);
    at.rsplit_once(':')
        .map(|(_, port)| port.to_owned())
        .ok_or_else(|| format!("{address} has no port"))
}
