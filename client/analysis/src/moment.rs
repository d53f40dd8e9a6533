//! The exact moment at which a sound begins.

use std::ops::Range;

use crate::history::History;

/// Step of the search, seconds.
const STEP_S: f64 = 0.001;
/// Length of the stretches before and after a moment that are compared, seconds.
const SPAN_S: f64 = 0.008;

/// Samples in the stretch of [`power_from`].
pub(crate) fn span(rate: f64) -> u64 {
    (SPAN_S * rate) as u64
}

/// Energy of a short stretch from a moment on; nothing where it is not held.
pub(crate) fn power_from(history: &History, from: u64, rate: f64) -> f64 {
    history
        .slice(from, span(rate) as usize)
        .map_or(0.0, |stretch| f64::from(stretch.iter().map(|x| x * x).sum::<f32>()))
}

/// The moment within `range` at which the power grows most from just before to just after.
pub(crate) fn steepest(history: &History, range: Range<u64>, rate: f64) -> u64 {
    steepest_of(history, range, rate, |from| power_from(history, from, rate))
}

/// The same of another `energy` than the whole, of a stretch of [`span`] from a moment on.
pub(crate) fn steepest_of(history: &History, range: Range<u64>, rate: f64, energy: impl Fn(u64) -> f64) -> u64 {
    let span = span(rate);
    let step = (STEP_S * rate).max(1.0) as u64;
    let mut best = (0.0, range.end);
    let mut at = range.start.max(history.oldest() + span);
    while at <= range.end {
        let (before, after) = (energy(at - span), energy(at));
        let growth = (after - before) / (after + before + f64::MIN_POSITIVE).sqrt();
        if growth > best.0 {
            best = (growth, at);
        }
        at += step;
    }
    best.1
}
