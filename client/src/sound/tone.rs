//! A reference tone through this computer's own output, for earphones: it begins softly, never gets loud, and ends by
//! itself.

use std::f64::consts::TAU;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::time::Duration;
use std::{io, thread};

use consort_proto::Hz;
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{ErrorKind, FromSample, SampleFormat, SizedSample};

use crate::sound::card::quiet;

/// A tone that sounds until this is dropped, or until it has ended by itself.
#[derive(Debug)]
pub(crate) struct Tone {
    over: Arc<AtomicBool>,
    told: Receiver<ToneError>,
    /// The thread that holds the stream lets the tone fade when this goes.
    _hold: Sender<()>,
}

/// Why no tone sounds.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
pub(crate) enum ToneError {
    /// This computer has no output.
    #[error("this computer has no output for a tone: plug earphones in, or use the tone on the desk's page")]
    NoOutput,
    /// It has one that does not open.
    #[error("the output for the tone does not open ({0}): look at the system's sound settings")]
    NotOpened(String),
}

/// The tone sample by sample.
#[derive(Clone, Debug)]
struct Samples {
    /// Turns of the wave for each sample, and where it is.
    step: f64,
    turn: f64,
    /// How loud it is, and by how much that may change from one sample to the next.
    gain: f64,
    softly: f64,
    /// Samples until it ends by itself.
    left: u64,
}

/// Its greatest level, a share of full scale; how long it takes to get there and back, and how long it sounds at most,
/// seconds. The page's tone has the same.
const LEVEL: f64 = 0.06;
const SOFT_S: f64 = 0.4;
const MOST_S: f64 = 30.0;
/// How often the thread looks whether it is over, and how long a stream goes on once the last sample is in its buffer.
const LOOK_EVERY: Duration = Duration::from_millis(50);
const RINGS_OUT: Duration = Duration::from_millis(250);

impl Samples {
    fn new(hz: Hz, rate: u32) -> Self {
        let rate = f64::from(rate.max(1));
        Self {
            step: hz.get() / rate,
            turn: 0.0,
            gain: 0.0,
            softly: LEVEL / (SOFT_S * rate),
            left: (MOST_S * rate) as u64,
        }
    }

    /// The next sample, of a tone that is to end or not; `None` once it has faded.
    fn next(&mut self, ends: bool) -> Option<f32> {
        self.left = self.left.saturating_sub(1);
        if ends || self.left == 0 {
            self.left = 0;
            self.gain -= self.softly;
            if self.gain <= 0.0 {
                return None;
            }
        } else {
            self.gain = (self.gain + self.softly).min(LEVEL);
        }
        self.turn = (self.turn + self.step).fract();
        Some((self.gain * (TAU * self.turn).sin()) as f32)
    }
}

impl Tone {
    /// Begins to sound `hz`.
    pub(crate) fn begin(hz: Hz) -> io::Result<Self> {
        let over = Arc::new(AtomicBool::new(false));
        let (holds, held) = mpsc::channel();
        let (tell, told) = mpsc::channel();
        let is_over = over.clone();
        thread::Builder::new().name("tone".to_owned()).spawn(move || {
            if let Err(why) = hold(hz, &held, &is_over) {
                // Whoever asked may have given up.
                let _ = tell.send(why);
            }
            is_over.store(true, Ordering::Relaxed);
        })?;
        Ok(Self {
            over,
            told,
            _hold: holds,
        })
    }

    /// Whether it is over, by itself or because it could not sound.
    pub(crate) fn is_over(&self) -> bool {
        self.over.load(Ordering::Relaxed)
    }

    /// Why it could not sound, once.
    pub(crate) fn trouble(&self) -> Option<ToneError> {
        self.told.try_recv().ok()
    }
}

