//! A coordinator and its stations as processes, for one test.

use std::process::Command;
use std::time::{Duration, Instant};

use consort_tests::process::{Folder, Program, path_of, run};
use serde_json::Value;

/// How long any one thing may take on a busy machine; nothing here waits that long when all is well.
pub(crate) const PATIENCE: Duration = Duration::from_secs(30);

pub(crate) struct Ensemble {
    pub(crate) folder: Folder,
    pub(crate) coordinator: Program,
    pub(crate) opened: Value,
}

impl Ensemble {
    /// Opens a session on free ports of loopback.
    pub(crate) fn open(test: &str, more: &[&str]) -> Self {
        let folder = Folder::new(test);
        let (coordinator, opened) = start(&folder, "0", more, |_| {});
        Self {
            folder,
            coordinator,
            opened,
        }
    }

    /// Ends the coordinator as a power cut would, and opens it again on `port`.
    pub(crate) fn kill_and_reopen(&mut self, port: &str, more: &[&str]) {
        self.kill_and_reopen_as(port, more, |_| {});
    }

    /// The same, with a program that is prepared otherwise.
    pub(crate) fn kill_and_reopen_as(&mut self, port: &str, more: &[&str], prepare: impl FnOnce(&mut Command)) {
        self.coordinator.kill();
        (self.coordinator, self.opened) = start(&self.folder, port, more, prepare);
    }

    pub(crate) fn text(&self, key: &str) -> String {
        self.opened[key]
            .as_str()
            .unwrap_or_else(|| panic!("no {key} in {}", self.opened))
            .to_owned()
    }

    /// The port on which stations are served.
    pub(crate) fn port(&self) -> String {
        self.text("stations")
            .rsplit(':')
            .next()
            .expect("an address has a port")
            .to_owned()
    }

    /// Starts `player`'s station; it plays `files` unpaced, unless there are none.
    pub(crate) fn station(&self, player: &str, files: &[&str], more: &[&str]) -> Program {
        let words = station_words(&self.folder.inside(player), player, files, more);
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        Program::start("consort-station", &words)
    }

    pub(crate) fn order(&self, words: &[&str]) -> String {
        let data = self.folder.inside("coordinator");
        let words: Vec<&str> = words.iter().copied().chain(["--data", &data]).collect();
        let output = run("consort-coordinator", &words);
        assert!(
            output.status.success(),
            "{words:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
        String::from_utf8_lossy(&output.stdout).into_owned()
    }

    pub(crate) fn status(&self) -> Value {
        serde_json::from_str(&self.order(&["status", "--json"])).expect("the status is JSON")
    }

    /// Asks for the status until `wanted` accepts it.
    #[track_caller]
    pub(crate) fn wait_for(&self, what: &str, wanted: impl Fn(&Value) -> bool) -> Value {
        let begun = Instant::now();
        loop {
            let status = self.status();
            if wanted(&status) {
                return status;
            }
            assert!(begun.elapsed() < PATIENCE, "{what} does not come: {status}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

/// The words of `player`'s station that keeps its data in `data`; it plays `files` unpaced, unless there are none.
pub(crate) fn station_words(data: &str, player: &str, files: &[&str], more: &[&str]) -> Vec<String> {
    let own = [
        "--data",
        data,
        "--name",
        player,
        "--desk-port",
        "0",
        "--no-browser",
        "--json",
    ];
    let words = own.iter().chain(more).chain(&["--fast", "--input"]);
    let mut words: Vec<String> = words.map(|&word| word.to_owned()).collect();
    if files.is_empty() {
        words.push("stdin".to_owned());
    }
    words.extend(files.iter().map(|file| recording(file)));
    words
}

/// A line that says that the station has joined.
#[track_caller]
pub(crate) fn expect_line(program: &mut Program, wanted: &str) {
    let found = program.line(PATIENCE, |line| line.contains(wanted));
    assert!(found.is_some(), "{wanted} is not printed\n{}", program.transcript());
}

/// The cents that the board has for `string` of `player`, if it has any.
pub(crate) fn cents(status: &Value, player: &str, string: usize) -> Option<f64> {
    let station = status["stations"]
        .as_array()?
        .iter()
        .find(|station| station["name"] == player)?;
    station["strings"][string - 1]["cents"].as_f64()
}

pub(crate) fn recording(file: &str) -> String {
    format!("{}/recordings/{file}", env!("CARGO_MANIFEST_DIR"))
}

fn start(folder: &Folder, port: &str, more: &[&str], prepare: impl FnOnce(&mut Command)) -> (Program, Value) {
    let data = folder.inside("coordinator");
    let mut words = vec![
        "--data",
        &data,
        "--listen",
        "127.0.0.1",
        "--port",
        port,
        "--board-port",
        "0",
    ];
    words.extend(["--control-port", "0", "--no-browser", "--json"]);
    words.extend(more);
    let mut command = Command::new(path_of("consort-coordinator"));
    prepare(command.args(&words));
    let mut coordinator = Program::spawn(&mut command);
    let line = coordinator.line(PATIENCE, |line| line.contains("\"open\""));
    let (_, line) = line.unwrap_or_else(|| panic!("the coordinator does not open\n{}", coordinator.transcript()));
    (coordinator, serde_json::from_str(&line).expect("the open line is JSON"))
}
