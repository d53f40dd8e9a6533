//! A recording on disk: looked through once for what is wrong with it, then handed out as one channel.

use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

use consort_proto::SampleRate;
use consort_words::{Arg, Key, Words};

use crate::sound::decode::{Decoder, NotSound};

/// A recording that can be heard: it has sound, and it is known which channel that is on.
pub struct Recording {
    decoder: Decoder<BufReader<File>>,
    channel: usize,
    interleaved: Vec<f32>,
    /// What a person should know about it, though it can be heard.
    pub notices: Vec<Notice>,
}

/// What is not as it should be in a recording that can be heard all the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Notice {
    /// It ends earlier than it says, after this many seconds.
    BreaksOff(f64),
    /// One side or more carry nothing.
    DeadSide,
    /// The loudest samples are cut off.
    Clipped,
}

/// Why a recording cannot be heard.
#[derive(Debug, thiserror::Error)]
pub enum RecordingError {
    /// The file cannot be opened or read.
    #[error("{path} cannot be read ({cause})", path = path.display())]
    Missing {
        /// The file.
        path: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// The file is no sound.
    #[error("{path} is no sound: {cause}", path = path.display())]
    NotSound {
        /// The file.
        path: PathBuf,
        /// What it is instead.
        cause: NotSound,
    },
    /// The file is of the right kind, but holds no sample.
    #[error("{path} holds no sound", path = path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// Every sample is silence.
    #[error("{path} holds only silence", path = path.display())]
    Silent {
        /// The file.
        path: PathBuf,
    },
}

/// A peak below this, −80 dBFS, is silence: any open microphone hisses louder.
const SILENT_PEAK: f32 = 1e-4;
/// A side with less than this share of the loudest side's power, −50 dB, carries nothing but its own noise.
const DEAD_SHARE: f64 = 1e-5;
/// Samples at this size or beyond have nowhere to go: converters cut off there.
const FULL_SCALE: f32 = 0.98;
/// This many equal samples in a row at full scale are a cut-off peak, and this many peaks are not by chance.
const FLAT_RUN: u32 = 3;
const CUT_PEAKS: u32 = 8;

impl Recording {
    /// Looks through the file at `path` and goes back to its start.
    pub fn open(path: &Path) -> Result<Self, RecordingError> {
        let mut survey = Survey::default();
        let mut decoder = decoder(path)?;
        let mut interleaved = Vec::new();
        let channels = decoder.channels;
        let whole = loop {
            match decoder.next_block(&mut interleaved) {
                Ok(true) => survey.take(&interleaved, channels),
                Ok(false) => break decoder.announced.is_none_or(|announced| announced <= survey.frames),
                Err(_) => break false,
            }
        };
        let path = || path.to_owned();
        let Some(channel) = survey.loudest() else {
            return Err(RecordingError::Empty { path: path() });
        };
        if survey.sides[channel].peak < SILENT_PEAK {
            return Err(RecordingError::Silent { path: path() });
        }
        let mut notices = Vec::new();
        if !whole {
            notices.push(Notice::BreaksOff(survey.frames as f64 / f64::from(decoder.rate.get())));
        }
        if survey.has_dead_side(channel) {
            notices.push(Notice::DeadSide);
        }
        if survey.sides[channel].cut >= CUT_PEAKS {
            notices.push(Notice::Clipped);
        }
        Ok(Self {
            decoder: self::decoder(&path())?,
            channel,
            interleaved,
            notices,
        })
    }

    /// Samples per second.
    pub fn rate(&self) -> SampleRate {
        self.decoder.rate
    }

