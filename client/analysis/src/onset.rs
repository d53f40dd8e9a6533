//! Where a pluck begins: the moment at which a good part of the sound is new.

use crate::history::History;
use crate::moment::{power_from, span, steepest};
use crate::spectrum::Spectrum;
use crate::window::hann;

/// Length of the frames that are compared, seconds: two periods of the lowest string, whose partials then do not beat
/// within a frame.
const FRAME_S: f64 = 0.064;
/// Bands from 40 Hz to 6 kHz, a little more than a third of an octave each.
const BANDS: usize = 20;
const BAND_LOW_HZ: f64 = 40.0;
const BAND_HIGH_HZ: f64 = 6000.0;
/// How many frames are remembered; the older half is the past that a frame is compared with.
const PAST: usize = 14;
/// Frames nearer than this many hops overlap the newest one too much to be its past.
const NEAR: usize = 5;
/// Share of the sound that has to be new, on a scale of amplitudes.
const NEW_SHARE: f64 = 0.14;
/// By how much that share has to exceed the smallest one since the last onset: one sound begins once.
const RISE: f64 = 0.08;
/// A new onset this soon after the last, seconds, is the same one.
const REFRACTORY_S: f64 = 0.09;
/// Unless it is this many times as strong: then the first was the finger's touch before the pluck.
const PRELUDE_RATIO: f64 = 10.0;
/// The exact moment is looked for so far back, seconds.
const FINE_REACH_S: f64 = 0.075;
/// Mean power below which nothing is an onset: −90 dBFS, under the noise of 16-bit samples with any gain.
const POWER_MIN: f64 = 1e-9;

/// Watches for the beginning of sounds, hop by hop.
pub(crate) struct OnsetDetector {
    rate: f64,
    spectrum: Spectrum,
    window: Vec<f32>,
    power: Vec<f32>,
    /// Bin at which each band begins, and one for the end of the last.
    edges: [usize; BANDS + 1],
    past: [[f64; BANDS]; PAST],
    frames: u64,
    last: Option<u64>,
    /// Power just after the last onset.
    level: f64,
    /// The smallest share since the last onset.
    lowest: f64,
}

impl OnsetDetector {
    pub(crate) fn new(rate: f64) -> Self {
        let len = (FRAME_S * rate) as usize;
        let size = len.next_power_of_two();
        let spectrum = Spectrum::new(size);
        let mut edges = [0; BANDS + 1];
        for (n, edge) in edges.iter_mut().enumerate() {
            let hz = BAND_LOW_HZ * (BAND_HIGH_HZ / BAND_LOW_HZ).powf(n as f64 / BANDS as f64);
            *edge = ((hz / rate * size as f64) as usize).min(spectrum.bins());
        }
        for n in 1..=BANDS {
            edges[n] = edges[n].max(edges[n - 1] + 1).min(spectrum.bins());
        }
        Self {
            rate,
            power: vec![0.0; spectrum.bins()],
            spectrum,
            window: hann(len),
            edges,
            past: [[0.0; BANDS]; PAST],
            frames: 0,
            last: None,
            level: 0.0,
            lowest: 0.0,
        }
    }

    /// Looks at the sound up to now, one hop after the last look; gives the sample at which a new sound began.
    pub(crate) fn look(&mut self, history: &History) -> Option<u64> {
        let len = self.window.len();
        let start = history.count().checked_sub(len as u64)?;
        let frame = history.slice(start, len)?;
        self.spectrum.power(frame, &self.window, &mut self.power);
        let mut now = [0.0; BANDS];
        let mut power = 0.0;
        for (band, level) in now.iter_mut().enumerate() {
            let bins = &self.power[self.edges[band]..self.edges[band + 1].max(self.edges[band])];
            let sum = f64::from(bins.iter().sum::<f32>());
            power += sum;
            // Bands are compared on a scale between amplitude and its root, so that a loud neighbour hides nobody.
            *level = sum.powf(0.35);
        }
        let mut new = 0.0;
        let mut all = 0.0;
        for (band, &level) in now.iter().enumerate() {
            let before = self.past[NEAR..].iter().map(|frame| frame[band]).fold(0.0, f64::max);
            new += (level - before).max(0.0);
            all += level;
        }
        let known = self.frames >= PAST as u64;
        self.frames += 1;
        self.past.rotate_right(1);
        self.past[0] = now;
        let share = if all > 0.0 && known { new / all } else { 0.0 };
        let risen = share >= NEW_SHARE && share >= self.lowest + RISE;
        self.lowest = self.lowest.min(share);
        let loud = power > POWER_MIN;
        let rested = self
            .last
            .is_none_or(|last| (history.count() - last) as f64 > REFRACTORY_S * self.rate);
        if !(loud && (rested && risen || !rested && self.was_prelude(history))) {
            return None;
        }
        let newest = history.count() - span(self.rate);
        let first = newest.saturating_sub((FINE_REACH_S * self.rate) as u64);
        let onset = steepest(history, first..newest, self.rate);
        self.lowest = share;
        self.last = Some(history.count());
        self.level = power_from(history, onset, self.rate);
        Some(onset)
    }

    /// Whether what began a moment ago was only the finger on the string, and its pluck comes now.
    fn was_prelude(&self, history: &History) -> bool {
        power_from(history, history.count() - span(self.rate), self.rate) > PRELUDE_RATIO * self.level
    }
}
