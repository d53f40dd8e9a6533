//! Inputs as the system's own interface offers them: ALSA, or what macOS and Windows have in its place.

use std::time::Duration;

use consort_proto::SampleRate;
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{ErrorKind, FromSample, SampleFormat, SizedSample};

use crate::sound::capture::{Pieces, in_ring};
use crate::sound::input::{Input, InputError};
use crate::sound::kind::Kind;
use crate::sound::signals::{Inlet, Signals};

/// A stream that goes on until it is dropped.
pub(crate) struct CardStream(#[expect(dead_code, reason = "held, so that it goes on")] cpal::Stream);

/// ALSA lists these beside real inputs; the first gives silence, the next look for programs that are not there and
/// complain on the screen, the others only change what another input gives.
const NO_INPUTS: &[&str] = &[
    "null",
    "jack",
    "oss",
    "a52",
    "lavrate",
    "samplerate",
    "speex",
    "speexrate",
    "upmix",
    "vdownmix",
];
/// Calms a system that repeats its error in a tight loop.
const ERROR_PAUSE: Duration = Duration::from_millis(5);

/// Every input that can be opened, the system's own choice first.
pub(crate) fn inputs() -> Vec<Input> {
    let _quiet = quiet();
    let host = cpal::default_host();
    let default = host.default_input_device();
    let default_name = default.as_ref().and_then(name_of);
    let others = host.devices().into_iter().flatten();
    let mut inputs: Vec<Input> = Vec::new();
    for device in default.into_iter().chain(others) {
        if let Some(mut input) = describe(&device)
            && !inputs.iter().any(|known| known.name == input.name)
        {
            input.default = Some(&input.name) == default_name.as_ref();
            inputs.push(input);
        }
    }
    inputs
}

/// Opens the input called `name` as the system has it set.
pub(crate) fn open(name: &str) -> Result<Pieces<CardStream>, InputError> {
    let (device, input) = find(name)?;
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
    let (inlet, ring, signals) = in_ring(rate, channels);
    let config = supported.config();
    let heard = signals.clone();
    let stream = match supported.sample_format() {
        SampleFormat::F32 => build::<f32>(&device, config, inlet, heard),
        SampleFormat::I16 => build::<i16>(&device, config, inlet, heard),
        SampleFormat::I24 => build::<cpal::I24>(&device, config, inlet, heard),
        SampleFormat::I32 => build::<i32>(&device, config, inlet, heard),
        SampleFormat::U8 => build::<u8>(&device, config, inlet, heard),
        SampleFormat::U16 => build::<u16>(&device, config, inlet, heard),
        SampleFormat::I8 => build::<i8>(&device, config, inlet, heard),
        SampleFormat::F64 => build::<f64>(&device, config, inlet, heard),
        _ => Err(ErrorKind::UnsupportedConfig.into()),
    };
    let stream = stream.map_err(not_opened)?;
    stream.play().map_err(not_opened)?;
    Ok(Pieces {
        stream: CardStream(stream),
        ring,
        signals,
        rate,
        channels,
        kind: input.kind,
    })
}

fn build<T: SizedSample>(
    device: &cpal::Device,
    config: cpal::StreamConfig,
    mut inlet: Inlet,
    signals: std::sync::Arc<Signals>,
) -> Result<cpal::Stream, cpal::Error>
where
    f32: FromSample<T>,
{
    device.build_input_stream::<T, _, _>(
        config,
        move |data, _| inlet.take(data.iter().map(|&sample| f32::from_sample_(sample))),
        move |why| match why.kind() {
            // A stream that was led to another input has lost its own.
            ErrorKind::DeviceNotAvailable | ErrorKind::StreamInvalidated | ErrorKind::DeviceChanged => signals.go(),
            // The stream goes on: nothing was lost, or what was lost is part of the sound.
            ErrorKind::RealtimeDenied | ErrorKind::Xrun => {}
            _ => {
                signals.stumble();
                std::thread::sleep(ERROR_PAUSE);
            }
        },
        None,
    )
}

/// The input called `name`; by its own name before the system's choice, which would follow to another one.
fn find(name: &str) -> Result<(cpal::Device, Input), InputError> {
    let _quiet = quiet();
    let host = cpal::default_host();
    let others = host.devices().into_iter().flatten();
    others
        .chain(host.default_input_device())
        .filter(|device| name_of(device).as_deref() == Some(name))
        .find_map(|device| describe(&device).map(|input| (device, input)))
        .ok_or_else(|| InputError::unknown(name))
}

/// `None` for what cannot be opened for hearing.
fn describe(device: &cpal::Device) -> Option<Input> {
    let name = name_of(device)?;
    // Asked before anything is opened: opening is what they complain about.
    let kind = name.split(':').next().unwrap_or_default();
    if NO_INPUTS.contains(&kind) {
        return None;
    }
    let config = device.default_input_config().ok()?;
    let description = device.description().map(|text| text.name().to_owned());
    let description = description.unwrap_or_else(|_| name.clone());
    Some(Input {
        kind: Kind::of(&name, &description, config.sample_rate()),
        description,
        name,
        rate: config.sample_rate(),
        channels: config.channels(),
        default: false,
    })
}

fn name_of(device: &cpal::Device) -> Option<String> {
    Some(device.id().ok()?.id().to_owned())
}

/// While it is held, ALSA keeps to itself what it tries and does not find.
#[cfg(target_os = "linux")]
pub(crate) fn quiet() -> impl Sized {
    alsa::Output::local_error_handler()
}

/// Nothing talks elsewhere.
#[cfg(not(target_os = "linux"))]
pub(crate) const fn quiet() {}