    /// Puts the next samples of the channel that is heard in place of what `block` held; `false` at the end.
    pub fn next_block(&mut self, block: &mut Vec<f32>) -> bool {
        block.clear();
        // A recording that breaks off ends there; that was said when it was opened.
        let more = self.decoder.next_block(&mut self.interleaved).unwrap_or(false);
        let channels = self.decoder.channels;
        block.extend(self.interleaved.iter().skip(self.channel).step_by(channels));
        more
    }
}

impl Notice {
    /// The sentence for a person about `file`.
    pub fn sentence(self, words: &Words, file: &str) -> String {
        let file = ("file", Arg::from(file));
        match self {
            Self::BreaksOff(seconds) => words.say(
                Key::ProblemFileTruncated,
                &[file, ("seconds", Arg::from(format!("{seconds:.1}")))],
            ),
            Self::DeadSide => words.say(Key::ProblemFileDeadSide, &[file]),
            Self::Clipped => words.say(Key::ProblemFileClipped, &[file]),
        }
    }
}

impl RecordingError {
    /// The sentence for a person, which names the file and says what to do.
    pub fn sentence(&self, words: &Words) -> String {
        let file = |path: &Path| ("file", Arg::from(path.display().to_string()));
        match self {
            Self::Missing { path, cause } => words.say(
                Key::ProblemFileMissing,
                &[file(path), ("why", Arg::from(cause.to_string()))],
            ),
            Self::NotSound {
                path,
                cause: NotSound::Rate(rate),
            } => words.say(
                Key::ProblemFileRate,
                &[
                    file(path),
                    ("rate", Arg::from(rate.0.to_string())),
                    ("min", Arg::from(SampleRate::MIN.to_string())),
                    ("max", Arg::from(SampleRate::MAX.to_string())),
                ],
            ),
            Self::NotSound {
                path,
                cause: NotSound::Empty,
            }
            | Self::Empty { path } => words.say(Key::ProblemFileEmpty, &[file(path)]),
            Self::NotSound { path, .. } => words.say(Key::ProblemFileNoAudio, &[file(path)]),
            Self::Silent { path } => words.say(Key::ProblemFileSilent, &[file(path)]),
        }
    }
}

fn decoder(path: &Path) -> Result<Decoder<BufReader<File>>, RecordingError> {
    let missing = |cause| RecordingError::Missing {
        path: path.to_owned(),
        cause,
    };
    let file = File::open(path).map_err(missing)?;
    Decoder::open(BufReader::new(file)).map_err(|cause| match cause {
        NotSound::Io(cause) => missing(cause),
        cause => RecordingError::NotSound {
            path: path.to_owned(),
            cause,
        },
    })
}

/// What a first look through the file tells about each of its channels.
#[derive(Default)]
struct Survey {
    frames: u64,
    sides: Vec<Side>,
}

#[derive(Clone, Default)]
struct Side {
    peak: f32,
    energy: f64,
    last: f32,
    run: u32,
    cut: u32,
}

impl Survey {
    fn take(&mut self, interleaved: &[f32], channels: usize) {
        self.sides.resize(channels, Side::default());
        self.frames += (interleaved.len() / channels) as u64;
        for frame in interleaved.chunks_exact(channels) {
            for (side, &sample) in self.sides.iter_mut().zip(frame) {
                side.take(if sample.is_finite() { sample } else { 0.0 });
            }
        }
    }

    /// The channel with most sound; `None` when there is no sample at all.
    fn loudest(&self) -> Option<usize> {
        let by_energy = |&a: &usize, &b: &usize| self.sides[a].energy.total_cmp(&self.sides[b].energy).then(b.cmp(&a));
        (0..self.sides.len()).max_by(by_energy)
    }

    fn has_dead_side(&self, loudest: usize) -> bool {
        let audible = self.sides[loudest].energy * DEAD_SHARE;
        self.sides
            .iter()
            .any(|side| side.peak < SILENT_PEAK || side.energy < audible)
    }
}

impl Side {
    fn take(&mut self, sample: f32) {
        self.peak = self.peak.max(sample.abs());
        self.energy += f64::from(sample) * f64::from(sample);
        self.run = if sample.abs() >= FULL_SCALE && sample == self.last {
            self.run + 1
        } else {
            1
        };
        self.cut += u32::from(self.run == FLAT_RUN);
        self.last = sample;
    }
}
