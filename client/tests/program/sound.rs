//! Sound that is made here: plucked strings of exactly known pitch, and files to put them in.

use std::f64::consts::TAU;

/// Middle C with its pedal in flat, at A4 = 440 Hz in equal temperament: 440·2^(−10/12).
pub(crate) const MIDDLE_C_FLAT_HZ: f64 = 246.941_650_628;

/// Two seconds with one pluck at 0.3 s, of `hz` in its first partial; the partials are exact multiples.
pub(crate) fn pluck(hz: f64, rate: u32) -> Vec<f32> {
    let rate = f64::from(rate);
    let sample = |n: u32| {
        let time = f64::from(n) / rate - 0.3;
        if time < 0.0 {
            return 0.0;
        }
        let partials = (1..=8).map(f64::from).filter(|k| k * hz < 0.45 * rate);
        let sum: f64 = partials
            .map(|k| (TAU * k * hz * time).sin() / k * (-time * k.sqrt() / 1.5).exp())
            .sum();
        let (attack, release) = ((time / 0.002).min(1.0), ((1.7 - time) / 0.15).clamp(0.0, 1.0));
        (0.25 * sum * attack * release) as f32
    };
    (0..(2.0 * rate) as u32).map(sample).collect()
}

/// `hz` raised by so many `cents`.
pub(crate) fn raised(hz: f64, cents: f64) -> f64 {
    hz * (cents / 1200.0).exp2()
}

/// Writes a WAV file of `bits` with one list of samples per channel.
pub(crate) fn write_wav(path: &str, rate: u32, bits: u16, channels: &[&[f32]]) {
    let float = bits == 32;
    let spec = hound::WavSpec {
        channels: channels.len() as u16,
        sample_rate: rate,
        bits_per_sample: bits,
        sample_format: if float {
            hound::SampleFormat::Float
        } else {
            hound::SampleFormat::Int
        },
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("create");
    let full = f32::from(2_u8).powi(i32::from(bits) - 1) - 1.0;
    for frame in 0..channels[0].len() {
        for channel in channels {
            let sample = channel[frame];
            let written = if float {
                writer.write_sample(sample)
            } else {
                writer.write_sample((sample * full) as i32)
            };
            written.expect("write");
        }
    }
    writer.finalize().expect("finish");
}
