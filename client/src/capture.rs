//! `capture`: keeps what an input carries as a WAV file, sample by sample as the station hears it.

use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

use crate::sound::capture::{Capture, Opening};
use crate::sound::input::{self, InputError};

/// Why there is no recording, or not a whole one.
#[derive(Debug, thiserror::Error)]
pub(crate) enum NotCaptured {
    /// The input is not there, or does not open.
    #[error(transparent)]
    Input(#[from] InputError),
    /// It opened and went away.
    #[error("the input went away after {heard_s:.1} s: what came before is in {file}", file = file.display())]
    Gone {
        /// Seconds that were recorded.
        heard_s: f64,
        /// The file.
        file: PathBuf,
    },
    /// The file cannot be written.
    #[error("{file} cannot be written ({cause}): choose another name or folder", file = file.display())]
    File {
        /// The file.
        file: PathBuf,
        /// What the system said.
        cause: hound::Error,
    },
}

/// An input that has not opened or brought a sample by then will not.
const BEGINS_WITHIN: Duration = Duration::from_secs(10);
/// The ring is emptied this often.
const PIECE: Duration = Duration::from_millis(10);

/// Keeps so many `seconds` of sound of the input called `from` in `file`.
pub(crate) fn capture(file: &Path, from: &str, seconds: u32) -> Result<(), NotCaptured> {
    let name = match from {
        "default" => input::preferred()?,
        name => name.to_owned(),
    };
    let mut capture = open(&name)?;
    let rate = capture.rate();
    let unwritten = |cause| NotCaptured::File {
        file: file.to_owned(),
        cause,
    };
    let form = hound::WavSpec {
        channels: 1,
        sample_rate: rate.get(),
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(file, form).map_err(unwritten)?;
    let wanted = rate.get() * seconds;
    let mut block = Vec::new();
    let mut last = Instant::now();
    while writer.len() < wanted {
        capture.pull(&mut block);
        if !block.is_empty() {
            last = Instant::now();
        }
        for &sample in block.iter().take((wanted - writer.len()) as usize) {
            writer.write_sample(sample).map_err(unwritten)?;
        }
        if capture.seen().gone || last.elapsed() > BEGINS_WITHIN {
            let heard_s = f64::from(writer.len()) / f64::from(rate.get());
            writer.finalize().map_err(unwritten)?;
            return Err(NotCaptured::Gone {
                heard_s,
                file: file.to_owned(),
            });
        }
        thread::sleep(PIECE);
    }
    writer.finalize().map_err(unwritten)
}

/// Opens the input called `name`, and waits until it answers.
pub(crate) fn open(name: &str) -> Result<Capture, InputError> {
    let not_opened = |cause: &str| InputError::NotOpened {
        name: name.to_owned(),
        cause: cause.to_owned(),
    };
    let opening = Opening::begin(name).map_err(|cause| not_opened(&cause.to_string()))?;
    let begun = Instant::now();
    loop {
        match opening.poll() {
            Some(result) => return result,
            None if begun.elapsed() > BEGINS_WITHIN => return Err(not_opened("it does not answer")),
            None => thread::sleep(PIECE),
        }
    }
}
