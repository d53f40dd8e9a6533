//! What a pluck added to the sound: the spectral peaks after the onset that were not there before it.

use crate::history::History;
use crate::partials::Followed;
use crate::spectrum::{Spectrum, peak_place};
use crate::window::hann;

/// Lengths of the stretch after the onset that are looked at as the note unfolds, seconds.
pub(crate) const STRETCHES_S: [f64; 10] = [0.04, 0.056, 0.08, 0.112, 0.16, 0.224, 0.288, 0.352, 0.416, 0.5];
/// The sound before the onset is looked at over no more than this, seconds: what is older says little about now.
const BEFORE_S: f64 = 0.23;
/// The stretch before ends this long before the onset, seconds, lest the attack leak into it.
const GUARD_S: f64 = 0.008;
/// The most peaks that are kept.
const PEAKS_MAX: usize = 48;
/// Band in which peaks are looked for, hertz.
const BAND_HZ: (f64, f64) = (26.0, 5800.0);
/// Peaks this far below the strongest, as a ratio of powers (45 dB), say nothing.
const POWER_RATIO_MIN: f32 = 3e-5;
/// A peak has to stand this much above what was there before, as a ratio of powers.
const FRESH_RATIO: f32 = 3.0;
/// A peak weaker than this ratio of powers (26 dB) beside a stronger one is taken for the window's side lobe.
const SIDE_LOBE_RATIO: f32 = 2.5e-3;
/// Side lobes matter within this many resolution cells.
const SIDE_LOBE_CELLS: f64 = 3.5;

/// A peak weaker than this ratio of powers (15 dB) close to a stronger one is taken for its flank: a line that begins
/// suddenly and dies away is wider than the window alone would make it.
const FLANK_RATIO: f32 = 0.03;
/// Flanks reach this share of the frequency and this many resolution cells.
const FLANK_SHARE: f64 = 0.02;
const FLANK_CELLS: f64 = 3.0;
/// Tones of the room are looked for over this share of a frequency to both sides, and have this ratio of powers to what they
/// may reach later; a peak that might be one of them still counts this much.
const ROOM_SHARE: f64 = 0.2;
const ROOM_RATIO: f32 = 0.5;
const FRESH_MIN: f32 = 0.1;
/// What keeps this ratio of its power (−10 dB) after the onset just goes on, as a string does that rings: it says nothing
/// about what the room may do elsewhere.
const GOES_ON_RATIO: f32 = 0.1;
/// Far above this frequency, hertz, strings fade within the time of a look, and what went before says nothing about a room.
const ROOM_TOP_HZ: f64 = 1500.0;
/// Less than this of a peak's power takes nothing away from it.
const ROOM_MATTERS: f32 = 0.02;
/// A line reaches so many resolution cells to both sides.
const OVER_CELLS: f64 = 2.5;
/// Weight of a peak as a power of its relative power: between amplitude (0.5), by which one strong partial would decide
/// alone, and equal weights (0), by which the noise would.
const WEIGHT_POWER: f64 = 0.45;

/// A tone that the pluck added.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Peak {
    pub(crate) hz: f64,
    /// Amplitude, full scale 1.
    pub(crate) amplitude: f64,
    /// How much it counts, 1 for the strongest: a power of its relative level, less what was there before.
    pub(crate) weight: f64,
}

/// Finds the peaks.
pub(crate) struct Evidence {
    rate: f64,
    spectrum: Spectrum,
    windows: Vec<Vec<f32>>,
    after: Vec<f32>,
    before: Vec<f32>,
    peaks: Vec<Peak>,
    /// The strongest power of the last look, and how far to both sides of a bin what was there before may have moved.
    strongest: f32,
    reach: usize,
    /// Power of everything after the onset and of what the peaks explain, both mean squares.
    seconds: f64,
}

impl Evidence {
    pub(crate) fn new(rate: f64) -> Self {
        let longest = STRETCHES_S[STRETCHES_S.len() - 1];
        let spectrum = Spectrum::new(((longest * rate) as usize).next_power_of_two());
        Self {
            rate,
            windows: STRETCHES_S.iter().map(|s| hann((s * rate) as usize)).collect(),
            after: vec![0.0; spectrum.bins()],
            before: vec![0.0; spectrum.bins()],
            spectrum,
            peaks: Vec::with_capacity(PEAKS_MAX),
            strongest: 0.0,
            reach: 0,
            seconds: 0.0,
        }
    }

    /// How many working samples the stretch number `index` has.
    pub(crate) fn stretch(&self, index: usize) -> usize {
        self.windows[index].len()
    }

    /// The peaks found last, strongest first.
    pub(crate) fn peaks(&self) -> &[Peak] {
        &self.peaks
    }

    /// Length of the stretch in which they were found, seconds.
    pub(crate) fn seconds(&self) -> f64 {
        self.seconds
    }

