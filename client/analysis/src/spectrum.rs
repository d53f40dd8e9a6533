//! Power spectra of stretches of working samples, with every buffer allocated beforehand.

use std::sync::Arc;

use consort_transform::{Complex, RealToComplex};

/// A windowed Fourier transform of fixed length; shorter stretches are padded with zeros.
pub(crate) struct Spectrum {
    transform: Arc<dyn RealToComplex<f32>>,
    input: Vec<f32>,
    output: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
}

impl Spectrum {
    pub(crate) fn new(len: usize) -> Self {
        let transform = consort_transform::single(len);
        Self {
            input: transform.make_input_vec(),
            output: transform.make_output_vec(),
            scratch: transform.make_scratch_vec(),
            transform,
        }
    }

    /// How many bins a spectrum has.
    pub(crate) fn bins(&self) -> usize {
        self.output.len()
    }

    /// Writes the power of `samples` under `window` into `power`, one value per bin: a tone of amplitude A peaks at A².
    ///
    /// `samples` and `window` have the same length, at most that of the transform.
    pub(crate) fn power(&mut self, samples: &[f32], window: &[f32], power: &mut [f32]) {
        let (used, rest) = self.input.split_at_mut(samples.len());
        for ((slot, sample), weight) in used.iter_mut().zip(samples).zip(window) {
            *slot = sample * weight;
        }
        rest.fill(0.0);
        let scale = 2.0 / window.iter().sum::<f32>();
        let done = self
            .transform
            .process_with_scratch(&mut self.input, &mut self.output, &mut self.scratch);
        debug_assert!(done.is_ok(), "the buffers were made for this transform");
        for (slot, bin) in power.iter_mut().zip(&self.output) {
            *slot = bin.norm_sqr() * scale * scale;
        }
    }
}

/// Where exactly the peak at `bin` stands, in bins: by the parabola through the logarithms of the power there and beside it, which
/// has to be neither the first nor the last bin.
pub(crate) fn peak_place(power: &[f32], bin: usize) -> f64 {
    let [left, middle, right] = [bin - 1, bin, bin + 1].map(|bin| f64::from(power[bin].max(1e-30)).ln());
    let curve = left - 2.0 * middle + right;
    let shift = if curve < 0.0 { 0.5 * (left - right) / curve } else { 0.0 };
    bin as f64 + shift
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::window::hann;

    #[test]
    fn a_tone_peaks_at_its_squared_amplitude() {
        let window = hann(600);
        let tone: Vec<f32> = (0..600).map(|n| 0.5 * (0.3 * n as f32).sin()).collect();
        let mut spectrum = Spectrum::new(4096);
        let mut power = vec![0.0; spectrum.bins()];
        spectrum.power(&tone, &window, &mut power);
        let peak = power.iter().max_by(|a, b| a.total_cmp(b)).expect("bins");
        assert!((*peak - 0.25).abs() < 0.003, "{peak}");
        let bin = power.iter().position(|power| power == peak).expect("the peak");
        let place = peak_place(&power, bin);
        let radians = place * std::f64::consts::TAU / 4096.0;
        assert!((radians - 0.3).abs() < 1e-5, "{place}");
        assert!((place - bin as f64).abs() > 0.1, "a tone between two bins");
    }
}
