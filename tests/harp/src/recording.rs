//! Recorded strings as voices: a recording of known pitch, resampled exactly to the pitch that is wanted.

use std::f64::consts::PI;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use consort_proto::Hz;

/// Recordings to choose from.
#[derive(Clone, Debug)]
pub struct Library(Vec<Arc<Recording>>);

/// One recorded pluck.
#[derive(Debug)]
pub struct Recording {
    samples: Vec<f32>,
    rate: f64,
    /// Its true pitch.
    pub hz: Hz,
    /// Where the sound begins to be used, samples: just before the pluck.
    from: usize,
    /// What brings it to the level of other voices.
    gain: f32,
}

/// Why there is no library.
#[derive(Debug, thiserror::Error)]
pub enum LibraryError {
    /// A file cannot be read.
    #[error("cannot read {}: {cause}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// A file is no recording.
    #[error("{} is not a recording: {cause}", path.display())]
    NotFlac {
        /// The file.
        path: PathBuf,
        /// What the decoder said.
        cause: claxon::Error,
    },
    /// The table lacks something.
    #[error("line {line} of {} has no {column}", path.display())]
    Table {
        /// The table.
        path: PathBuf,
        /// Counted from 1.
        line: usize,
        /// The column that is missing or unreadable.
        column: &'static str,
    },
    /// No line of the table names a clean recording.
    #[error("{} names no clean recording", .0.display())]
    Empty(PathBuf),
}

/// A voice begins this long before the pluck, seconds, so that the attack is whole.
const LEAD_S: f64 = 0.02;
/// The end of a recording fades over this long, seconds.
const FADE_S: f64 = 0.15;
/// Samples on either side that each resampled one is made from.
const REACH: usize = 24;

impl Library {
    /// The clean recordings of the folder, by its `manifest.csv`.
    pub fn read(folder: &Path) -> Result<Self, LibraryError> {
        let table = folder.join("manifest.csv");
        let text = std::fs::read_to_string(&table).map_err(|cause| LibraryError::Unreadable {
            path: table.clone(),
            cause,
        })?;
        let mut lines = text.lines();
        let header: Vec<&str> = lines.next().unwrap_or("").split(',').collect();
        let mut recordings = Vec::new();
        for (line, row) in (2..).zip(lines) {
            let cells: Vec<&str> = row.split(',').collect();
            let missing = |column| LibraryError::Table {
                path: table.clone(),
                line,
                column,
            };
            let cell = |column: &'static str| {
                let at = header.iter().position(|name| *name == column);
                at.and_then(|at| cells.get(at)).copied().ok_or_else(|| missing(column))
            };
            if cell("cond")? != "clean" {
                continue;
            }
            let number = |column| cell(column)?.parse::<f64>().map_err(|_| missing(column));
            let hz = Hz::new(number("hz")?).map_err(|_| missing("hz"))?;
            recordings.push(Arc::new(Recording::read(
                &folder.join(cell("file")?),
                hz,
                number("pluck_s")?,
            )?));
        }
        if recordings.is_empty() {
            return Err(LibraryError::Empty(table));
        }
        Ok(Self(recordings))
    }

    /// The recording whose pitch is nearest to `hz`.
    pub fn nearest(&self, hz: Hz) -> Option<Arc<Recording>> {
        let far = |recording: &Arc<Recording>| recording.hz.cents_above(hz).abs().0;
        self.0.iter().min_by(|a, b| far(a).total_cmp(&far(b))).cloned()
    }
}

impl Recording {
    fn read(path: &Path, hz: Hz, pluck_s: f64) -> Result<Self, LibraryError> {
        let not_flac = |cause| LibraryError::NotFlac {
            path: path.to_owned(),
            cause,
        };
        let mut reader = claxon::FlacReader::open(path).map_err(not_flac)?;
        let full = (1_u32 << (reader.streaminfo().bits_per_sample - 1)) as f32;
        let rate = f64::from(reader.streaminfo().sample_rate);
        let samples: Result<Vec<f32>, _> = reader.samples().map(|s| s.map(|s| s as f32 / full)).collect();
        let samples = samples.map_err(not_flac)?;
        Ok(Self::of(samples, rate, hz, pluck_s))
    }

