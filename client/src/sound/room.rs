//! How loud the room is beside the strings.
//!
//! A string fills narrow lines of the spectrum, and so do the strings that still ring; voices, instruments and air fill
//! what lies between.

use std::collections::VecDeque;
use std::sync::Arc;

use consort_proto::SampleRate;
use consort_transform::{Complex, RealToComplex};

/// Compares what lies between the lines with the plucks.
pub(crate) struct Room {
    transform: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    /// Sum of the squares of the window.
    weight: f64,
    samples: Vec<f32>,
    filled: usize,
    windowed: Vec<f32>,
    spectrum: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    /// First bin of each band, and the bin after the last one.
    edges: Vec<usize>,
    powers: Vec<f32>,
    sorted: Vec<f64>,
    /// Length of a span, and when the last one ended, in seconds.
    span_s: f64,
    now_s: f64,
    /// When each of the last spans ended, and the level between its lines, decibels below full scale.
    floors: VecDeque<(f64, f64)>,
    /// When each of the last sounds began.
    onsets: VecDeque<f64>,
    /// When each of the last plucks began, and the level between the lines beside its own, in decibels.
    ratios: VecDeque<(f64, f64)>,
    loud: bool,
}

/// A span is about this long: lines 12 Hz apart, less than the lowest string's, leave room between them.
const SPAN_S: f64 = 0.34;
/// What a room fills; below are rumble and hum, above is hardly anything that disturbs.
const LOW_HZ: f64 = 200.0;
const HIGH_HZ: f64 = 6_000.0;
/// Bands of a third of an octave: as wide as noise is even, as narrow as it is not.
const BAND_RATIO: f64 = 1.26;
/// This share of a band's bins lies between lines, even under the lowest strings.
const BETWEEN: f64 = 0.2;
/// That quantile of noise's power as a share of its mean, −ln(1 − 0.2): the power of a bin is distributed exponentially.
const QUANTILE_OF_MEAN: f64 = 0.223;
/// Spans and plucks that are looked back on, and how old a pluck may be in seconds.
const SPANS: usize = 12;
const PLUCKS: usize = 8;
/// More sounds than begin while one pluck is heard.
const ONSETS: usize = 16;
const PLUCK_AGE_S: f64 = 20.0;
/// The attack fills all of the spectrum for so long; a pluck that something else follows within the longer
/// time tells nothing of the room.
const ATTACK_S: f64 = 0.1;
const ALONE_S: f64 = 1.2;
/// So many plucks are needed before the room is judged.
const PLUCKS_MIN: usize = 4;
/// A room this many decibels below the plucks is too loud, and it has to fall lower again to be quiet enough.
///
/// Over four and more of the recordings it measures −9 to −11 with a room 3 dB below the string, −15 and less with one
/// 10 dB below, and −25 and less without one.
const LOUD_DB: f64 = -13.0;
const QUIET_DB: f64 = -16.0;

impl Room {
    pub(crate) fn new(rate: SampleRate) -> Self {
        let rate = f64::from(rate.get());
        let len = ((SPAN_S * rate) as usize).next_power_of_two().max(64);
        let transform = consort_transform::single(len);
        let window: Vec<f32> = (0..len).map(|n| blackman(n as f64 / len as f64) as f32).collect();
        let bin = |hz: f64| ((hz * len as f64 / rate) as usize).min(len / 2);
        let bands = (HIGH_HZ / LOW_HZ).ln() / BAND_RATIO.ln();
        let mut edges: Vec<usize> = (0..=bands as i32).map(|n| bin(LOW_HZ * BAND_RATIO.powi(n))).collect();
        edges.dedup();
        Self {
            weight: window.iter().map(|w| f64::from(w * w)).sum(),
            samples: vec![0.0; len],
            filled: 0,
            windowed: transform.make_input_vec(),
            spectrum: transform.make_output_vec(),
            scratch: transform.make_scratch_vec(),
            powers: Vec::with_capacity(len / 2 + 1),
            sorted: Vec::with_capacity(SPANS.max(PLUCKS)),
            floors: VecDeque::with_capacity(SPANS),
            onsets: VecDeque::with_capacity(ONSETS),
            ratios: VecDeque::with_capacity(PLUCKS),
            span_s: len as f64 / rate,
            now_s: 0.0,
            loud: false,
            transform,
            window,
            edges,
        }
    }

