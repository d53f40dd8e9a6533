//! From the input's rate to the working rate: makes samples finite, removes what does not vibrate, thins them out.

use consort_proto::SampleRate;

use crate::window::kaiser;

/// Lowest working rate where the input allows it, samples per second: partials up to 6 kHz pass, and there are none
/// above that help: the first partial of the shortest string is at 3 kHz, and it has the highest.
const WORKING_RATE_MIN: u32 = 14_700;

/// Half the length of the filter in output samples; with [`KAISER_BETA`] the band from 0.6 of the working rate up is
/// damped by 80 dB, so that what folds back below 0.4 of it is.
const HALF_LENGTH: usize = 13;
/// Shape of the filter's window for 80 dB, by Kaiser's formula 0.1102·(A − 8.7).
const KAISER_BETA: f64 = 7.86;

/// Below this frequency nothing of a harp sounds, hertz; the lowest string has 30.9.
const DC_CORNER_HZ: f64 = 4.0;

/// Larger samples than this, full scale being 1, come from a broken driver and count as silence, as those that are no
/// number do.
pub(crate) const SAMPLE_MAX: f32 = 8.0;

/// Turns input samples into working samples.
pub(crate) struct Decimator {
    factor: usize,
    taps: Vec<f32>,
    /// The last `taps.len()` inputs, written twice so that they always lie in one piece.
    line: Vec<f32>,
    at: usize,
    phase: usize,
    last_in: Option<f64>,
    last_out: f64,
    leak: f64,
}

impl Decimator {
    pub(crate) fn new(rate: SampleRate) -> Self {
        let factor = (rate.get() / WORKING_RATE_MIN).max(1) as usize;
        let taps = if factor == 1 { vec![1.0] } else { low_pass(factor) };
        Self {
            factor,
            line: vec![0.0; 2 * taps.len()],
            taps,
            at: 0,
            phase: 0,
            last_in: None,
            last_out: 0.0,
            leak: (-std::f64::consts::TAU * DC_CORNER_HZ / f64::from(rate.get())).exp(),
        }
    }

    /// How many input samples make one working sample.
    pub(crate) fn factor(&self) -> usize {
        self.factor
    }

    /// By how many input samples a working sample lags behind the sound.
    pub(crate) fn delay(&self) -> usize {
        (self.taps.len() - 1) / 2
    }

    /// Takes one input sample; every `factor` of them give one working sample.
    pub(crate) fn push(&mut self, sample: f32) -> Option<f32> {
        let finite = if sample.abs() <= SAMPLE_MAX { sample } else { 0.0 };
        let input = f64::from(finite);
        let before = self.last_in.replace(input).unwrap_or(input);
        self.last_out = input - before + self.leak * self.last_out;
        let len = self.taps.len();
        self.line[self.at] = self.last_out as f32;
        self.line[self.at + len] = self.last_out as f32;
        self.at = (self.at + 1) % len;
        self.phase += 1;
        if self.phase < self.factor {
            return None;
        }
        self.phase = 0;
        Some(dot(&self.line[self.at..self.at + len], &self.taps))
    }
}

/// Σ aᵢ·bᵢ in eight lanes, the order of additions fixed.
pub(crate) fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut lanes = [0.0_f32; 8];
    let (a8, b8) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f32 = a8.remainder().iter().zip(b8.remainder()).map(|(x, y)| x * y).sum();
    for (x, y) in a8.zip(b8) {
        for lane in 0..8 {
            lanes[lane] += x[lane] * y[lane];
        }
    }
    lanes.iter().sum::<f32>() + rest
}

fn low_pass(factor: usize) -> Vec<f32> {
    let half = (HALF_LENGTH * factor) as isize;
    let cutoff = 0.5 / factor as f64;
    let window = kaiser(2 * half as usize + 1, KAISER_BETA);
    let raw: Vec<f64> = (-half..=half)
        .zip(window)
        .map(|(n, w)| {
            let x = std::f64::consts::PI * 2.0 * cutoff * n as f64;
            let sinc = if n == 0 { 1.0 } else { x.sin() / x };
            sinc * w
        })
        .collect();
    let sum: f64 = raw.iter().sum();
    raw.iter().map(|tap| (tap / sum) as f32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Level of a tone after decimation, in decibels relative to before.
    fn gain_db(rate: u32, hz: f64) -> f64 {
        let mut decimator = Decimator::new(SampleRate::new(rate).expect("rate"));
        let step = std::f64::consts::TAU * hz / f64::from(rate);
        let out: Vec<f32> = (0..rate)
            .filter_map(|n| decimator.push((step * f64::from(n)).sin() as f32))
            .collect();
        let tail = &out[out.len() / 2..];
        10.0 * (2.0 * tail.iter().map(|x| f64::from(x * x)).sum::<f64>() / tail.len() as f64).log10()
    }

    #[test]
    #[rustfmt::skip]
    fn what_sounds_passes_and_what_would_fold_back_does_not() {
        for (rate, hz, low, high) in [
            // rate     tone/Hz  from/dB  to/dB
            ( 48_000,      31.0,   -0.2,    0.0), // The lowest string.
            ( 48_000,    5000.0,   -0.1,    0.1),
            ( 48_000,   10000.0, -300.0,  -75.0), // Would fold back to 6,000 Hz.
            ( 48_000,   15000.0, -300.0,  -75.0),
            ( 44_100,    5000.0,   -0.1,    0.1),
            (192_000,    5000.0,   -0.1,    0.1),
            (192_000,   15000.0, -300.0,  -75.0),
            (  8_000,    3000.0,   -0.1,    0.1),
        ] {
            let gain = gain_db(rate, hz);
            assert!((low..=high).contains(&gain), "{hz} Hz at {rate}: {gain} dB");
        }
    }

    #[test]
    fn broken_samples_become_silence() {
        let mut decimator = Decimator::new(SampleRate::STUDIO);
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 1e30] {
            for _ in 0..1000 {
                assert!(decimator.push(bad).is_none_or(f32::is_finite));
            }
        }
    }
}
