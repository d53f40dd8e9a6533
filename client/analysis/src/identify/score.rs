//! How well the partials that a string would have explain what was added by a pluck.

use crate::character::{expected_stiffness, partial_ratio};
use crate::evidence::Evidence;
use crate::fit::CENT;

/// Partials above this number are not counted on.
const PARTIAL_MAX: usize = 40;
/// Width of a peak's frequency error in resolution cells, and in cents.
const PEAK_CELLS: f64 = 0.12;
const PEAK_CENTS: f64 = 4.0;
/// A peak that is so many widths off its place explains nothing: exp(−½·6²) is a hundred-millionth.
const MISS_MAX: f64 = 6.0;
/// The stiffness of a string is known to about this share of itself.
const STIFFNESS_SHARE: f64 = 0.6;
/// What a missing partial costs relative to what a found one of the same weight earns.
const MISSING: f64 = 0.7;
/// A partial should have this share of the weight of its strongest neighbours up to two places away, and of the strongest
/// of all higher ones: partials of a pluck grow weaker upwards, on the whole.
const NEIGHBOURS: f64 = 0.35;
const HIGHER: f64 = 0.4;
/// A partial so many resolution cells from a peak cannot be told from it: a soundboard that is struck has tones of its own.
const HIDDEN_CELLS: f64 = 0.6;
/// The highest partial that is missed.
const MISSED_PARTIAL_MAX: usize = 10;
/// Below this frequency, hertz, pickups and soundboards are weak, so that a partial is missed less.
const WEAK_BELOW_HZ: f64 = 160.0;

/// The partials that a string at `hz` would have.
pub(super) struct Comb {
    pub(super) hz: f64,
    /// How long the look was in which the peaks were found.
    pub(super) seconds: f64,
}

impl Comb {
    /// How well the comb explains the peaks, 1 at most, and the pitch that the explained peaks agree on.
    pub(super) fn score(&self, evidence: &Evidence) -> (f64, f64) {
        let peaks = evidence.peaks();
        let stiffness = expected_stiffness(self.hz);
        let mut found = [0.0_f64; PARTIAL_MAX + 1];
        let (mut explained, mut all) = (0.0, 0.0);
        let (mut pull, mut pulling) = (0.0, 0.0);
        for peak in peaks {
            all += peak.weight;
            let Some((n, should)) = self.nearest(peak.hz, stiffness) else {
                continue;
            };
            let stretch = 865.6 * STIFFNESS_SHARE * stiffness * (n * n) as f64;
            let cents = (PEAK_CENTS * PEAK_CENTS + stretch * stretch).sqrt();
            let (cells, wide) = (PEAK_CELLS / self.seconds, should * cents * CENT);
            let width = (cells * cells + wide * wide).sqrt();
            let miss = (peak.hz - should) / width;
            if miss.abs() > MISS_MAX {
                continue;
            }
            let hit = (-0.5 * miss * miss).exp();
            // A comb that covers everything explains nothing: what chance would explain does not count.
            let chance = (2.5 * width / self.hz).min(1.0);
            explained += peak.weight * hit * (1.0 - chance);
            found[n] = found[n].max(peak.weight * hit);
            let trust = peak.weight * hit * (should / width).powi(2);
            pull += trust * (peak.hz / should).ln();
            pulling += trust;
        }
        if all <= 0.0 {
            return (0.0, self.hz);
        }
        let hz = if pulling > 0.0 {
            self.hz * (pull / pulling).exp()
        } else {
            self.hz
        };
        (
            (explained - MISSING * self.missing(&found, stiffness, evidence)) / all,
            hz,
        )
    }

    /// The partial nearest to `hz`, and where it should be.
    fn nearest(&self, hz: f64, stiffness: f64) -> Option<(usize, f64)> {
        let flat = (hz / self.hz).round();
        if !(1.0..=PARTIAL_MAX as f64 + 4.0).contains(&flat) {
            return None;
        }
        let at = |n: usize| self.hz * partial_ratio(n, stiffness);
        let mut n = flat as usize;
        while n > 1 && (at(n - 1) - hz).abs() < (at(n) - hz).abs() {
            n -= 1;
        }
        (n <= PARTIAL_MAX).then(|| (n, at(n)))
    }

    /// The weight of the strongest peak that is too near to `hz` for a partial there to be told from it.
    fn hidden(&self, hz: f64, evidence: &Evidence) -> f64 {
        let reach = HIDDEN_CELLS / self.seconds;
        let near = evidence.peaks().iter().filter(|peak| (peak.hz - hz).abs() < reach);
        near.map(|peak| peak.weight).fold(0.0, f64::max)
    }

    /// Weight of the partials that should be there, going by their neighbours, and are not, though nothing masks them.
    ///
    /// A pluck near the middle leaves even partials weak, but no place to pluck silences all odd ones.
    fn missing(&self, found: &[f64; PARTIAL_MAX + 1], stiffness: f64, evidence: &Evidence) -> f64 {
        let mut missing = 0.0;
        for n in 1..=MISSED_PARTIAL_MAX {
            let hz = self.hz * partial_ratio(n, stiffness);
            if hz > 5000.0 {
                break;
            }
            let most = |found: &[f64]| found.iter().copied().fold(0.0, f64::max);
            let around = most(&found[n.saturating_sub(2).max(1)..=n + 2]);
            let above = most(&found[n..]);
            let should = (NEIGHBOURS * around).max(HIGHER * above);
            let parity = if n % 2 == 1 { 1.0 } else { 0.4 };
            let low = (hz / WEAK_BELOW_HZ).min(1.0);
            let audible = low * low.sqrt() / (1.0 + (hz / 2500.0).powi(2));
            let seen = should - found[n].max(evidence.masked(hz)).max(self.hidden(hz, evidence));
            missing += seen.max(0.0) * parity * audible;
        }
        missing
    }
}
