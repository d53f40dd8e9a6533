//! Live sound: the callback moves samples into a ring and ends; everything else happens on the side that reads.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use consort_proto::SampleRate;
use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{ErrorKind, FromSample, SampleFormat, SizedSample};
use rtrb::{Consumer, Producer, RingBuffer};

use crate::sound::input::{self, InputError};

/// An input that is being heard.
pub(crate) struct Capture {
    /// Held so that the stream goes on.
    _stream: cpal::Stream,
    ring: Consumer<f32>,
    signals: Arc<Signals>,
    watch: Watch,
    sides: Sides,
    rate: SampleRate,
}

/// The input is gone, or so silent about itself that it has to be opened anew.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) struct Gone;

/// What the callbacks leave behind; nothing else may happen in them.
#[derive(Debug, Default)]
struct Signals {
    callbacks: AtomicU64,
    errors: AtomicU64,
    gone: AtomicBool,
    lost: AtomicU64,
}

/// The ring holds this much sound: far more than the reader ever lags, even when the laptop is busy.
const RING_S: f64 = 2.0;
/// With errors and no samples for this long, a stream is dead: some systems repeat an error for ever.
const DEAD_AFTER: Duration = Duration::from_millis(500);
/// Without any samples for this long, it is dead though it reports nothing; the slowest first block comes after 2 s.
const STALLED_AFTER: Duration = Duration::from_secs(5);
/// Calms a system that repeats its error in a tight loop.
const ERROR_PAUSE: Duration = Duration::from_millis(5);

impl Capture {
    /// Opens the input called `name` as the system has it set.
    pub(crate) fn open(name: &str) -> Result<Self, InputError> {
        let device = input::find(name)?;
        let not_opened = |cause: cpal::Error| InputError::NotOpened {
            name: name.to_owned(),
            cause: cause.to_string(),
        };
        let supported = device.default_input_config().map_err(not_opened)?;
        let rate = SampleRate::new(supported.sample_rate()).map_err(|rate| InputError::Rate {
            name: name.to_owned(),
            rate: rate.0,
        })?;
        let channels = usize::from(supported.channels()).max(1);
        let (producer, ring) = RingBuffer::new((f64::from(rate.get()) * RING_S) as usize * channels);
        let signals = Arc::new(Signals::default());
        let config = supported.config();
        let stream = match supported.sample_format() {
            SampleFormat::F32 => build::<f32>(&device, config, producer, &signals),
            SampleFormat::I16 => build::<i16>(&device, config, producer, &signals),
            SampleFormat::I32 => build::<i32>(&device, config, producer, &signals),
            SampleFormat::U8 => build::<u8>(&device, config, producer, &signals),
            SampleFormat::U16 => build::<u16>(&device, config, producer, &signals),
            SampleFormat::I8 => build::<i8>(&device, config, producer, &signals),
            SampleFormat::F64 => build::<f64>(&device, config, producer, &signals),
            _ => Err(ErrorKind::UnsupportedConfig.into()),
        };
        let stream = stream.map_err(not_opened)?;
        stream.play().map_err(not_opened)?;
        Ok(Self {
            _stream: stream,
            ring,
            signals,
            watch: Watch::new(Instant::now()),
            sides: Sides::new(channels, rate),
            rate,
        })
    }

    /// Samples per second.
    pub(crate) const fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Puts what has arrived in place of what `block` held, from the side with the most sound; maybe nothing.
    pub(crate) fn pull(&mut self, block: &mut Vec<f32>) -> Result<(), Gone> {
        block.clear();
        let channels = self.sides.energy.len();
        let count = self.ring.slots() / channels * channels;
        if let Ok(chunk) = self.ring.read_chunk(count) {
            let (first, second) = chunk.as_slices();
            self.sides.pick(first.iter().chain(second), block);
            chunk.commit_all();
        }
        let heard = self.signals.callbacks.load(Ordering::Relaxed);
        let errors = self.signals.errors.load(Ordering::Relaxed);
        if self.signals.gone.load(Ordering::Relaxed) || self.watch.is_dead(Instant::now(), heard, errors) {
            return Err(Gone);
        }
        Ok(())
    }

    /// Samples that found no room in the ring since this was last asked.
    pub(crate) fn take_lost(&self) -> u64 {
        self.signals.lost.swap(0, Ordering::Relaxed)
    }
}

