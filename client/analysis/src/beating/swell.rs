//! How two strings swell and fade, beside their dying away.

/// Fingers and the first glide are passed over: so many values.
const BEGINS: usize = 5;
/// What is this much softer than the loudest is silence.
const SILENT: f64 = 1e-3;

/// `sizes` beside the straight line through their logarithms, from a tenth of a second after the pluck on; 1 the loudest,
/// and nothing of a sound that is too short.
///
/// All strings die away: what is left is what the ear hears swell and fade.
pub(super) fn even(sizes: &[f64]) -> Vec<f32> {
    let most = sizes.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let heard = sizes.get(BEGINS..).unwrap_or_default();
    if heard.len() < 2 {
        return Vec::new();
    }
    let logs: Vec<f64> = heard.iter().map(|size| (size / most).max(SILENT).ln()).collect();
    let (count, middle) = (logs.len() as f64, (logs.len() - 1) as f64 / 2.0);
    let beside = |at: usize| at as f64 - middle;
    let mean = logs.iter().sum::<f64>() / count;
    let falls = logs.iter().enumerate().map(|(at, log)| beside(at) * log).sum::<f64>();
    let slope = falls / (0..logs.len()).map(|at| beside(at).powi(2)).sum::<f64>();
    let steady = |(at, log): (usize, &f64)| (log - mean - slope * beside(at)).exp();
    let even: Vec<f64> = logs.iter().enumerate().map(steady).collect();
    let most = even.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    even.iter().map(|size| (size / most) as f32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tenth of a second of finger, and then two seconds that die away by 1/e in half a second.
    fn dying(swells: impl Fn(f64) -> f64) -> Vec<f64> {
        let times = (0..100).map(|at| 0.02 * f64::from(at));
        times.map(|t| 3.0 * (-2.0 * t).exp() * swells(t)).collect()
    }

    #[test]
    fn what_only_dies_away_is_even() {
        let even = even(&dying(|_| 1.0));
        assert_eq!(even.len(), 95);
        assert!(even.iter().all(|size| (size - 1.0).abs() < 1e-4), "{even:?}");
    }

    #[test]
    fn what_swells_twice_in_a_second_is_loudest_where_it_swells() {
        let even = even(&dying(|t| 0.6 + 0.4 * (std::f64::consts::TAU * 2.0 * t).cos()));
        let peaks = even.windows(3).filter(|at| at[1] > at[0] && at[1] > at[2]).count();
        assert_eq!(peaks, 3, "{even:?}");
        let least = even.iter().copied().fold(1.0, f32::min);
        assert!((0.15..0.25).contains(&least), "{least}");
    }

    #[test]
    fn too_little_sound_swells_in_no_way() {
        assert!(even(&[]).is_empty() && even(&[1.0; 6]).is_empty());
    }
}
