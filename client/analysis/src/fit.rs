//! One pitch from many partials: a robust fit of the stiff-string model.

use crate::character::expected_stiffness;

/// What one partial says.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct PartialPitch {
    pub(crate) n: usize,
    pub(crate) hz: f64,
    /// Standard deviation of `hz`, hertz, as far as noise goes.
    pub(crate) sigma_hz: f64,
}

/// The string that fits the partials best.
#[derive(Clone, Copy, Debug)]
pub(crate) struct FittedString {
    /// Frequency of the first partial in the model, hertz.
    pub(crate) hz: f64,
    pub(crate) stiffness: f64,
    /// Standard deviation of the pitch, cents.
    pub(crate) sigma_cents: f64,
}

/// How far partials stray from the model without any noise, cents: the supports of a string pull each partial a little,
/// and the soundboard pulls the lowest ones most where it resonates, below about 240 Hz.
const STRAY_CENTS: f64 = 0.5;
const STRAY_FIRST_CENTS: f64 = 0.08;
const STRAY_LOW_CENTS: f64 = 1.5;
const BOARD_HZ: f64 = 200.0;
/// The stiffness is known beforehand to this share of itself.
const STIFFNESS_SHARE: f64 = 0.7;
/// A partial this many standard deviations off counts for nothing (Tukey's biweight).
const BIWEIGHT: f64 = 4.7;
const ROUNDS: usize = 8;

/// Standard deviation of a partial about the model, cents, beside its noise.
fn stray_cents(n: usize, hz: f64) -> f64 {
    let low = STRAY_LOW_CENTS / (1.0 + (hz / BOARD_HZ).powi(4));
    let own = if n == 1 { STRAY_FIRST_CENTS } else { STRAY_CENTS };
    own.hypot(low)
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
    for round in 0..ROUNDS {
        // The first rounds are lenient, so that a wrong start finds home.
        let lenience = if round < 3 {
            20.0 / (1 << (2 * round)) as f64
        } else {
            1.0
        };
        let (mut s0, mut s1, mut s2, mut t0, mut t1) = (0.0, 0.0, prior, 0.0, prior * expected * p_near);
        let (mut misses, mut weights) = (0.0, 0.0);
        for partial in partials {
            let n2 = (partial.n * partial.n) as f64;
            let y = (partial.hz / partial.n as f64).powi(2);
            let sigma_cents = (partial.sigma_hz / partial.hz / CENT).hypot(stray_cents(partial.n, partial.hz));
            let sigma = 2.0 * y * sigma_cents * CENT;
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
            sigma_cents: 0.5 * variance.sqrt() / pitch2 / CENT * inflation,
        });
    }
    result
}

/// The relative width of one cent.
pub(crate) const CENT: f64 = std::f64::consts::LN_2 / 1200.0;