    /// Takes the next samples.
    pub(crate) fn push(&mut self, mut samples: &[f32]) {
        while !samples.is_empty() {
            let count = samples.len().min(self.samples.len() - self.filled);
            let (now, later) = samples.split_at(count);
            self.samples[self.filled..self.filled + count].copy_from_slice(now);
            self.filled += count;
            samples = later;
            if self.filled == self.samples.len() {
                self.filled = 0;
                let floor = self.floor_dbfs();
                self.now_s += self.span_s;
                remember(&mut self.floors, (self.now_s, floor), SPANS);
            }
        }
    }

    /// Something began to sound at `onset_s`, in seconds from the start of the sound.
    pub(crate) fn onset(&mut self, onset_s: f64) {
        remember(&mut self.onsets, onset_s, ONSETS);
    }

    /// A string was plucked at `onset_s`, had this level over its first tenth of a second, and was heard until `until_s`.
    pub(crate) fn pluck(&mut self, onset_s: f64, until_s: f64, level_dbfs: f64) {
        // In a run or in music every span holds another attack, which fills the space between the lines too.
        let alone_s = onset_s + ATTACK_S..onset_s + ALONE_S;
        if until_s < alone_s.end || self.onsets.iter().any(|at| alone_s.contains(at)) {
            return;
        }
        let of_pluck = |&&(end_s, _): &&(f64, f64)| end_s - self.span_s >= onset_s + ATTACK_S && end_s <= until_s;
        let floors = self.floors.iter().filter(of_pluck).map(|(_, floor)| *floor);
        if let Some(floor) = median(&mut self.sorted, floors) {
            remember(&mut self.ratios, (onset_s, floor - level_dbfs), PLUCKS);
        }
    }

    /// How loud the room is beside the plucks, in decibels, negative when softer; `None` before enough is known.
    fn beside_plucks_db(&mut self) -> Option<f64> {
        let since_s = self.now_s - PLUCK_AGE_S;
        while self.ratios.front().is_some_and(|(onset, _)| *onset < since_s) {
            self.ratios.pop_front();
        }
        if self.ratios.len() < PLUCKS_MIN {
            return None;
        }
        median(&mut self.sorted, self.ratios.iter().map(|(_, ratio)| *ratio))
    }

    /// Whether the room is too loud to read strings in.
    pub(crate) fn is_loud(&mut self) -> bool {
        let beside = self.beside_plucks_db();
        self.loud = beside.is_some_and(|db| db > if self.loud { QUIET_DB } else { LOUD_DB });
        self.loud
    }

    /// The level of what lies between the lines in the span that is complete.
    fn floor_dbfs(&mut self) -> f64 {
        for ((to, from), w) in self.windowed.iter_mut().zip(&self.samples).zip(&self.window) {
            // Drivers hand out what is no number when a cable is pulled.
            *to = if from.is_finite() {
                from.clamp(-4.0, 4.0) * w
            } else {
                0.0
            };
        }
        let done = self
            .transform
            .process_with_scratch(&mut self.windowed, &mut self.spectrum, &mut self.scratch);
        if done.is_err() {
            return f64::NEG_INFINITY;
        }
        let mut power = 0.0;
        for band in self.edges.windows(2) {
            self.powers.clear();
            self.powers
                .extend(self.spectrum[band[0]..band[1]].iter().map(Complex::norm_sqr));
            let place = (self.powers.len() as f64 * BETWEEN) as usize;
            let (_, between, _) = self.powers.select_nth_unstable_by(place, f32::total_cmp);
            power += f64::from(*between) / QUANTILE_OF_MEAN * (band[1] - band[0]) as f64;
        }
        10.0 * (2.0 * power / self.weight / self.samples.len() as f64 + 1e-20).log10()
    }
}

/// Side lobes 58 dB down and falling, so that a line does not fill the space beside it.
fn blackman(x: f64) -> f64 {
    let turn = std::f64::consts::TAU * x;
    0.42 - 0.5 * turn.cos() + 0.08 * (2.0 * turn).cos()
}

fn remember<T>(past: &mut VecDeque<T>, new: T, most: usize) {
    if past.len() == most {
        past.pop_front();
    }
    past.push_back(new);
}

fn median(sorted: &mut Vec<f64>, values: impl Iterator<Item = f64>) -> Option<f64> {
    sorted.clear();
    sorted.extend(values);
    sorted.sort_unstable_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied()
}
