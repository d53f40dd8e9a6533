//! How well one string explains the lines that a pluck added.

use crate::character::{expected_stiffness, partial_ratio};

/// Partials that a string is looked for by, and those that are missed.
pub(super) const PARTIALS: usize = 20;
const MISSED: usize = 10;
/// A line is a partial's by Gauss's curve of this width, as a share of how far a partial may stray; so far it counts at all.
const WIDTH: f64 = 0.7;
const REACH: f64 = 1.6;
/// What a partial costs that is not there, though its neighbours, or higher ones, are, by these shares; even ones cost less,
/// since a pluck near the middle leaves them weak, and so do those that are so low that soundboards are weak.
const NEIGHBOURS: f64 = 0.35;
const HIGHER: f64 = 0.4;
const EVEN: f64 = 0.4;
const WEAK_BELOW_HZ: f64 = 160.0;
/// What the same costs in the share of the sound that the string explains.
const MISSING: f64 = 1.2;
/// What explains only every second, third or fifth of its partials is a string so many times as high: what rings lies on these,
/// or on all, so that the others' share is low for no other reason. What is less than this share of the sound is chance.
const EVERY: [usize; 3] = [2, 3, 5];
const CHANCE: f64 = 0.02;
/// Nats for a string by what it explains, for what is missing, for each cent away from where it was, and for the logarithms of
/// the shares above: for strings below the first frequency, hertz, and what is added above the second.
///
/// Fitted to 1,300 plucks of twelve virtual runs and of runs over eight harps built from recordings, at 2, 4 and 6 a second, by
/// logistic regression over the strings that it might have been, and rounded.
/// Source: D. McFadden, "Conditional Logit Analysis of Qualitative Choice Behavior" (1974).
const REGISTER_HZ: (f64, f64) = (110.0, 330.0);
const EXPLAINED: (f64, f64) = (18.0, 8.0);
const MISSES: (f64, f64) = (1.0, 20.0);
const AWAY: (f64, f64) = (0.07, 0.0);
const BESIDE: [(f64, f64); 3] = [(0.9, 1.0), (0.4, -0.4), (0.25, -0.25)];

/// A line that is new.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    pub(super) hz: f64,
    pub(super) weight: f64,
}

/// How well one string explains what was added.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Likeness {
    /// Share of it that the string explains, less what is missing of the string: 1 at most.
    pub(crate) score: f64,
    /// How much that speaks for the string, nats on a scale that all strings share.
    pub(crate) nats: f64,
    /// The pitch at which it explains most, hertz.
    pub(crate) hz: f64,
}

impl Likeness {
    /// Nothing was looked at.
    pub(crate) const NONE: Self = Self {
        score: 0.0,
        nats: 0.0,
        hz: 0.0,
    };

    /// Of the string at `hz`, so many cents away from where it was heard last, by `lines` in the order of their frequencies, which
    /// weigh `all` together; a partial strays by `stray` of its frequency, hertz, and where it would lie rings what has the
    /// weight `rings` of that.
    pub(super) fn new(
        hz: f64,
        away_cents: f64,
        (lines, all): (&[Line], f64),
        ceiling_hz: f64,
        stray: impl Fn(f64) -> f64,
        rings: impl Fn(f64) -> f64,
    ) -> Self {
        let stiffness = expected_stiffness(hz);
        let (mut found, mut masked) = ([0.0_f64; PARTIALS], [0.0_f64; PARTIALS]);
        let (mut sum, mut count, mut beside) = (0.0, 0, [0.0; EVERY.len()]);
        for (n, (found, masked)) in (1..).zip(found.iter_mut().zip(&mut masked)) {
            let at = hz * partial_ratio(n, stiffness);
            if at > ceiling_hz {
                break;
            }
            let near = stray(at);
            let first = lines.partition_point(|line| line.hz < at - REACH * near);
            let near_by = lines[first..].iter().take_while(|line| line.hz < at + REACH * near);
            let own = |line: &Line| line.weight * (-0.5 * ((line.hz - at) / (WIDTH * near)).powi(2)).exp();
            // A comb that covers everything explains nothing.
            *found = near_by.map(own).sum::<f64>() * (1.0 - (2.0 * near / hz).min(1.0));
            *masked = rings(at);
            sum += *found;
            for (beside, every) in beside.iter_mut().zip(EVERY) {
                *beside += if n % every == 0 { 0.0 } else { *found };
            }
            count = n;
        }
        let found = &found[..count];
        let mut missing = 0.0;
        for (n, (own, masked)) in found.iter().zip(masked).enumerate().take(MISSED) {
            let most = |found: &[f64]| found.iter().copied().fold(0.0, f64::max);
            let around = most(&found[n.saturating_sub(2)..(n + 3).min(count)]);
            let should = (NEIGHBOURS * around).max(HIGHER * most(&found[n..]));
            let low = (hz * (n + 1) as f64 / WEAK_BELOW_HZ).min(1.0);
            let parity = if n % 2 == 0 { 1.0 } else { EVEN };
            missing += (should - own.max(masked)).max(0.0) * parity * low * low.sqrt();
        }
        let register = register(hz);
        let of = |(low, more): (f64, f64)| low + register * more;
        let mut nats = of(EXPLAINED) * sum / all - of(MISSES) * missing / all - of(AWAY) * away_cents.abs();
        for (beside, weight) in beside.iter().zip(BESIDE) {
            nats += of(weight) * ((beside + CHANCE * all) / (sum + CHANCE * all)).ln();
        }
        let score = ((sum - MISSING * missing) / all).min(1.0);
        Self { score, nats, hz }
    }
}

/// 0 for low strings, 1 for high ones, and between in proportion to octaves.
pub(super) fn register(hz: f64) -> f64 {
    let (low, high) = REGISTER_HZ;
    ((hz / low).ln() / (high / low).ln()).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What speaks for a string at `hz` where the partials of one at `sounds` are new and everything below lies under what rings.
    fn nats(hz: f64, sounds: f64) -> f64 {
        let stiffness = expected_stiffness(sounds);
        let line = |n: usize| Line {
            hz: sounds * partial_ratio(n, stiffness),
            weight: 1.0 / n as f64,
        };
        let lines: Vec<Line> = (1..12).map(line).collect();
        let all = lines.iter().map(|line| line.weight).sum();
        Likeness::new(hz, 0.0, (&lines, all), 5_000.0, |at| 1.4 + 0.002 * at, |_| 1.0).nats
    }

    #[test]
    fn a_low_string_that_rings_does_not_explain_one_that_is_its_partial() {
        let sounds = 207.7;
        for times in [2.0, 3.0, 4.0] {
            let apart = nats(sounds, sounds) - nats(sounds / times, sounds);
            assert!(apart > 2.0, "{times} times as high: {apart} nats");
        }
    }

    #[test]
    fn a_string_beside_the_one_that_sounds_explains_little() {
        let apart = nats(207.7, 207.7) - nats(220.0, 207.7);
        assert!(apart > 10.0, "{apart} nats");
    }
}
