//! One pitch from many partials: a robust fit of the stiff-string model.

use crate::character::expected_stiffness;
use crate::partials::FOLLOWED_MAX;

/// What one partial says.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct PartialPitch {
    pub(crate) n: usize,
    pub(crate) hz: f64,
    /// Standard deviation of `hz`, hertz, as far as noise goes.
    pub(crate) sigma_hz: f64,
    /// Its amplitude on any scale that all partials of the string share.
    pub(crate) amplitude: f64,
}

/// The string that fits the partials best.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FittedString {
    /// Frequency of the first partial in the model, hertz.
    pub(crate) hz: f64,
    /// The inharmonicity B, dimensionless, and what it may well be at most: one standard deviation more than was measured.
    pub(crate) stiffness: f64,
    pub(crate) stiffness_at_most: f64,
    /// Standard deviation of the pitch, cents.
    pub(crate) sigma_cents: f64,
}

/// How far the strongest partial strays from the model without any noise, cents, and the power of the ratio of amplitudes by
/// which weaker ones stray further: what pulls them, answers of other strings and of the supports, has about one level for
/// all, and a weak partial yields to it more. In the recordings partials 20 dB down stray by 1 cent, and 35 dB down by 2.
const STRAY_CENTS: f64 = 0.3;
const STRAY_POWER: f64 = 0.6;
/// The first partial of a string above middle C is what its pitch means, so that it strays by little more than nothing.
const STRAY_FIRST_CENTS: f64 = 0.08;
const FIRST_DECIDES_HZ: f64 = 240.0;
/// The soundboard pulls what lies at its resonances and below them: so much at [`BOARD_HZ`], in cents, more below it in
/// proportion, less and less above [`BOARD_TOP_HZ`].
const STRAY_BOARD_CENTS: f64 = 2.0;
const BOARD_HZ: f64 = 100.0;
const BOARD_TOP_HZ: f64 = 200.0;
/// The stiffness is known beforehand to this share of itself.
const STIFFNESS_SHARE: f64 = 0.7;
/// A partial this many standard deviations off counts for nothing (Tukey's biweight).
const BIWEIGHT: f64 = 4.7;
const ROUNDS: usize = 8;

/// √(a² + b²) of figures that are far from the ends of what a number holds, unlike those that `hypot` takes care of.
fn root_of_squares(a: f64, b: f64) -> f64 {
    (a * a + b * b).sqrt()
}

/// Standard deviation of a partial about the model, cents, beside its noise; `strongest` is the amplitude of the strongest.
pub(crate) fn stray_cents(partial: &PartialPitch, strongest: f64) -> f64 {
    let weakness = (strongest / partial.amplitude.max(1e-3 * strongest)).max(1.0);
    let own = STRAY_CENTS * weakness.powf(STRAY_POWER);
    let board = STRAY_BOARD_CENTS * (BOARD_HZ / partial.hz) / (1.0 + (partial.hz / BOARD_TOP_HZ).powi(4));
    let own = if partial.n == 1 {
        let common = 1.0 / (1.0 + (partial.hz / FIRST_DECIDES_HZ).powi(8));
        root_of_squares(STRAY_FIRST_CENTS, own * common.sqrt())
    } else {
        own
    };
    root_of_squares(own, board)
}

/// Standard deviation with which a partial's own frequency is told, cents.
///
/// Most of its straying from the model is its string's own and comes back with every pluck: whoever compares strings with
/// one another wants to see it. What does not come back is taken to be this share (assumed).
pub(crate) fn uncertainty_cents(partial: &PartialPitch, strongest: f64) -> f64 {
    const COMES_AND_GOES: f64 = 0.25;
    root_of_squares(
        partial.sigma_hz / partial.hz / CENT,
        COMES_AND_GOES * stray_cents(partial, strongest),
    )
}

