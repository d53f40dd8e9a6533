//! How far a pluck sounds above the string at rest: the harder it is plucked, the sharper it begins.
//!
//! A pluck stretches the string, and what that adds to its pitch follows the string's energy, which falls twice as fast as
//! its amplitude (E. Legge & N. Fletcher, JASA 76, 1984). So from how far the pitch fell while it was measured, and from
//! how fast the string died away, it is known how far above its rest it was heard in the mean.

use consort_proto::Cents;

use crate::entry::Timbre;

/// The time over which a pitch is measured, seconds after the pluck.
const MEASURED_S: (f64, f64) = (0.15, 1.5);
/// Steps in which it is summed up.
const STEPS: usize = 60;
/// Strings die away between these times, seconds; a time beyond them was misheard.
const DECAYS_S: std::ops::RangeInclusive<f64> = 0.05..=20.0;
/// By themselves strings glide by less than this, cents; a pitch that moved further was turned.
const GLIDES: Cents = Cents(3.0);

/// How far above the string's rest a pluck that sounded like this was heard; `None` where that was not measured.
pub(crate) fn above_rest(timbre: &Timbre) -> Option<Cents> {
    let glide = timbre.glide.filter(|glide| glide.is_within(GLIDES))?;
    let decay_s = timbre.decay_s.filter(|decay_s| DECAYS_S.contains(decay_s))?;
    Some(Cents(-glide.0 * above_by_glide(decay_s)))
}

/// How far above its rest a string of this decay is heard in the mean, against how far it falls from the first to the
/// second half of the time; both are weighted by energy.
fn above_by_glide(decay_s: f64) -> f64 {
    let long_s = MEASURED_S.1 - MEASURED_S.0;
    let points = (0..STEPS).map(|step| MEASURED_S.0 + long_s * (step as f64 + 0.5) / STEPS as f64);
    // The energy, and what the pluck still adds, fall alike.
    let points: Vec<(f64, f64)> = points.map(|time_s| (time_s, (-2.0 * time_s / decay_s).exp())).collect();
    let weight: f64 = points.iter().map(|point| point.1).sum();
    let mean = |of: &dyn Fn(&(f64, f64)) -> f64| points.iter().map(|point| point.1 * of(point)).sum::<f64>() / weight;
    let (time_s, above) = (mean(&|point| point.0), mean(&|point| point.1));
    let slope = mean(&|point| (point.0 - time_s) * (point.1 - above)) / mean(&|point| (point.0 - time_s).powi(2));
    above / (-slope * 0.5 * long_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sounded(glide: f64, decay_s: Option<f64>) -> Timbre {
        Timbre {
            glide: Some(Cents(glide)),
            decay_s,
            ..Timbre::default()
        }
    }

    /// Integrals of the two exponentials for a decay of 3 s, computed apart: in the mean 0.636 of what the pluck added at
    /// first is heard, and a line by least squares falls by 0.272 of it in half of 1.35 s.
    #[test]
    fn a_string_that_rings_long_stands_further_above_its_rest_than_it_falls() {
        let above = above_rest(&sounded(-1.0, Some(3.0))).expect("measured");
        assert!((above.0 - 0.636 / 0.272).abs() < 0.02, "{above:?}");
        let shorter = above_rest(&sounded(-1.0, Some(0.5))).expect("measured");
        assert!((0.6..0.75).contains(&shorter.0), "{shorter:?}");
        assert_eq!(above_rest(&sounded(0.0, Some(3.0))), Some(Cents(-0.0)));
    }

    #[test]
    fn what_was_turned_or_not_measured_says_nothing() {
        for timbre in [
            sounded(-1.0, None),
            sounded(-1.0, Some(0.0)),
            sounded(-1.0, Some(f64::NAN)),
            sounded(-4.0, Some(3.0)),
            Timbre::default(),
        ] {
            assert_eq!(above_rest(&timbre), None, "{timbre:?}");
        }
    }
}
