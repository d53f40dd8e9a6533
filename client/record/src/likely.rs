//! Likelihoods in natural logarithms: what a fall would be under each cause.

use std::f64::consts::{LN_2, PI};

/// Degrees of freedom of the noise: heavier in the tails than the normal law, since hands and ears slip.
const TAIL: f64 = 6.0;
/// ln of Γ((ν + 1)/2)/(Γ(ν/2)·√(νπ)) for ν = 6.
const TAIL_LN_NORM: f64 = -0.960_4;

/// The density of `x` around 0 with scale `sigma`, by Student's law.
pub(crate) fn noise(x: f64, sigma: f64) -> f64 {
    let z = x / sigma;
    TAIL_LN_NORM - sigma.ln() - f64::midpoint(TAIL, 1.0) * (z * z / TAIL).ln_1p()
}

/// The logarithm of the sum of what the logarithms stand for.
pub(crate) fn sum(logs: impl Iterator<Item = f64> + Clone) -> f64 {
    let most = logs.clone().fold(f64::NEG_INFINITY, f64::max);
    if most == f64::NEG_INFINITY {
        return most;
    }
    most + logs.map(|log| (log - most).exp()).sum::<f64>().ln()
}

/// Nodes at which an even share each of the standard normal law lies: the middles of nine ninths.
const NINTHS: [f64; 9] = [-1.593, -0.967, -0.589, -0.282, 0.0, 0.282, 0.589, 0.967, 1.593];

/// The density of a residual `x` when a pin slips by `mean` cents in the mean, in steps of `step` cents.
///
/// The fall is taken as gamma-distributed with as many degrees as there are steps, by the cube-root approximation of
/// Wilson & Hilferty (PNAS 17, 1931).
pub(crate) fn slipped(x: f64, mean: f64, step: f64, sigma: f64) -> f64 {
    let shape = (mean / step).max(0.5);
    let ninth = 1.0 / (9.0 * shape);
    let logs = NINTHS.map(|z| {
        let fall = mean * (1.0 - ninth + z * ninth.sqrt()).max(0.0).powi(3);
        noise(x + fall, sigma)
    });
    sum(logs.into_iter()) - 9.0_f64.ln()
}

/// The density of a residual `x` when somebody turned the pin: either way, by `scale` cents in the mean.
pub(crate) fn turned(x: f64, scale: f64) -> f64 {
    -x.abs() / scale - (2.0 * scale).ln()
}

/// The normal density of `x` with standard deviation `sigma`.
pub(crate) fn normal(x: f64, sigma: f64) -> f64 {
    -0.5 * ((x / sigma).powi(2) + (2.0 * PI).ln()) - sigma.ln()
}

/// Cents for a natural logarithm of a frequency ratio.
pub(crate) const CENTS_PER_LN: f64 = 1_200.0 / LN_2;

#[cfg(test)]
mod tests {
    use super::*;

    fn whole(density: impl Fn(f64) -> f64) -> f64 {
        (-40_000..40_000)
            .map(|i| density(f64::from(i) / 100.0).exp() / 100.0)
            .sum()
    }

    #[test]
    fn densities_add_up_to_one() {
        assert!((whole(|x| noise(x, 1.3)) - 1.0).abs() < 1e-3);
        assert!((whole(|x| slipped(x, 8.0, 4.0, 1.0)) - 1.0).abs() < 1e-3);
        assert!((whole(|x| turned(x, 20.0)) - 1.0).abs() < 1e-3);
        assert!((whole(|x| normal(x, 2.0)) - 1.0).abs() < 1e-3);
    }

    #[test]
    fn a_slip_falls_and_never_rises() {
        assert!(slipped(-8.0, 8.0, 4.0, 1.0) > noise(-8.0, 1.0) + 5.0);
        assert!(slipped(8.0, 8.0, 4.0, 1.0) < noise(8.0, 1.0));
    }
}