/// Fits fₙ = n·f₀·√(1 + B·n²) to `partials`; `near_hz` is about the pitch.
///
/// (fₙ/n)² = p + q·n² is linear in p = f₀² and q = f₀²·B, so each round of reweighting is a 2 × 2 system.
/// Source of the weights: A. E. Beaton, J. W. Tukey, Technometrics 16 (1974) 147–185.
pub(crate) fn fit_string(partials: &[PartialPitch], near_hz: f64) -> Option<FittedString> {
    let expected = expected_stiffness(near_hz);
    let p_near = near_hz * near_hz / (1.0 + expected);
    let prior = 1.0 / (STIFFNESS_SHARE * expected * p_near).powi(2);
    let (mut p, mut q) = (p_near, p_near * expected);
    let mut result = None;
    let strongest = partials.iter().map(|partial| partial.amplitude).fold(0.0, f64::max);
    // What does not change from round to round is reckoned once: (fₙ/n)² and its standard deviation.
    let mut points = [(0.0, 0.0, 0.0); FOLLOWED_MAX];
    let points = &mut points[..partials.len().min(FOLLOWED_MAX)];
    for (point, partial) in points.iter_mut().zip(partials) {
        let y = (partial.hz / partial.n as f64).powi(2);
        let noise_cents = partial.sigma_hz / partial.hz / CENT;
        let sigma = 2.0 * y * root_of_squares(noise_cents, stray_cents(partial, strongest)) * CENT;
        *point = ((partial.n * partial.n) as f64, y, sigma);
    }
    for round in 0..ROUNDS {
        // The first rounds are lenient, so that a wrong start finds home.
        let lenience = if round < 3 {
            20.0 / (1 << (2 * round)) as f64
        } else {
            1.0
        };
        let (mut s0, mut s1, mut s2, mut t0, mut t1) = (0.0, 0.0, prior, 0.0, prior * expected * p_near);
        let (mut misses, mut weights) = (0.0, 0.0);
        for &(n2, y, sigma) in points.iter() {
            let miss = (y - p - q * n2) / sigma;
            let u = miss / (BIWEIGHT * lenience.max(1.0));
            let trust = if u.abs() < 1.0 { (1.0 - u * u).powi(2) } else { 0.0 };
            let weight = trust / (sigma * sigma);
            s0 += weight;
            s1 += weight * n2;
            s2 += weight * n2 * n2;
            t0 += weight * y;
            t1 += weight * y * n2;
            misses += trust * miss * miss;
            weights += trust;
        }
        let determinant = s0 * s2 - s1 * s1;
        if weights < 0.3 || determinant <= 0.0 {
            return None;
        }
        p = (t0 * s2 - t1 * s1) / determinant;
        q = (t1 * s0 - t0 * s1) / determinant;
        let pitch2 = p + q;
        if p <= 0.0 || pitch2 <= 0.0 {
            return None;
        }
        // Variance of p + q from the inverse of the normal matrix.
        let variance = (s2 + s0 - 2.0 * s1) / determinant;
        let scatter = (misses / weights).sqrt();
        let freedom = weights / (weights - 1.0).max(0.5);
        let inflation = (scatter * freedom.sqrt()).max(1.0);
        result = Some(FittedString {
            hz: pitch2.sqrt(),
            stiffness: (q / p).max(0.0),
            stiffness_at_most: ((q + (s0 / determinant).sqrt() * inflation) / p).max(0.0),
            sigma_cents: 0.5 * variance.sqrt() / pitch2 / CENT * inflation,
        });
    }
    result
}

/// The relative width of one cent.
pub(crate) const CENT: f64 = std::f64::consts::LN_2 / 1200.0;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::character::partial_ratio;

    /// What a fit says of the stiffness, as a share of what is usual: measured, and one standard deviation above that.
    fn stiffness(numbers: std::ops::RangeInclusive<usize>, shares_of_usual: f64, drawn: (usize, f64)) -> (f64, f64) {
        let (hz, usual) = (260.0, expected_stiffness(260.0));
        let partial = |n: usize| {
            let off = if n == drawn.0 { drawn.1 } else { 0.0 };
            PartialPitch {
                n,
                hz: hz * partial_ratio(n, shares_of_usual * usual) * (off * CENT).exp(),
                sigma_hz: 0.01,
                amplitude: 1.0 / n as f64,
            }
        };
        let partials: Vec<PartialPitch> = numbers.map(partial).collect();
        let fitted = fit_string(&partials, hz).expect("partials of a string");
        (fitted.stiffness / usual, fitted.stiffness_at_most / usual)
    }

    /// A player's partials show that there is no stiffness; three of a string of which a room draws one along do not.
    #[test]
    fn a_partial_that_is_drawn_along_makes_no_string_harmonic() {
        let player = stiffness(1..=10, 0.0, (0, 0.0));
        assert!(player.1 < 0.3, "{player:?}");
        let string = stiffness(1..=3, 1.0, (3, -2.0));
        assert!(string.0 < 0.6, "{string:?}");
        assert!(string.1 > 0.8, "{string:?}");
    }
}
