//! `reference`: measures the A that an oboe, a violin, an organ, a piano or a fork gives, from an input or a recording.

use std::path::PathBuf;
use std::thread;
use std::time::{Duration, Instant};

use consort_analysis::{Held, HeldTone};
use consort_proto::{Note, SampleRate, Tuning};
use consort_words::{Arg, Key, Words};
use serde::Serialize;

use crate::capture;
use crate::pluck::{json, rounded};
use crate::say;
use crate::sound::input::{self, InputError};
use crate::sound::recording::{Recording, RecordingError};

/// Why nothing could be measured.
#[derive(Debug, thiserror::Error)]
pub(crate) enum NotMeasured {
    /// The input is not there, or does not open.
    #[error(transparent)]
    Input(#[from] InputError),
    /// It opened and went away, or brings nothing.
    #[error("the input brings no sound: look at its plug, and at what `inputs` lists")]
    Gone,
    /// The recording cannot be heard.
    #[error("{0}")]
    Recording(String),
}

/// What is to be measured.
#[derive(Clone, Debug)]
pub(crate) struct Reference {
    /// The note that is given.
    pub(crate) note: Note,
    /// Whether lines are JSON.
    pub(crate) json: bool,
}

/// A measured tone, for programs.
#[derive(Debug, Serialize)]
struct HeldLine {
    note: String,
    state: &'static str,
    hz: Option<f64>,
    /// The A4 that belongs to it in equal temperament.
    a4_hz: Option<f64>,
    sigma_cents: Option<f64>,
    wavers_cents: Option<f64>,
}

/// The ring is emptied this often, and without sound for so long there will be none.
const PIECE: Duration = Duration::from_millis(10);
const BEGINS_WITHIN: Duration = Duration::from_secs(10);
/// What is held is told this often while an input is heard.
const TELLS_EVERY: Duration = Duration::from_secs(1);

impl Reference {
    /// Measures every recording, each by its last seconds; whether the note is held in all of them.
    pub(crate) fn hear_all(&self, files: &[PathBuf]) -> Result<bool, NotMeasured> {
        let words = Words::english();
        let mut all = true;
        for path in files {
            let spoken = |why: RecordingError| NotMeasured::Recording(why.sentence(&words));
            let mut recording = Recording::open(path).map_err(spoken)?;
            let mut tone = self.tone(recording.rate());
            let mut block = Vec::new();
            while recording.next_block(&mut block) {
                tone.push(&block);
            }
            all &= self.tell(&words, tone.held());
        }
        Ok(all)
    }

    /// Measures what the input called `from` carries, for so many `seconds`; whether the note is held at the end.
    pub(crate) fn hear_input(&self, from: &str, seconds: u32) -> Result<bool, NotMeasured> {
        let words = Words::english();
        let name = match from {
            "default" => input::preferred()?,
            name => name.to_owned(),
        };
        let mut capture = capture::open(&name)?;
        let mut tone = self.tone(capture.rate());
        let (mut wanted, mut block) = (u64::from(capture.rate().get()) * u64::from(seconds), Vec::new());
        let (mut last, mut told) = (Instant::now(), Instant::now());
        while wanted > 0 {
            capture.pull(&mut block);
            if !block.is_empty() {
                last = Instant::now();
            }
            tone.push(&block);
            wanted = wanted.saturating_sub(block.len() as u64);
            if capture.seen().gone || last.elapsed() > BEGINS_WITHIN {
                return Err(NotMeasured::Gone);
            }
            if told.elapsed() >= TELLS_EVERY && wanted > 0 {
                told = Instant::now();
                self.tell(&words, tone.held());
            }
            thread::sleep(PIECE);
        }
        Ok(self.tell(&words, tone.held()))
    }

    fn tone(&self, rate: SampleRate) -> HeldTone {
        HeldTone::new(rate, Tuning::default().frequency(self.note))
    }

    /// Says what is held; whether it is the note.
    fn tell(&self, words: &Words, held: Held) -> bool {
        let line = self.line(held);
        if self.json {
            say::line(&json(&line));
        } else {
            let number =
                |value: Option<f64>, digits: usize| Arg::from(format!("{:.digits$}", value.unwrap_or_default()));
            let key = match held {
                Held::Nothing => Key::HeldNothing,
                Held::Elsewhere(_) => Key::HeldElsewhere,
                Held::Tone { .. } => Key::HeldTone,
            };
            say::line(&words.say(
                key,
                &[
                    ("note", Arg::from(line.note.clone())),
                    ("hz", number(line.hz, 2)),
                    ("reference", number(line.a4_hz, 2)),
                    ("sigma", number(line.sigma_cents, 1)),
                    ("wavers", number(line.wavers_cents, 1)),
                ],
            ));
        }
        matches!(held, Held::Tone { .. })
    }

    fn line(&self, held: Held) -> HeldLine {
        let note = self.note.to_string();
        match held {
            Held::Nothing => HeldLine {
                note,
                state: "nothing",
                hz: None,
                a4_hz: None,
                sigma_cents: None,
                wavers_cents: None,
            },
            Held::Elsewhere(hz) => HeldLine {
                note,
                state: "elsewhere",
                hz: Some(rounded(hz.get(), 3)),
                a4_hz: None,
                sigma_cents: None,
                wavers_cents: None,
            },
            Held::Tone { hz, sigma, wavers } => {
                let tuning = Tuning::default();
                let a4 = tuning.a4.hz().raised_by(hz.cents_above(tuning.frequency(self.note)));
                HeldLine {
                    note,
                    state: "held",
                    hz: Some(rounded(hz.get(), 3)),
                    a4_hz: Some(rounded(a4.get(), 3)),
                    sigma_cents: Some(rounded(sigma.0, 2)),
                    wavers_cents: Some(rounded(wavers.0, 2)),
                }
            }
        }
    }
}
