//! The live trace of the input: how loud the last seconds were, so that the harpist sees that her pluck arrives.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use consort_proto::SampleRate;

/// Shared by the ear, which draws it, and the desk, which shows it.
#[derive(Clone, Debug, Default)]
pub(crate) struct Trace(Arc<Mutex<Drawn>>);

#[derive(Debug, Default)]
struct Drawn {
    /// The loudest of each twentieth of a second, oldest first.
    peaks: VecDeque<f32>,
    /// The loudest of the one under way, and the samples that it has.
    peak: f32,
    samples: u32,
}

/// Three seconds are shown, twenty lines to a second.
const LINES: usize = 60;
const LINES_PER_S: u32 = 20;

impl Trace {
    /// Takes the next samples.
    pub(crate) fn push(&self, samples: &[f32], rate: SampleRate) {
        let per_line = rate.get() / LINES_PER_S;
        let mut drawn = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        for sample in samples {
            // What is no number is louder than nothing and no louder than full scale.
            drawn.peak = drawn.peak.max(sample.abs().min(1.0));
            drawn.samples += 1;
            if drawn.samples >= per_line {
                if drawn.peaks.len() == LINES {
                    drawn.peaks.pop_front();
                }
                let peak = drawn.peak;
                drawn.peaks.push_back(peak);
                (drawn.peak, drawn.samples) = (0.0, 0);
            }
        }
    }

    /// The loudest sample of each twentieth of a second, from 0 to 1, oldest first.
    pub(crate) fn peaks(&self) -> Vec<f32> {
        let drawn = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        drawn
            .peaks
            .iter()
            .map(|peak| (peak * 1000.0).round() / 1000.0)
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pluck_stands_out_for_three_seconds_and_no_longer() {
        let rate = SampleRate::new(48_000).expect("a rate");
        let trace = Trace::default();
        trace.push(&[0.5; 2_400], rate);
        assert_eq!(trace.peaks(), [0.5]);
        trace.push(&[f32::NAN; 2_400], rate);
        trace.push(&[-7.0; 2_400], rate);
        assert_eq!(trace.peaks()[1..], [1.0, 1.0]);
        trace.push(&vec![0.0; 2_400 * LINES], rate);
        assert_eq!(trace.peaks(), vec![0.0; LINES]);
    }
}
