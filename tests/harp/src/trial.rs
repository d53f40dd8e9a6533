//! A harpist and a real station: sound goes in, advice lines come out, and neither runs away from the other.
//!
//! The sound replays from its seed only as far as the advice comes at the same moments, which a busy machine does not
//! promise.

use std::io::{self, BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{self, Receiver};
use std::thread;
use std::time::{Duration, Instant};

use crate::advice::AdviceLine;
use crate::harpist::Harpist;

/// A station that hears a harpist.
#[derive(Debug)]
pub struct Trial {
    station: Child,
    sound: ChildStdin,
    lines: Receiver<String>,
    /// Samples per second.
    rate: u32,
    /// Whether the sound takes as long as it lasts.
    paced: bool,
    began: Instant,
    samples: u64,
}

/// Sound is handed over in pieces of this length, seconds.
const PIECE_S: f64 = 0.04;
/// Sound that may wait in the pipe, pieces: what the station has not taken it cannot advise on.
const AHEAD_PIECES: u64 = 2;
/// How long the station gets to think about each piece, at least: its event loop runs beside its ear.
const THINKS: Duration = Duration::from_millis(1);

impl Trial {
    /// Starts `command`, a station that hears its standard input at `rate`, and prints advice.
    pub fn start(command: &mut Command, rate: u32, paced: bool) -> io::Result<Self> {
        let mut station = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn()?;
        let missing = || io::Error::other("the station has no standard input or output");
        let sound = station.stdin.take().ok_or_else(missing)?;
        let output = station.stdout.take().ok_or_else(missing)?;
        let (told, lines) = mpsc::channel();
        thread::spawn(move || {
            for line in BufReader::new(output).lines().map_while(Result::ok) {
                if told.send(line).is_err() {
                    break;
                }
            }
        });
        Ok(Self {
            station,
            sound,
            lines,
            rate,
            paced,
            began: Instant::now(),
            samples: 0,
        })
    }

    /// Waits up to `patience` for the first advice, and hands all lines before and with it to `seen`.
    pub fn is_ready(&mut self, patience: Duration, mut seen: impl FnMut(&str)) -> bool {
        let until = Instant::now() + patience;
        while let Ok(line) = self.lines.recv_timeout(until.saturating_duration_since(Instant::now())) {
            seen(&line);
            if AdviceLine::parse(&line).is_some() {
                return true;
            }
        }
        false
    }

    /// One piece of sound: `seen` gets every line that the station has printed meanwhile, with the time of the sound.
    pub fn step(&mut self, harpist: &mut Harpist, mut seen: impl FnMut(f64, &str)) -> io::Result<()> {
        let mut advice = Vec::new();
        while let Ok(line) = self.lines.try_recv() {
            seen(harpist.now_s(), &line);
            advice.extend(AdviceLine::parse(&line));
        }
        let mut piece = vec![0.0; (PIECE_S * f64::from(self.rate)) as usize];
        harpist.next_block(&advice, &mut piece);
        let bytes: Vec<u8> = piece.iter().flat_map(|sample| sample.to_le_bytes()).collect();
        self.sound.write_all(&bytes)?;
        self.samples += piece.len() as u64;
        if self.paced || harpist.is_waiting() {
            self.keep_pace(harpist.is_waiting());
        }
        while waiting(&self.sound)? > AHEAD_PIECES * bytes.len() as u64 {
            thread::sleep(THINKS / 4);
        }
        thread::sleep(THINKS);
        Ok(())
    }

    /// Sleeps until the sound has lasted as long as it took; while she only waits, clock time passes piece by piece.
    fn keep_pace(&self, only_waits: bool) {
        if self.paced {
            let due = self.began + Duration::from_secs_f64(self.samples as f64 / f64::from(self.rate));
            thread::sleep(due.saturating_duration_since(Instant::now()));
        } else if only_waits {
            thread::sleep(Duration::from_secs_f64(PIECE_S));
        }
    }

    /// Ends the station at once, as a laptop that runs out of power would.
    pub fn kill(&mut self) {
        // One that has ended already needs no ending.
        let _ = self.station.kill();
        let _ = self.station.wait();
    }

    /// Ends the sound and the station; what it printed at last goes to `seen`.
    pub fn end(mut self, mut seen: impl FnMut(&str)) -> io::Result<()> {
        drop(self.sound);
        let asked = Command::new("kill")
            .args(["-INT", &self.station.id().to_string()])
            .status();
        if asked.is_err() {
            self.station.kill()?;
        }
        while let Ok(line) = self.lines.recv_timeout(Duration::from_secs(5)) {
            seen(&line);
        }
        self.station.wait()?;
        Ok(())
    }
}

/// Bytes that wait in the pipe.
#[cfg(unix)]
fn waiting(pipe: &ChildStdin) -> io::Result<u64> {
    Ok(rustix::io::ioctl_fionread(pipe)?)
}

/// Where nobody can tell, the pipe's own size has to do.
#[cfg(not(unix))]
fn waiting(_pipe: &ChildStdin) -> io::Result<u64> {
    Ok(0)
}
