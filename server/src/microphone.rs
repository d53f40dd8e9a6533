//! The A that this laptop's microphone hears: the station's program measures it, since this one hears nothing.

use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;

use consort_proto::message::Proposal;
use consort_proto::{Cents, Reading, ReferencePitch};
use serde::Deserialize;
use tokio::sync::{Semaphore, SemaphorePermit};

/// Where an A is measured: one at a time, through one input.
#[derive(Clone, Debug)]
pub(crate) struct Microphone {
    program: PathBuf,
    /// The input; `None` for the one that the system prefers.
    input: Option<String>,
    free: Arc<Semaphore>,
}

/// Why nothing was measured; each says what to do.
#[derive(Debug, thiserror::Error)]
pub(crate) enum NotMeasured {
    /// The program is not there.
    #[error("{program} is not there: put it beside consort-coordinator, since it hears for both", program = .0.display())]
    NoProgram(PathBuf),
    /// The program does not start.
    #[error("{program} does not start ({cause})", program = program.display())]
    NotStarted {
        /// Which.
        program: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
    /// Somebody else measures.
    #[error("an A is being measured already: wait for it, or stop it where it was begun")]
    Busy,
    /// The program said why not.
    #[error("{0}")]
    Said(String),
    /// No tone was held.
    #[error("no held tone was heard: let an A sound near this laptop for {SECONDS} seconds, and measure again")]
    Nothing,
    /// A tone was held that is no A4.
    #[error("the tone that was held is at {0:.1} Hz, too far from A4: give the A above middle C, and measure again")]
    Elsewhere(f64),
    /// What was said is not understood.
    #[error("{program} is of another version than this program: update the older of the two", program = .0.display())]
    NotUnderstood(PathBuf),
}

/// How long the tone is listened to.
const SECONDS: u32 = 6;
/// The station's program, as it is named beside this one.
const PROGRAM: &str = "consort-station";
/// What stands before its complaints.
const COMPLAINS: &str = "station: ";

/// What the program says of a tone, as far as it is needed here.
#[derive(Deserialize)]
struct Held {
    state: String,
    hz: Option<f64>,
    a4_hz: Option<f64>,
    sigma_cents: Option<f64>,
}

/// The program while it runs: ended with this, so that whoever leaves leaves nothing behind that listens.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Microphone {
    /// Measures with the station's program beside this one, through `input` or the one that the system prefers.
    pub(crate) fn new(input: Option<String>) -> Self {
        let own = std::env::current_exe().unwrap_or_default();
        Self {
            program: own.with_file_name(format!("{PROGRAM}{}", std::env::consts::EXE_SUFFIX)),
            input,
            free: Arc::new(Semaphore::new(1)),
        }
    }

    /// Listens for some seconds; nothing listens any more once this future is dropped.
    pub(crate) async fn measure(&self) -> Result<Proposal, NotMeasured> {
        let _one: SemaphorePermit<'_> = self.free.try_acquire().map_err(|_| NotMeasured::Busy)?;
        if !self.program.is_file() {
            return Err(NotMeasured::NoProgram(self.program.clone()));
        }
        let seconds = SECONDS.to_string();
        let mut words = vec!["reference", "--json", "--seconds", &seconds];
        words.extend(self.input.iter().flat_map(|input| ["--input", input.as_str()]));
        let child = Command::new(&self.program)
            .args(words)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|cause| NotMeasured::NotStarted {
                program: self.program.clone(),
                cause,
            })?;
        let mut running = Running(child);
        let (told, complained) = (running.0.stdout.take(), running.0.stderr.take());
        let reading = tokio::task::spawn_blocking(move || (all_of(told), all_of(complained)));
        let (told, complained) = reading.await.unwrap_or_default();
        understood(&told, &complained, &self.program)
    }
}

/// Everything that is said until the end.
fn all_of(from: Option<impl Read>) -> String {
    let mut text = Vec::new();
    // A program that was ended says no more.
    let _ = from.map(|mut from| from.read_to_end(&mut text));
    String::from_utf8_lossy(&text).into_owned()
}

/// What the last line says; what came before is how it went.
fn understood(told: &str, complained: &str, program: &Path) -> Result<Proposal, NotMeasured> {
    let not_understood = || NotMeasured::NotUnderstood(program.to_owned());
    let complaint = complained.lines().rev().find(|line| !line.trim().is_empty());
    let Some(last) = told.lines().rev().find(|line| !line.trim().is_empty()) else {
        let said = complaint.map(|line| line.trim_start_matches(COMPLAINS).to_owned());
        return Err(said.map_or_else(not_understood, NotMeasured::Said));
    };
    let held: Held = serde_json::from_str(last).map_err(|_| not_understood())?;
    match (held.state.as_str(), held.hz, held.a4_hz, held.sigma_cents) {
        ("held", _, Some(hz), Some(sigma)) => Ok(Proposal {
            a4: ReferencePitch::new(hz).map_err(|why| NotMeasured::Said(why.to_string()))?,
            sigma: Cents(sigma.clamp(0.0, Reading::SIGMA_MAX.0)),
        }),
        ("elsewhere", Some(hz), ..) => Err(NotMeasured::Elsewhere(hz)),
        ("nothing", ..) => Err(NotMeasured::Nothing),
        _ => Err(not_understood()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_line_is_what_was_measured_and_a_complaint_is_passed_on() {
        let said = |told: &str, complained: &str| {
            let measured = understood(told, complained, Path::new("consort-station"));
            measured
                .map(|proposal| (proposal.a4.hz().get(), proposal.sigma.0))
                .map_err(|why| why.to_string())
        };
        let held = r#"{"note":"A4","state":"held","hz":441.3,"a4_hz":441.3,"sigma_cents":0.4,"wavers_cents":1.0}"#;
        let nothing =
            r#"{"note":"A4","state":"nothing","hz":null,"a4_hz":null,"sigma_cents":null,"wavers_cents":null}"#;
        let other =
            r#"{"note":"A4","state":"elsewhere","hz":512.34,"a4_hz":null,"sigma_cents":null,"wavers_cents":null}"#;
        assert_eq!(said(&format!("{nothing}\n{held}\n"), ""), Ok((441.3, 0.4)));
        for (told, complained, says) in [
            (nothing, "", "let an A sound near this laptop for 6 seconds"),
            (other, "", "at 512.3 Hz"),
            (
                "",
                "station: no input is there: plug a microphone in\n",
                "no input is there: plug a microphone in",
            ),
            ("", "", "another version"),
            ("held\n", "", "another version"),
        ] {
            let why = said(told, complained).expect_err(says);
            assert!(why.contains(says) && !why.starts_with("station: "), "{why}");
        }
    }
}