fn build<T: SizedSample>(
    device: &cpal::Device,
    config: cpal::StreamConfig,
    mut ring: Producer<f32>,
    signals: &Arc<Signals>,
) -> Result<cpal::Stream, cpal::Error>
where
    f32: FromSample<T>,
{
    let on_data = signals.clone();
    let on_error = signals.clone();
    let channels = usize::from(config.channels).max(1);
    device.build_input_stream::<T, _, _>(
        config,
        move |data, _| {
            // Whole frames only, so that channels never change places.
            let room = (ring.slots() / channels * channels).min(data.len());
            if let Ok(chunk) = ring.write_chunk_uninit(room) {
                chunk.fill_from_iter(data.iter().map(|&sample| f32::from_sample_(sample)));
            }
            on_data.lost.fetch_add((data.len() - room) as u64, Ordering::Relaxed);
            on_data.callbacks.fetch_add(1, Ordering::Relaxed);
        },
        move |why| match why.kind() {
            ErrorKind::DeviceNotAvailable | ErrorKind::StreamInvalidated => {
                on_error.gone.store(true, Ordering::Relaxed);
            }
            // The stream goes on: nothing was lost, or what was lost is part of the sound.
            ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied | ErrorKind::Xrun => {}
            _ => {
                on_error.errors.fetch_add(1, Ordering::Relaxed);
                std::thread::sleep(ERROR_PAUSE);
            }
        },
        None,
    )
}

/// Tells a dead stream from one that only stumbled.
#[derive(Debug)]
struct Watch {
    callbacks: u64,
    /// When the count of callbacks last grew.
    alive: Instant,
    /// Errors counted by then.
    errors: u64,
}

impl Watch {
    const fn new(now: Instant) -> Self {
        Self {
            callbacks: 0,
            alive: now,
            errors: 0,
        }
    }

    fn is_dead(&mut self, now: Instant, callbacks: u64, errors: u64) -> bool {
        if callbacks != self.callbacks {
            (self.callbacks, self.alive, self.errors) = (callbacks, now, errors);
            return false;
        }
        let quiet = now.saturating_duration_since(self.alive);
        quiet >= STALLED_AFTER || (errors != self.errors && quiet >= DEAD_AFTER)
    }
}

/// The channels of a live input, and which of them is heard.
#[derive(Debug)]
struct Sides {
    energy: Vec<f64>,
    frames: u32,
    /// Frames after which the choice is looked at again.
    span: u32,
    heard: usize,
}

/// Another side must carry this many times the power before it is heard instead, so that the choice does not waver.
const SWITCH_RATIO: f64 = 10.0;

impl Sides {
    fn new(channels: usize, rate: SampleRate) -> Self {
        Self {
            energy: vec![0.0; channels],
            frames: 0,
            span: rate.get(),
            heard: 0,
        }
    }

    fn pick<'a>(&mut self, interleaved: impl Iterator<Item = &'a f32>, block: &mut Vec<f32>) {
        let mut channel = 0;
        for &sample in interleaved {
            self.energy[channel] += f64::from(sample) * f64::from(sample);
            if channel == self.heard {
                block.push(sample);
            }
            channel += 1;
            if channel == self.energy.len() {
                channel = 0;
                self.frames += 1;
                if self.frames == self.span {
                    self.choose();
                }
            }
        }
    }

    fn choose(&mut self) {
        let now = self.energy[self.heard];
        let loudest = (0..self.energy.len()).max_by(|&a, &b| self.energy[a].total_cmp(&self.energy[b]));
        if let Some(other) = loudest.filter(|&other| self.energy[other] > now * SWITCH_RATIO) {
            self.heard = other;
        }
        self.energy.fill(0.0);
        self.frames = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stream_is_dead_after_errors_without_sound_or_a_long_silence_of_its_own() {
        let start = Instant::now();
        let mut watch = Watch::new(start);
        for (ms, callbacks, errors, dead) in [
            (10, 1, 0, false),
            (400, 1, 5, false),
            // A late block after errors: it only stumbled.
            (450, 2, 9, false),
            (900, 2, 9, false),
            (1_000, 2, 10, true),
            (5_440, 2, 9, false),
            (5_450, 2, 9, true),
        ] {
            let now = start + Duration::from_millis(ms);
            assert_eq!(watch.is_dead(now, callbacks, errors), dead, "at {ms} ms");
        }
    }

    #[test]
    fn the_side_with_the_pickup_is_heard_and_an_even_pair_does_not_waver() {
        let rate = SampleRate::new(8_000).expect("rate");
        let mut sides = Sides::new(2, rate);
        let mut block = Vec::new();
        let second = |left: f32, right: f32| -> Vec<f32> {
            (0..16_000).map(|n| if n % 2 == 0 { left } else { right }).collect()
        };
        sides.pick(second(0.0, 0.5).iter(), &mut block);
        assert_eq!(block, vec![0.0; 8_000]);
        for (left, right, heard) in [(0.0, 0.5, 0.5), (0.6, 0.5, 0.5), (0.6, 0.5, 0.5)] {
            block.clear();
            sides.pick(second(left, right).iter(), &mut block);
            assert!(block.iter().all(|&sample| sample == heard), "{left} {right}");
        }
    }
}