/// Holds the stream from the first sample to the last.
fn hold(hz: Hz, held: &Receiver<()>, over: &Arc<AtomicBool>) -> Result<(), ToneError> {
    let _quiet = quiet();
    let device = cpal::default_host()
        .default_output_device()
        .ok_or(ToneError::NoOutput)?;
    let not_opened = |why: cpal::Error| ToneError::NotOpened(why.to_string());
    let supported = device.default_output_config().map_err(not_opened)?;
    let ends = Arc::new(AtomicBool::new(false));
    let samples = Samples::new(hz, supported.sample_rate());
    let sounding = (samples, ends.clone(), over.clone());
    let config = supported.config();
    let stream = match supported.sample_format() {
        SampleFormat::F32 => build::<f32>(&device, config, sounding),
        SampleFormat::I16 => build::<i16>(&device, config, sounding),
        SampleFormat::I24 => build::<cpal::I24>(&device, config, sounding),
        SampleFormat::I32 => build::<i32>(&device, config, sounding),
        SampleFormat::U8 => build::<u8>(&device, config, sounding),
        SampleFormat::U16 => build::<u16>(&device, config, sounding),
        other => return Err(ToneError::NotOpened(format!("samples of {other} are not known here"))),
    };
    let stream = stream.map_err(not_opened)?;
    stream.play().map_err(not_opened)?;
    while !over.load(Ordering::Relaxed) {
        match held.recv_timeout(LOOK_EVERY) {
            Ok(()) | Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => {
                ends.store(true, Ordering::Relaxed);
                thread::sleep(LOOK_EVERY);
            }
        }
    }
    thread::sleep(RINGS_OUT);
    Ok(())
}

fn build<T: SizedSample + FromSample<f32>>(
    device: &cpal::Device,
    config: cpal::StreamConfig,
    (mut samples, ends, over): (Samples, Arc<AtomicBool>, Arc<AtomicBool>),
) -> Result<cpal::Stream, cpal::Error> {
    let channels = usize::from(config.channels).max(1);
    let gone = over.clone();
    device.build_output_stream::<T, _, _>(
        config,
        move |data, _| {
            for frame in data.chunks_mut(channels) {
                let next = samples.next(ends.load(Ordering::Relaxed));
                if next.is_none() {
                    over.store(true, Ordering::Relaxed);
                }
                frame.fill(T::from_sample_(next.unwrap_or_default()));
            }
        },
        // Whatever else has become of the output, a tone is soon begun anew.
        move |why| match why.kind() {
            ErrorKind::RealtimeDenied | ErrorKind::Xrun => {}
            _ => gone.store(true, Ordering::Relaxed),
        },
        None,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: u32 = 48_000;

    fn samples(seconds: f64, ends_at_s: f64) -> Vec<f32> {
        let mut samples = Samples::new(Hz::new(440.0).expect("hertz"), RATE);
        let count = (seconds * f64::from(RATE)) as u32;
        let ends_at = (ends_at_s * f64::from(RATE)) as u32;
        (0..count).map_while(|at| samples.next(at >= ends_at)).collect()
    }

    #[test]
    fn a_tone_begins_softly_never_gets_loud_and_is_the_pitch_that_was_asked_for() {
        let sound = samples(2.0, 9.0);
        let most = |sound: &[f32]| sound.iter().fold(0.0_f32, |most, sample| most.max(sample.abs()));
        assert!(
            most(&sound[..480]) < 0.003,
            "the first hundredth of a second is next to nothing"
        );
        assert!(most(&sound) <= LEVEL as f32 && most(&sound[48_000..]) > 0.055);
        let rises = sound[48_000..]
            .windows(2)
            .filter(|pair| pair[0] < 0.0 && pair[1] >= 0.0);
        assert!(rises.count().abs_diff(440) <= 1);
    }

    #[test]
    fn it_fades_when_it_is_let_go_and_after_half_a_minute_by_itself() {
        for (sound, lasts_s) in [
            (samples(9.0, 1.0), 1.4),
            (samples(60.0, 99.0), 30.4),
            (samples(9.0, 0.1), 0.2),
        ] {
            let seconds = sound.len() as f64 / f64::from(RATE);
            assert!((seconds - lasts_s).abs() < 0.01, "{seconds} s");
            let steps = sound.windows(2).map(|pair| (pair[1] - pair[0]).abs());
            // A full wave of 440 hertz changes by 0.0035 from one sample to the next, and nothing clicks.
            assert!(steps.fold(0.0, f32::max) < 0.0036);
            assert!(sound.last().expect("a sample").abs() < 0.001);
        }
    }
}
