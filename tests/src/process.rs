//! Real programs as child processes, each with a data folder of its own, ended when dropped.

use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, ExitStatus, Output, Stdio};
use std::sync::{Arc, Condvar, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use tempfile::TempDir;

/// A running program whose standard output is read line by line, each line with the moment at which it came.
#[derive(Debug)]
pub struct Program {
    child: Child,
    lines: Arc<Lines>,
    complaints: Arc<Lines>,
    cursor: usize,
}

#[derive(Debug, Default)]
struct Lines {
    kept: Mutex<Kept>,
    grown: Condvar,
}

#[derive(Debug, Default)]
struct Kept {
    lines: VecDeque<(Instant, String)>,
    ended: bool,
}

impl Program {
    /// Starts `program`, one of this workspace's own, with `words`.
    ///
    /// # Panics
    ///
    /// When it is not built: the message says how to build it.
    pub fn start(program: &str, words: &[&str]) -> Self {
        Self::spawn(Command::new(path_of(program)).args(words))
    }

    /// Starts `command`.
    pub fn spawn(command: &mut Command) -> Self {
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap_or_else(|error| panic!("{command:?} does not start: {error}"));
        let lines = follow(child.stdout.take().expect("standard output is piped"));
        let complaints = follow(child.stderr.take().expect("standard error is piped"));
        Self {
            child,
            lines,
            complaints,
            cursor: 0,
        }
    }

    /// The next line that `wanted` accepts, within `patience`; lines before it are passed over.
    pub fn line(&mut self, patience: Duration, mut wanted: impl FnMut(&str) -> bool) -> Option<(Instant, String)> {
        let until = Instant::now() + patience;
        let mut kept = self.lines.kept.lock().expect("no reader panicked");
        loop {
            while let Some((at, line)) = kept.lines.get(self.cursor) {
                self.cursor += 1;
                if wanted(line) {
                    return Some((*at, line.clone()));
                }
            }
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() || kept.ended {
                return None;
            }
            kept = self.lines.grown.wait_timeout(kept, left).expect("no reader panicked").0;
        }
    }

    /// Everything printed so far, for a message about what went wrong.
    pub fn transcript(&self) -> String {
        let text = |lines: &Lines| {
            let kept = lines.kept.lock().expect("no reader panicked");
            kept.lines
                .iter()
                .map(|(_, line)| line.as_str())
                .collect::<Vec<_>>()
                .join("\n")
        };
        format!(
            "--- printed:\n{}\n--- complained:\n{}",
            text(&self.lines),
            text(&self.complaints)
        )
    }

    /// Whether it has printed a line with `wanted` in it at any time.
    pub fn has_printed(&self, wanted: &str) -> bool {
        self.lines
            .kept
            .lock()
            .expect("no reader panicked")
            .lines
            .iter()
            .any(|(_, line)| line.contains(wanted))
    }

    /// Its standard input, once.
    pub fn stdin(&mut self) -> Option<ChildStdin> {
        self.child.stdin.take()
    }

    /// Its process id.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Ends it at once, as a power cut would.
    pub fn kill(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }

    /// Asks it to end, as Ctrl-C does, and waits up to `patience`.
    pub fn interrupt(&mut self, patience: Duration) -> Option<ExitStatus> {
        if self.signal("INT") { self.wait(patience) } else { None }
    }

    /// Sends it the signal of that name, as `STOP`; whether that could be done.
    pub fn signal(&self, name: &str) -> bool {
        let asked = Command::new("kill")
            .args([&format!("-{name}"), &self.child.id().to_string()])
            .status();
        asked.is_ok_and(|status| status.success())
    }

    /// How it ended, if it does within `patience`.
    pub fn wait(&mut self, patience: Duration) -> Option<ExitStatus> {
        let until = Instant::now() + patience;
        loop {
            match self.child.try_wait() {
                Ok(Some(status)) => return Some(status),
                Ok(None) if Instant::now() < until => thread::sleep(Duration::from_millis(10)),
                Ok(None) | Err(_) => return None,
            }
        }
    }

    /// Memory that it holds now, in bytes (Linux only).
    pub fn resident_bytes(&self) -> Option<u64> {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.id())).ok()?;
        let line = status.lines().find(|line| line.starts_with("VmRSS:"))?;
        line.split_whitespace()
            .nth(1)?
            .parse::<u64>()
            .ok()
            .map(|kib| kib * 1024)
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        self.kill();
    }
}

/// Runs one of this workspace's programs to its end.
pub fn run(program: &str, words: &[&str]) -> Output {
    Command::new(path_of(program))
        .args(words)
        .stdin(Stdio::null())
        .output()
        .unwrap_or_else(|error| panic!("{program} does not start: {error}"))
}

/// Where a program of this workspace was built: beside the test programs.
///
/// # Panics
///
/// When it is not there.
pub fn path_of(program: &str) -> PathBuf {
    let here = std::env::current_exe().expect("a program knows where it is");
    here.ancestors()
        .skip(1)
        .take(2)
        .map(|folder| folder.join(format!("{program}{}", std::env::consts::EXE_SUFFIX)))
        .find(|path| path.is_file())
        .unwrap_or_else(|| panic!("{program} is not built: run `cargo build` first"))
}

/// Whether multicast stays on this machine, so that a test may announce and discover.
pub fn is_isolated() -> bool {
    std::env::var_os("CONSORT_ISOLATED").is_some()
}

/// Whether `what`, as `sound` or `browser`, has to be here: then a test that misses it fails, and else says that it is skipped.
///
/// It has to be where nobody watches (the variable `CI`) and in `cargo verify`, which brings it, unless that could not be
/// fetched and `cargo verify` has said so.
pub fn must_have(what: &str) -> bool {
    let left_out = std::env::var("CONSORT_LEFT_OUT").unwrap_or_default();
    let unattended = std::env::var_os("CI").is_some_and(|value| !value.is_empty() && value != "false");
    (unattended || is_isolated()) && !left_out.split(',').any(|left| left == what)
}

/// A folder that goes away with this value.
#[derive(Debug)]
pub struct Folder(TempDir);

impl Folder {
    /// An empty folder for `purpose`, among the system's temporary files.
    ///
    /// # Panics
    ///
    /// When it cannot be made.
    pub fn new(purpose: &str) -> Self {
        Self(TempDir::with_prefix(format!("consort-{purpose}-")).expect("temporary files can be made"))
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        self.0.path()
    }

    /// A path inside it, as text.
    pub fn inside(&self, name: &str) -> String {
        self.path().join(name).to_string_lossy().into_owned()
    }
}

fn follow(output: impl std::io::Read + Send + 'static) -> Arc<Lines> {
    let lines = Arc::new(Lines::default());
    let grow = Arc::clone(&lines);
    thread::spawn(move || {
        for line in BufReader::new(output).lines() {
            let Ok(line) = line else { break };
            let mut kept = grow.kept.lock().expect("no reader panicked");
            kept.lines.push_back((Instant::now(), line));
            grow.grown.notify_all();
        }
        grow.kept.lock().expect("no reader panicked").ended = true;
        grow.grown.notify_all();
    });
    lines
}

/// Prints one line, whole, at once: for the programs of this package.
#[allow(clippy::print_stdout)] // The one place of this package that prints.
pub fn say(line: &str) {
    let mut out = std::io::stdout();
    let _ = writeln!(out, "{line}").and_then(|()| out.flush());
}