    /// Collects the peaks of stretch number `index` after the sample `onset`; `earlier` is the onset before it, from which on
    /// another sound may have been there, and `over` the partials of what was stopped at the onset, which say nothing.
    pub(crate) fn gather(&mut self, history: &History, onset: u64, earlier: u64, index: usize, over: &[Followed]) {
        self.peaks.clear();
        self.seconds = STRETCHES_S[index];
        let window = &self.windows[index];
        let Some(sound) = history.slice(onset, window.len()) else {
            return;
        };
        self.spectrum.power(sound, window, &mut self.after);
        let end = onset.saturating_sub((GUARD_S * self.rate) as u64);
        let since = |first: u64| (end - first.min(end)) as usize;
        // A sound that began just before is seen best where nothing older is mixed in.
        let alone = since(history.oldest().max(earlier));
        let room = if alone < self.windows[0].len() {
            since(history.oldest())
        } else {
            alone
        };
        let fitting = self.windows[..=index]
            .iter()
            .rposition(|w| w.len() <= room.min((BEFORE_S * self.rate) as usize));
        let before_s = match fitting {
            Some(at) => {
                let window = &self.windows[at];
                if let Some(sound) = history.slice(end - window.len() as u64, window.len()) {
                    self.spectrum.power(sound, window, &mut self.before);
                }
                STRETCHES_S[at]
            }
            None => {
                self.before.fill(0.0);
                self.seconds
            }
        };
        self.forget(over, before_s);
        self.find_peaks(before_s);
    }

    /// Takes out of what was there before what is `over`.
    fn forget(&mut self, over: &[Followed], before_s: f64) {
        let bins = self.before.len();
        let hz_per_bin = self.rate / (2 * (bins - 1)) as f64;
        for followed in over {
            let place = |cells: f64| ((followed.hz + cells / before_s) / hz_per_bin).max(0.0) as usize;
            self.before[place(-OVER_CELLS).min(bins)..(place(OVER_CELLS) + 1).min(bins)].fill(0.0);
        }
    }

    /// How much a peak at `hz` might weigh and still go unseen in what was there before.
    pub(crate) fn masked(&self, hz: f64) -> f64 {
        let bin = (hz / self.rate * (2 * (self.before.len() - 1)) as f64) as usize;
        let there = &self.before
            [bin.saturating_sub(self.reach).min(self.before.len())..(bin + self.reach + 1).min(self.before.len())];
        let there = FRESH_RATIO * there.iter().copied().fold(0.0, f32::max);
        if self.strongest > 0.0 {
            f64::from((there / self.strongest).min(1.0)).powf(WEIGHT_POWER)
        } else {
            0.0
        }
    }

    /// The most power after the onset within `reach` of a bin.
    fn near(&self, bin: usize, reach: usize) -> f32 {
        let near = &self.after[bin.saturating_sub(reach)..(bin + reach + 1).min(self.after.len())];
        near.iter().copied().fold(0.0, f32::max)
    }

    fn find_peaks(&mut self, before_s: f64) {
        let bins = self.after.len();
        let hz_per_bin = self.rate / (2 * (bins - 1)) as f64;
        let first = ((BAND_HZ.0 / hz_per_bin) as usize).max(2);
        let last = ((BAND_HZ.1 / hz_per_bin) as usize).min(bins - 3);
        let cell = 1.0 / self.seconds / hz_per_bin;
        let reach = (0.75 / before_s / hz_per_bin).ceil() as usize;
        let strongest = self.after[first..last].iter().copied().fold(0.0, f32::max);
        (self.strongest, self.reach) = (strongest, reach);
        for bin in first..last {
            let power = self.after[bin];
            if power < strongest * POWER_RATIO_MIN || power <= self.after[bin - 1] || power < self.after[bin + 1] {
                continue;
            }
            let lobe = (SIDE_LOBE_CELLS * cell) as usize;
            let beside = &self.after[bin.saturating_sub(lobe)..(bin + lobe + 1).min(bins)];
            if beside.iter().any(|&p| power < p * SIDE_LOBE_RATIO) {
                continue;
            }
            let flank = (FLANK_SHARE * bin as f64 + FLANK_CELLS * cell) as usize;
            let beside = &self.after[bin.saturating_sub(flank)..(bin + flank + 1).min(bins)];
            if beside.iter().any(|&p| power < p * FLANK_RATIO) {
                continue;
            }
            let there = &self.before[bin.saturating_sub(reach)..(bin + reach + 1).min(bins)];
            let there = there.iter().copied().fold(0.0, f32::max);
            if power < there * FRESH_RATIO {
                continue;
            }
            // What the room did before, it may do again: a tone no louder than its like was nobody's pluck.
            let wide = (ROOM_SHARE * bin as f64) as usize;
            let room = (bin.saturating_sub(wide)..(bin + wide + 1).min(bins)).filter(|&at| {
                // Few bins can change the outcome, so that few are held against what comes after.
                let there = self.before[at];
                there * ROOM_RATIO > power * ROOM_MATTERS && self.near(at, reach) < GOES_ON_RATIO * there
            });
            let top = (bin as f64 * hz_per_bin / ROOM_TOP_HZ).powi(4) as f32;
            let room = ROOM_RATIO / (1.0 + top) * room.map(|at| self.before[at]).fold(0.0, f32::max);
            let fresh = f64::from((1.0 - there / power) * (1.0 - room / power).max(FRESH_MIN));
            let peak = Peak {
                hz: peak_place(&self.after, bin) * hz_per_bin,
                amplitude: f64::from(power).sqrt(),
                weight: fresh * f64::from(power / strongest).powf(WEIGHT_POWER),
            };
            keep(&mut self.peaks, peak);
        }
    }
}

/// Inserts `peak` in order of amplitude, dropping the weakest when there are too many.
fn keep(peaks: &mut Vec<Peak>, peak: Peak) {
    let at = peaks
        .iter()
        .position(|other| other.amplitude < peak.amplitude)
        .unwrap_or(peaks.len());
    if peaks.len() == PEAKS_MAX {
        if at == PEAKS_MAX {
            return;
        }
        peaks.pop();
    }
    peaks.insert(at, peak);
}