    /// A recording of `samples` at `rate` whose string sounds at `hz` and is plucked at `pluck_s`.
    pub fn of(samples: Vec<f32>, rate: f64, hz: Hz, pluck_s: f64) -> Self {
        let from = ((pluck_s - LEAD_S).max(0.0) * rate) as usize;
        let loud = samples.iter().skip(from).take((0.5 * rate) as usize);
        let power = loud.map(|s| f64::from(*s).powi(2)).sum::<f64>() / (0.5 * rate);
        Self {
            samples,
            rate,
            hz,
            from,
            gain: (crate::pickup::PLUCK_RMS / power.sqrt().max(1e-6)) as f32,
        }
    }

    /// The first `seconds` of the recording from just before its pluck, sounding at `hz`, at `rate`.
    pub fn at(self: &Arc<Self>, hz: Hz, rate: u32, seconds: f64) -> Vec<f32> {
        let mut out = vec![0.0; (seconds * f64::from(rate)) as usize];
        Playback::new(Arc::clone(self), 1.0).render(&mut out, hz.get(), f64::from(rate));
        out
    }
}

/// A recording that is being played.
#[derive(Clone, Debug)]
pub(crate) struct Playback {
    recording: Arc<Recording>,
    /// Where it stands, samples of the recording.
    at: f64,
    gain: f64,
    /// The change of `gain` in one sample, a ratio: below 1 while a hand lies on the string.
    hand: f64,
}

impl Playback {
    pub(crate) fn new(recording: Arc<Recording>, loudness: f64) -> Self {
        let at = recording.from as f64;
        let gain = f64::from(recording.gain) * loudness;
        Self {
            recording,
            at,
            gain,
            hand: 1.0,
        }
    }

    pub(crate) fn damp(&mut self, decay_s: f64, rate: f64) {
        self.hand = (-1.0 / (decay_s * rate)).exp();
    }

    /// Adds to `out` at `rate`, sounding at `hz`; whether there is more to come.
    pub(crate) fn render(&mut self, out: &mut [f32], hz: f64, rate: f64) -> bool {
        let recording = &self.recording;
        let step = hz / recording.hz.get() * recording.rate / rate;
        let end = recording.samples.len() as f64 - 1.0;
        let fade = FADE_S * recording.rate;
        // Played faster, what would lie above half the new rate is left out.
        let cutoff = 0.95 / step.max(1.0);
        for sample in out {
            if self.at >= end || self.gain < 1e-6 {
                return false;
            }
            let tail = ((end - self.at) / fade).min(1.0);
            *sample += (interpolate(&recording.samples, self.at, cutoff) * self.gain * tail) as f32;
            self.at += step;
            self.gain *= self.hand;
        }
        true
    }
}

/// The value between samples at `at`, by a sinc of relative bandwidth `cutoff` under a Hann window.
fn interpolate(samples: &[f32], at: f64, cutoff: f64) -> f64 {
    let whole = at.floor();
    let middle = whole as usize;
    let first = (middle + 1).saturating_sub(REACH);
    let last = (middle + REACH).min(samples.len() - 1);
    // sin(π·c·(x − k)) for neighbouring k is a rotation: one sine and cosine for all of them.
    let (mut sin, mut cos) = (PI * cutoff * (at - first as f64)).sin_cos();
    let (turn_sin, turn_cos) = (PI * cutoff).sin_cos();
    let reach = REACH as f64;
    let (mut hann_sin, mut hann_cos) = (PI * (at - first as f64) / reach).sin_cos();
    let (hann_turn_sin, hann_turn_cos) = (PI / reach).sin_cos();
    let mut sum = 0.0;
    for (k, sample) in (first..=last).zip(&samples[first..=last]) {
        let x = at - k as f64;
        let weight = if x.abs() < 1e-9 { cutoff } else { sin / (PI * x) };
        sum += f64::from(*sample) * weight * (0.5 + 0.5 * hann_cos);
        (sin, cos) = (sin * turn_cos - cos * turn_sin, cos * turn_cos + sin * turn_sin);
        (hann_sin, hann_cos) = (
            hann_sin * hann_turn_cos - hann_cos * hann_turn_sin,
            hann_cos * hann_turn_cos + hann_sin * hann_turn_sin,
        );
    }
    sum
}
