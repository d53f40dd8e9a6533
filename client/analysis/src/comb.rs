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
/// A comb that has begun ends after this many partials in a row that are not there. Where it begins is another matter: the
/// lowest partials of a low string may all be lost in what rings, or to a small soundboard.
const GAP_MAX: usize = 3;

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
    let mut found = [PartialPitch::default(); FOLLOWED_MAX];
    let mut count = 0;
    let (mut pitch, mut stiffness) = (hz, expected_stiffness(hz));
    let mut gap = 0;
    for n in 1..=FOLLOWED_MAX {
        let should = pitch * partial_ratio(n, stiffness);
        if should > ceiling_hz || (count > 0 && gap > GAP_MAX) {
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
                partials.push((n, peak.hz));
                found[count] = PartialPitch {
                    n,
                    hz: peak.hz,
                    sigma_hz: PEAK_CELLS / seconds,
                    amplitude: peak.amplitude,
                };
                count += 1;
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

#[cfg(test)]
mod tests {
    use super::*;

    fn grown(numbers: &[usize]) -> Vec<usize> {
        let hz = 34.6;
        let peak = |n: &usize| Peak {
            hz: hz * partial_ratio(*n, expected_stiffness(hz)),
            amplitude: 0.1 / *n as f64,
            weight: 1.0,
        };
        let peaks: Vec<Peak> = numbers.iter().map(peak).collect();
        let mut partials = Vec::new();
        grow_comb(&peaks, hz, 0.16, 6_000.0, &mut partials);
        partials.into_iter().map(|(n, _)| n).collect()
    }

    /// A recorded E1 whose first four partials are lost in the ringing of its neighbours still has its fifth.
    #[test]
    fn a_comb_may_begin_late_and_ends_at_a_gap() {
        assert_eq!(grown(&[5, 7, 9]), [1, 2, 3, 4, 5, 6, 7, 8, 9]);
        assert_eq!(grown(&[1, 2, 3, 9]), [1, 2, 3]);
        assert_eq!(grown(&[]), [1]);
    }
}
