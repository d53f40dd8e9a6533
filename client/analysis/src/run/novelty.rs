//! Where a string is plucked while many others ring: how much of the spectrum, line by line, was not there before.

use std::ops::Range;

use crate::history::History;
use crate::moment::{span, steepest_of};
use crate::spectrum::Spectrum;
use crate::window::hann;

/// A frame is this long, seconds, so that lines of 20 Hz apart are seen apart.
const FRAME_S: f64 = 0.1;
/// It is compared with one that ends this long before it begins, seconds.
const GAP_S: f64 = 0.01;
/// The band that is looked at, hertz.
const BAND_HZ: (f64, f64) = (40.0, 6000.0);
/// Lines of the earlier frame may lie this many resolution cells beside those of the newer one, and have grown this much in
/// power: two strings that ring side by side swell by themselves.
const REACH_CELLS: f64 = 0.75;
const SWELLS_BY: f32 = 1.2;
/// What is this much weaker than the strongest line is noise, as a ratio of powers; and so is less than −120 dB of full scale.
const NOISE: f32 = 1e-6;
const NOISE_LEAST: f32 = 1e-12;
/// The novelty of a pluck is at least this.
const NEW: f32 = 0.045;
/// Two plucks lie further apart than this many hops.
const APART_HOPS: usize = 5;
/// All frames that begin from then on until the earlier one reaches the pluck show it alike, and low strings swell while they do:
/// so the moment is told by where novelty has risen half of its way to the most, looked for over so many hops.
const RISES_HOPS: usize = 12;
/// It has when the pluck lies after this share of the frame.
const HALF_AT: f64 = 0.62;
/// The exact moment lies so far around there, seconds.
const AROUND_S: (f64, f64) = (0.03, 0.03);
/// How many hops are remembered.
const HOPS: usize = RISES_HOPS + 1 + APART_HOPS;
/// Sound that is fainter than this mean power is none: −90 dB of full scale.
const POWER_MIN: f32 = 1e-9;

/// Watches for plucks, hop by hop.
///
/// Each line counts by the root of its amplitude, between its amplitude, by which loud strings would hide the others, and its
/// logarithm, by which noise would be news. At 4 and 6 plucks a second over harps built from recordings all but 2 of 751 plucks
/// were found, with 26 that were none, which are left to what is weighed.
pub(crate) struct Novelty {
    rate: f64,
    hop: usize,
    spectrum: Spectrum,
    window: Vec<f32>,
    power: Vec<f32>,
    /// First bin, and how many there are.
    first: usize,
    bins: usize,
    /// How far lines may move, in bins.
    reach: usize,
    /// Frames of the past, each line as much as the strongest within reach of it; a ring.
    past: Vec<f32>,
    frames: usize,
    seen: u64,
    /// How new the newest frames were, newest last.
    newest: [f32; HOPS],
}

impl Novelty {
    /// `hop` working samples lie between looks.
    pub(crate) fn new(rate: f64, hop: usize) -> Self {
        let window = hann((FRAME_S * rate) as usize);
        let size = window.len().next_power_of_two();
        let spectrum = Spectrum::new(size);
        let bin_hz = rate / size as f64;
        let first = (BAND_HZ.0 / bin_hz) as usize;
        let bins = ((BAND_HZ.1 / bin_hz) as usize).min(spectrum.bins()) - first;
        let frames = ((FRAME_S + GAP_S) * rate / hop as f64).round() as usize;
        Self {
            rate,
            hop,
            power: vec![0.0; spectrum.bins()],
            spectrum,
            window,
            first,
            bins,
            reach: (REACH_CELLS / FRAME_S / bin_hz).ceil() as usize,
            past: vec![0.0; frames * bins],
            frames,
            seen: 0,
            newest: [0.0; HOPS],
        }
    }

    /// Nothing was heard before.
    pub(crate) fn begin(&mut self) {
        self.seen = 0;
        self.newest = [0.0; HOPS];
    }

