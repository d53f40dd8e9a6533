//! From a pitch to the partials worth following: the comb is grown upwards, each found peak steering the next.

use crate::character::{expected_stiffness, partial_ratio};
use crate::evidence::Peak;
use crate::fit::{PartialPitch, fit_string};
use crate::partials::FOLLOWED_MAX;

/// Frequency error of a peak in resolution cells.
const PEAK_CELLS: f64 = 0.1;
/// A peak this many resolution cells from its place is another one.
const REACH_CELLS: f64 = 0.6;
/// The same in cents, for the stray of partials.
const REACH_CENTS: f64 = 8.0;
/// The strongest peak that lies this near to the place of a partial, in resolution cells beside those cents, holds the comb
/// where it was believed to be, while weak peaks lower down are tried.
const HOLD_CELLS: f64 = 0.25;
/// A comb that has begun ends after this many partials in a row that are not there.
const GAP_MAX: usize = 3;
/// The lowest partials of a low string may all be lost in what rings, or to a small soundboard, but not more than so many:
/// what has none of these either is a voice or something else that is loudest high above.
const LOST_MAX: usize = 6;

/// The partials of the string at `hz`, as number and frequency, into `partials`; gives the pitch and stiffness they fit.
///
/// `ceiling_hz` is the end of the band. `peaks` were found over `seconds`.
pub(crate) fn grow_comb(
    peaks: &[Peak],
    hz: f64,
    seconds: f64,
    ceiling_hz: f64,
    partials: &mut Vec<(usize, f64)>,
) -> (f64, f64) {
    partials.clear();
    // One place more, for the peak that holds the comb until its turn comes.
    let mut found = [PartialPitch::default(); FOLLOWED_MAX + 1];
    let (mut pitch, mut stiffness) = (hz, expected_stiffness(hz));
    let as_partial = |n: usize, peak: &Peak| PartialPitch {
        n,
        hz: peak.hz,
        sigma_hz: PEAK_CELLS / seconds,
        amplitude: peak.amplitude,
    };
    let held = holding(peaks, hz, seconds);
    let mut count = 0;
    if let Some((n, peak)) = held {
        found[0] = as_partial(n, peak);
        count = 1;
        if let Some(fitted) = fit_string(&found[..1], hz) {
            (pitch, stiffness) = (fitted.hz, fitted.stiffness);
        }
    }
    let mut gap = 0;
    let mut begun = false;
    for n in 1..=FOLLOWED_MAX {
        let should = pitch * partial_ratio(n, stiffness);
        if should > ceiling_hz || gap > if begun { GAP_MAX } else { LOST_MAX } {
            break;
        }
        let reach = (REACH_CELLS / seconds + should * REACH_CENTS * crate::fit::CENT).min(0.3 * pitch);
        let nearest = peaks
            .iter()
            .filter(|peak| (peak.hz - should).abs() <= reach)
            .max_by(|a, b| a.amplitude.total_cmp(&b.amplitude));
        match nearest {
            Some(peak) => {
                gap = 0;
                begun = true;
                partials.push((n, peak.hz));
                if held.is_some_and(|(holding, _)| holding == n) {
                    found[0] = as_partial(n, peak);
                } else {
                    found[count] = as_partial(n, peak);
                    count += 1;
                }
                if let Some(fitted) = fit_string(&found[..count], hz) {
                    (pitch, stiffness) = (fitted.hz, fitted.stiffness);
                }
            }
            None => {
                gap += 1;
                partials.push((n, should));
            }
        }
    }
    while partials.len() > 1 && gap > 0 {
        partials.pop();
        gap -= 1;
    }
    (pitch, stiffness)
}

/// The strongest peak that lies where a string at `hz` has a partial, and the number of that one.
fn holding(peaks: &[Peak], hz: f64, seconds: f64) -> Option<(usize, &Peak)> {
    let stiffness = expected_stiffness(hz);
    let in_comb = peaks.iter().filter_map(|peak| {
        let n = (peak.hz / hz).round() as usize;
        let should = hz * partial_ratio(n, stiffness);
        let reach = HOLD_CELLS / seconds + should * REACH_CENTS * crate::fit::CENT;
        ((1..=LOST_MAX + 1).contains(&n) && (peak.hz - should).abs() <= reach).then_some((n, peak))
    });
    in_comb.max_by(|a, b| a.1.amplitude.total_cmp(&b.1.amplitude))
}

#[cfg(test)]
mod tests {
    use super::*;

    const HZ: f64 = 34.6;

    fn grown(numbers: &[usize], stray: Option<(f64, f64)>) -> (Vec<usize>, f64) {
        let peak = |n: &usize| Peak {
            hz: HZ * partial_ratio(*n, expected_stiffness(HZ)),
            amplitude: 0.1 / *n as f64,
            weight: 1.0,
        };
        let mut peaks: Vec<Peak> = numbers.iter().map(peak).collect();
        peaks.extend(stray.map(|(hz, amplitude)| Peak {
            hz,
            amplitude,
            weight: 0.1,
        }));
        let mut partials = Vec::new();
        let (pitch, _) = grow_comb(&peaks, HZ, 0.16, 6_000.0, &mut partials);
        (partials.into_iter().map(|(n, _)| n).collect(), pitch)
    }

    /// A recorded E1 whose first four partials are lost in the ringing of its neighbours still has its fifth.
    #[test]
    fn a_comb_may_begin_late_and_ends_at_a_gap() {
        assert_eq!(grown(&[5, 7, 9], None).0, [1, 2, 3, 4, 5, 6, 7, 8, 9]);
        assert_eq!(grown(&[1, 2, 3, 9], None).0, [1, 2, 3]);
        assert_eq!(grown(&[8, 9, 10], None).0, [1]);
        assert_eq!(grown(&[], None).0, [1]);
    }

    /// What a room sounds near the second partial of such a string does not lead the comb away from its fifth.
    #[test]
    fn a_weak_peak_does_not_carry_the_comb_away() {
        let (numbers, pitch) = grown(&[5, 7, 9, 10, 11], Some((67.0, 0.001)));
        assert_eq!(numbers.last(), Some(&11));
        assert!((1200.0 * (pitch / HZ).log2()).abs() < 10.0, "{pitch}");
    }
}
