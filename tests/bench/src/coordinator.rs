//! A real coordinator for a measure: on loopback, announced to nobody.

use std::time::Duration;

use consort_tests::process::{Folder, Program};
use serde_json::Value;

/// How long it may take to open.
const OPENS_WITHIN: Duration = Duration::from_secs(30);

/// A coordinator that runs, and what it said when it opened.
pub(crate) struct Coordinator {
    pub(crate) program: Program,
    /// Where it keeps its data: what orders need.
    pub(crate) data: String,
    opened: Value,
}

impl Coordinator {
    /// Opens one with its data in `folder`.
    pub(crate) fn open(folder: &Folder) -> Result<Self, String> {
        Self::open_on(folder, "0")
    }

    /// The same, for stations on that port.
    pub(crate) fn open_on(folder: &Folder, port: &str) -> Result<Self, String> {
        let data = folder.inside("coordinator");
        let mut words = vec!["--data", &data, "--listen", "127.0.0.1"];
        words.extend(["--port", port, "--board-port", "0", "--control-port", "0"]);
        words.extend(["--no-browser", "--json", "--no-discovery"]);
        let mut program = Program::start("consort-coordinator", &words);
        let (_, line) = program
            .line(OPENS_WITHIN, |line| line.contains("\"open\""))
            .ok_or("the coordinator does not open")?;
        let opened = serde_json::from_str(&line).map_err(|why| format!("{line}: {why}"))?;
        Ok(Self { program, data, opened })
    }

    /// What it said of `name` when it opened: `join`, `code`, `address`, `stations`, `board`, `control`.
    pub(crate) fn said(&self, name: &str) -> Result<&str, String> {
        self.opened[name]
            .as_str()
            .ok_or_else(|| format!("the coordinator does not say its {name}"))
    }
}

/// A station of a measure says what it does, looks for nobody, opens no browser and takes any port for its desk.
pub(crate) const QUIET: [&str; 5] = ["--desk-port", "0", "--no-browser", "--json", "--no-discovery"];

/// What a station of a measure is started with, before its input is named: harpist `number`, joined by `join`, announced to
/// nobody.
pub(crate) fn station_words(folder: &Folder, number: usize, join: &str) -> Vec<String> {
    let data = folder.inside(&format!("station-{number}"));
    let named = ["--data", &data, "--name", &format!("Player {number}"), "--join", join];
    named.iter().chain(&QUIET).map(|&word| word.to_owned()).collect()
}