    /// Looks at the sound up to now, one hop after the last look; gives the sample at which a string was plucked, and how
    /// new it is, as a share of the sound.
    pub(crate) fn look(&mut self, history: &History) -> Option<(u64, f64)> {
        let len = self.window.len();
        let frame = history.slice(history.count().checked_sub(len as u64)?, len)?;
        self.spectrum.power(frame, &self.window, &mut self.power);
        let now = &self.power[self.first..self.first + self.bins];
        let at = (self.seen % self.frames as u64) as usize * self.bins;
        let before = &mut self.past[at..at + self.bins];
        let strongest = now.iter().copied().fold(0.0, f32::max);
        let noise = (NOISE * strongest).max(NOISE_LEAST);
        let (mut new, mut all) = (0.0, 0.0);
        for (power, before) in now.iter().zip(&*before) {
            let (weight, rang) = (root(power + noise), root(SWELLS_BY * before + noise));
            new += (weight - rang).max(0.0);
            all += weight;
        }
        let known = self.seen >= self.frames as u64 && strongest > POWER_MIN;
        self.newest.rotate_left(1);
        self.newest[HOPS - 1] = if known { new / all } else { 0.0 };
        for (bin, before) in before.iter_mut().enumerate() {
            let near = &now[bin.saturating_sub(self.reach)..(bin + self.reach + 1).min(now.len())];
            *before = near.iter().copied().fold(0.0, f32::max);
        }
        self.seen += 1;
        let middle = self.newest[RISES_HOPS];
        let earlier = &self.newest[RISES_HOPS - APART_HOPS..RISES_HOPS];
        let later = &self.newest[RISES_HOPS + 1..];
        let is_most = earlier.iter().all(|other| *other < middle) && later.iter().all(|other| *other <= middle);
        if middle < NEW || !is_most {
            return None;
        }
        let since = (HOPS - 1) as f64 - half_way(&self.newest[..=RISES_HOPS]);
        let half_way = (history.count() - len as u64) as f64 - since * self.hop as f64;
        let about = (half_way + HALF_AT * FRAME_S * self.rate) as u64;
        let [before, after] = [AROUND_S.0, AROUND_S.1].map(|s| (s * self.rate) as u64);
        let range = about.saturating_sub(before)..about + after;
        Some((sharpest(history, range, self.rate), f64::from(middle)))
    }
}

/// Where, in hops, what rises to the last of `rising` has last been half-way up from the least of it.
fn half_way(rising: &[f32]) -> f64 {
    let least = rising.iter().copied().fold(f32::INFINITY, f32::min);
    let half = 0.5 * (least + rising.last().copied().unwrap_or(least));
    let Some(below) = rising.iter().rposition(|new| *new <= half) else {
        return 0.0;
    };
    let Some(above) = rising.get(below + 1) else {
        return below as f64;
    };
    below as f64 + f64::from((half - rising[below]) / (above - rising[below]))
}

/// The root of an amplitude, from its power.
fn root(power: f32) -> f32 {
    power.sqrt().sqrt()
}

/// The moment within `range` at which the power of what is high grows most from just before to just after.
///
/// Within so short a stretch the power of low strings that ring comes and goes with their vibration; the second difference
/// leaves of it what a pluck adds. In 96 quiet virtual runs 14 readings were more than 60 ms off
/// by the whole power, and one is by this.
fn sharpest(history: &History, range: Range<u64>, rate: f64) -> u64 {
    steepest_of(history, range, rate, |from| {
        let sound = history.slice(from, span(rate) as usize + 2).unwrap_or(&[]);
        let bends = sound.windows(3).map(|x| x[2] - 2.0 * x[1] + x[0]);
        f64::from(bends.map(|bend| bend * bend).sum::<f32>())
    })
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;

    #[test]
    fn the_rise_is_told_by_its_last_way_up_and_not_by_where_the_most_lies() {
        assert!((half_way(&[0.01, 0.01, 0.01, 0.11, 0.12, 0.13, 0.13]) - 2.6).abs() < 1e-3);
        assert!((half_way(&[0.2, 0.1, 0.04, 0.04, 0.06, 0.10, 0.10]) - 4.25).abs() < 1e-3);
        assert_eq!(half_way(&[0.05, 0.05]), 1.0);
    }

    /// A low string rings loudly, and a softer one is plucked.
    #[test]
    fn what_rings_low_hides_no_moment() {
        let rate = 16_000.0;
        for (turn, plucked) in [(0.0, 4_000_u64), (1.0, 4_111), (2.5, 4_217), (4.0, 4_330)] {
            let mut history = History::new(8_000);
            for n in 0..8_000_u64 {
                let low = 0.3 * (TAU * 37.0 * n as f64 / rate + turn).sin();
                let since_s = (n as f64 - plucked as f64) / rate;
                let partial = |n: f64| (TAU * 294.0 * n * since_s).sin() / n;
                let pluck = (1..9).map(f64::from).map(partial).sum::<f64>() * (-since_s * 4.0).exp();
                history.push((low + if since_s < 0.0 { 0.0 } else { 0.02 * pluck }) as f32);
            }
            let found = sharpest(&history, plucked - 600..plucked + 800, rate);
            assert!(found.abs_diff(plucked) < 50, "{found} for {plucked}");
        }
    }
}
