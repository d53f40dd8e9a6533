//! Sound files as samples: WAV and FLAC, told apart by their first bytes and never by their names.

use std::io::{self, Cursor, Read};

use consort_proto::SampleRate;
use consort_proto::units::NotASampleRate;

/// A sound that is being decoded, block by block.
pub struct Decoder<R: Read> {
    form: Form<R>,
    /// Samples per second.
    pub rate: SampleRate,
    /// Channels that are interleaved in each frame; at least 1.
    pub channels: usize,
    /// Frames that the file says it holds; `None` where it does not say.
    pub announced: Option<u64>,
}

/// What the bytes are, after the first four have been looked at and put back.
enum Form<R: Read> {
    Wav(hound::WavReader<Whole<R>>),
    /// The spare buffer goes to and fro between the reader and its blocks.
    Flac(claxon::FlacReader<Whole<R>>, Vec<i32>),
}

type Whole<R> = io::Chain<Cursor<Vec<u8>>, R>;

/// Why bytes are no sound.
#[derive(Debug, thiserror::Error)]
pub enum NotSound {
    /// There are none.
    #[error("it is empty")]
    Empty,
    /// Neither WAV nor FLAC.
    #[error("it is neither WAV nor FLAC")]
    OtherForm,
    /// One of the two, but damaged at the start or of a kind that nobody uses for recording.
    #[error("{0}")]
    Unreadable(String),
    /// So few or so many samples a second that no string could be measured.
    #[error(transparent)]
    Rate(#[from] NotASampleRate),
    /// The bytes cannot be got at.
    #[error("{0}")]
    Io(#[from] io::Error),
}

/// The sound breaks off here: what was decoded before is good.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct BreaksOff;

/// Frames of a WAV file that are decoded at a time.
const WAV_FRAMES: usize = 2_048;
/// More channels than any recorder writes.
const CHANNELS_MAX: usize = 64;

impl<R: Read> Decoder<R> {
    /// Looks at the start of `bytes` and prepares to decode the rest.
    pub fn open(mut bytes: R) -> Result<Self, NotSound> {
        let mut start = Vec::with_capacity(4);
        bytes.by_ref().take(4).read_to_end(&mut start)?;
        let kind: Option<[u8; 4]> = start.as_slice().try_into().ok();
        let empty = start.is_empty();
        let whole = Cursor::new(start).chain(bytes);
        match kind.as_ref() {
            Some(b"RIFF") => Self::wav(whole),
            Some(b"fLaC") => Self::flac(whole),
            None if empty => Err(NotSound::Empty),
            _ => Err(NotSound::OtherForm),
        }
    }

    fn wav(bytes: Whole<R>) -> Result<Self, NotSound> {
        let reader = hound::WavReader::new(bytes).map_err(|cause| NotSound::Unreadable(cause.to_string()))?;
        let spec = reader.spec();
        let channels = usize::from(spec.channels);
        if channels == 0 || channels > CHANNELS_MAX || !matches!(spec.bits_per_sample, 8 | 16 | 24 | 32) {
            return Err(NotSound::Unreadable(format!(
                "{channels} channels of {} bits",
                spec.bits_per_sample
            )));
        }
        Ok(Self {
            rate: SampleRate::new(spec.sample_rate)?,
            channels,
            announced: Some(u64::from(reader.duration())),
            form: Form::Wav(reader),
        })
    }

    fn flac(bytes: Whole<R>) -> Result<Self, NotSound> {
        // Tags are of no use here, and may be as long as their writer liked.
        let options = claxon::FlacReaderOptions {
            metadata_only: false,
            read_vorbis_comment: false,
        };
        let reader =
            claxon::FlacReader::new_ext(bytes, options).map_err(|cause| NotSound::Unreadable(cause.to_string()))?;
        let info = reader.streaminfo();
        Ok(Self {
            rate: SampleRate::new(info.sample_rate)?,
            channels: info.channels as usize,
            announced: info.samples,
            form: Form::Flac(reader, Vec::new()),
        })
    }

    /// Puts the next samples, interleaved and with full scale ±1.0, in place of what `block` held; `false` at the end.
    ///
    /// A block holds whole frames only.
    pub fn next_block(&mut self, block: &mut Vec<f32>) -> Result<bool, BreaksOff> {
        block.clear();
        match &mut self.form {
            Form::Wav(reader) => next_of_wav(reader, self.channels, block)?,
            Form::Flac(reader, spare) => next_of_flac(reader, spare, self.channels, block)?,
        }
        Ok(!block.is_empty())
    }
}

fn next_of_wav<R: Read>(
    reader: &mut hound::WavReader<R>,
    channels: usize,
    block: &mut Vec<f32>,
) -> Result<(), BreaksOff> {
    let spec = reader.spec();
    let count = WAV_FRAMES * channels;
    let complete = match spec.sample_format {
        hound::SampleFormat::Float => fill(block, reader.samples::<f32>().take(count), |sample| sample),
        hound::SampleFormat::Int => {
            let full = full_scale(u32::from(spec.bits_per_sample));
            fill(block, reader.samples::<i32>().take(count), |sample| {
                sample as f32 / full
            })
        }
    };
    block.truncate(block.len() / channels * channels);
    // What came before the break is handed out first; the next call meets the break again.
    if complete || !block.is_empty() {
        Ok(())
    } else {
        Err(BreaksOff)
    }
}

/// Takes samples up to the end or the first that cannot be read; says whether all could.
fn fill<S>(block: &mut Vec<f32>, samples: impl Iterator<Item = hound::Result<S>>, scale: impl Fn(S) -> f32) -> bool {
    for sample in samples {
        match sample {
            Ok(sample) => block.push(scale(sample)),
            Err(_) => return false,
        }
    }
    true
}

fn next_of_flac<R: Read>(
    reader: &mut claxon::FlacReader<R>,
    spare: &mut Vec<i32>,
    channels: usize,
    block: &mut Vec<f32>,
) -> Result<(), BreaksOff> {
    let full = full_scale(reader.streaminfo().bits_per_sample);
    let next = reader.blocks().read_next_or_eof(std::mem::take(spare));
    let Some(decoded) = next.map_err(|_| BreaksOff)? else {
        return Ok(());
    };
    // Each block says anew how many channels it has: one that differs from the head is damage, not sound.
    if decoded.channels() as usize != channels {
        return Err(BreaksOff);
    }
    for frame in 0..decoded.duration() {
        for channel in 0..decoded.channels() {
            block.push(decoded.sample(channel, frame) as f32 / full);
        }
    }
    *spare = decoded.into_buffer();
    Ok(())
}

/// The size of the largest sample of `bits`.
fn full_scale(bits: u32) -> f32 {
    (bits.clamp(1, 32) as f32 - 1.0).exp2()
}
