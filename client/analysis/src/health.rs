//! Whether the input carries sound that can be used: silent, clipped or humming.

use consort_proto::SampleRate;

use crate::heard::Health;

/// The input is judged once per this many seconds.
const SPAN_S: f64 = 0.5;
/// A peak below this, −80 dBFS, over [`SILENT_SPANS`] spans is silence: any open microphone hisses louder.
const SILENT_PEAK: f32 = 1e-4;
const SILENT_SPANS: u32 = 3;
/// This many samples in a row at the same extreme are a cut-off peak.
const FLAT_RUN: u32 = 3;
/// A level below full scale at which converters cut off, and how many cut-off peaks in a span are too many.
const FULL_SCALE: f32 = 0.98;
const CUT_PEAKS_MAX: u32 = 4;
/// Harmonics of the mains that are listened for, and the share of the power that makes a hum.
const HARMONICS: usize = 4;
const HUM_SHARE: f64 = 0.7;
/// So many spans in a row have to hum, at powers within 1.5 dB: a string dies away, the mains do not.
const HUM_SPANS: u32 = 3;
const HUM_STEADY: f64 = 1.41;
/// Hum below this mean power, −70 dBFS, disturbs nobody.
const HUM_POWER_MIN: f64 = 1e-7;

/// Judges the input, sample by sample.
pub(crate) struct HealthWatch {
    span: u32,
    count: u32,
    peak: f32,
    power: f64,
    run: u32,
    run_of: f32,
    cut: u32,
    silent_spans: u32,
    mains: [Mains; 2],
    now: Health,
}

/// One mains frequency: a resonator per harmonic (G. Goertzel, American Mathematical Monthly 65, 1958, 34–35).
struct Mains {
    hz: u8,
    coefficients: [f64; HARMONICS],
    state: [[f64; 2]; HARMONICS],
    last_power: f64,
    spans: u32,
}

impl Mains {
    fn new(hz: u8, rate: f64) -> Self {
        let mut coefficients = [0.0; HARMONICS];
        for (n, coefficient) in coefficients.iter_mut().enumerate() {
            *coefficient = 2.0 * (std::f64::consts::TAU * f64::from(hz) * (n + 1) as f64 / rate).cos();
        }
        Self {
            hz,
            coefficients,
            state: [[0.0; 2]; HARMONICS],
            last_power: 0.0,
            spans: 0,
        }
    }

    fn push(&mut self, sample: f64) {
        for (state, coefficient) in self.state.iter_mut().zip(self.coefficients) {
            let next = sample + coefficient * state[0] - state[1];
            *state = [next, state[0]];
        }
    }

    /// Mean power of all harmonics over the span that ends here.
    fn finish(&mut self, count: f64) -> f64 {
        let mut sum = 0.0;
        for (state, c) in self.state.iter_mut().zip(self.coefficients) {
            let [a, b] = *state;
            sum += (a * a + b * b - c * a * b) * 2.0 / (count * count);
            *state = [0.0; 2];
        }
        sum
    }
}

impl HealthWatch {
    pub(crate) fn new(rate: SampleRate) -> Self {
        let rate = f64::from(rate.get());
        Self {
            span: (SPAN_S * rate) as u32,
            count: 0,
            peak: 0.0,
            power: 0.0,
            run: 0,
            run_of: 0.0,
            cut: 0,
            silent_spans: 0,
            mains: [Mains::new(50, rate), Mains::new(60, rate)],
            now: Health::Good,
        }
    }

    /// Takes one sample of the input; gives the new state when it changed.
    pub(crate) fn push(&mut self, sample: f32) -> Option<Health> {
        let sample = if sample.abs() <= crate::decimate::SAMPLE_MAX {
            sample
        } else {
            0.0
        };
        self.peak = self.peak.max(sample.abs());
        let wide = f64::from(sample);
        self.power += wide * wide;
        if sample.abs() >= FULL_SCALE && sample == self.run_of {
            self.run += 1;
            self.cut += u32::from(self.run == FLAT_RUN);
        } else {
            (self.run, self.run_of) = (1, sample);
        }
        for mains in &mut self.mains {
            mains.push(wide);
        }
        self.count += 1;
        if self.count < self.span {
            return None;
        }
        let health = self.judge();
        let changed = health != self.now;
        self.now = health;
        changed.then_some(health)
    }

    fn judge(&mut self) -> Health {
        let count = f64::from(self.count);
        let power = self.power / count;
        self.silent_spans = if self.peak < SILENT_PEAK {
            self.silent_spans + 1
        } else {
            0
        };
        let cut = self.cut;
        let mut humming = None;
        for mains in &mut self.mains {
            let hum = mains.finish(count);
            let steady = hum < mains.last_power * HUM_STEADY && hum > mains.last_power / HUM_STEADY;
            mains.last_power = hum;
            let loud = hum > HUM_POWER_MIN && hum > HUM_SHARE * power;
            mains.spans = if loud && steady { mains.spans + 1 } else { 0 };
            if mains.spans >= HUM_SPANS {
                humming = Some(mains.hz);
            }
        }
        (self.count, self.peak, self.power, self.cut) = (0, 0.0, 0.0, 0);
        if self.silent_spans >= SILENT_SPANS {
            Health::Silent
        } else if cut > CUT_PEAKS_MAX {
            Health::Clipped
        } else if let Some(hz) = humming {
            Health::Humming(hz)
        } else {
            Health::Good
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The states reported over three seconds of a sound.
    fn states(sound: impl Fn(f64) -> f64) -> Vec<Health> {
        let mut watch = HealthWatch::new(SampleRate::STUDIO);
        (0..144_000)
            .filter_map(|n| watch.push(sound(f64::from(n) / 48_000.0) as f32))
            .collect()
    }

    fn tone(hz: f64, t: f64) -> f64 {
        (std::f64::consts::TAU * hz * t).sin()
    }

    #[test]
    fn an_input_that_carries_nothing_is_silent() {
        assert_eq!(states(|_| 0.0), [Health::Silent]);
        assert_eq!(states(|_| f64::NAN), [Health::Silent]);
    }

    #[test]
    fn peaks_that_are_cut_off_are_clipped() {
        assert_eq!(states(|t| (3.0 * tone(440.0, t)).clamp(-1.0, 1.0)), [Health::Clipped]);
        assert_eq!(states(|t| 0.99 * tone(440.0, t)), []);
    }

    #[test]
    fn a_steady_mains_tone_is_hum_and_a_string_beside_it_is_not() {
        assert_eq!(
            states(|t| 0.1 * tone(50.0, t) + 0.05 * tone(150.0, t)),
            [Health::Humming(50)]
        );
        assert_eq!(states(|t| 0.1 * tone(59.97, t)), [Health::Humming(60)]);
        assert_eq!(states(|t| 0.1 * tone(61.735, t) * (-t).exp()), []);
        assert_eq!(states(|t| 1e-5 * tone(50.0, t) + 2e-4 * tone(700.0, t)), []);
    }
}
