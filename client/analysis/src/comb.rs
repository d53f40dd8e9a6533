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
/// A comb ends after this many partials in a row that are not there.
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
        if should > ceiling_hz || gap > GAP_MAX {
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
