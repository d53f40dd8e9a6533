//! A string that is too thick or too thin for its place since it was fitted.

use crate::likely;

/// What a new string does differently from the one before it, or from its neighbours; each in its own unit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Differences {
    /// Natural logarithm of the stiffness ratio, and its variance.
    pub(crate) stiffness: Option<(f64, f64)>,
    /// Natural logarithm of the decay ratio, and its variance.
    pub(crate) decay: Option<(f64, f64)>,
    /// How much sharper one and two semitones sound, cents, and the variance.
    pub(crate) steps: [Option<(f64, f64)>; 2],
}

/// The evidence for a wrong gauge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Gauge {
    /// In natural logarithms, with what was expected beforehand.
    pub(crate) weight: f64,
    /// The most likely diameter against the right one.
    pub(crate) ratio: f64,
}

/// How likely a string is renewed with a wrong gauge: one in fifteen, assumed.
const WRONG: f64 = 0.065;
/// Natural logarithms of diameters against the right one that are wrong, each as likely as the other.
const RATIOS: [f64; 10] = [-0.37, -0.3, -0.23, -0.18, -0.13, 0.13, 0.18, 0.23, 0.3, 0.37];
/// How far pieces of the right gauge differ in stiffness, decay and steps, one standard deviation: assumed.
const STIFFNESS_SPREAD: f64 = 0.2;
const DECAY_SPREAD: f64 = 0.16;
const STEP_SPREAD_CENTS: f64 = 2.2;
/// What a string that is thicker by a factor e would raise one semitone, cents: the disc shortens it more. Assumed, and
/// uncertain by half.
const STEP_CENTS: f64 = 17.0;

/// Weighs `differences`.
pub(crate) fn weigh(differences: &Differences) -> Gauge {
    let of = |ln_ratio: f64| {
        // Stiffness goes with the square of the diameter; a thicker string moves more air and loses itself faster.
        let stiffness = differences.stiffness.map_or(0.0, |(value, variance)| {
            let sigma = (variance + STIFFNESS_SPREAD * STIFFNESS_SPREAD).sqrt();
            likely::normal(value - 2.0 * ln_ratio, sigma)
        });
        let decay = differences.decay.map_or(0.0, |(value, variance)| {
            likely::normal(value + ln_ratio, (variance + DECAY_SPREAD * DECAY_SPREAD).sqrt())
        });
        let steps: f64 = (1..)
            .map(f64::from)
            .zip(differences.steps)
            .filter_map(|(step, difference): (f64, _)| {
                let (value, variance) = difference?;
                let raised = step * STEP_CENTS * ln_ratio;
                let sigma = (variance + STEP_SPREAD_CENTS * STEP_SPREAD_CENTS + (0.5 * raised).powi(2)).sqrt();
                Some(likely::noise(value - raised, sigma))
            })
            .sum();
        stiffness + decay + steps
    };
    let right = of(0.0);
    let wrong = RATIOS.map(|ln_ratio| of(ln_ratio) - right);
    let most = RATIOS
        .iter()
        .zip(&wrong)
        .max_by(|a, b| a.1.total_cmp(b.1))
        .map_or(0.0, |most| *most.0);
    Gauge {
        weight: (WRONG / (1.0 - WRONG)).ln() + likely::sum(wrong.into_iter()) - (RATIOS.len() as f64).ln(),
        ratio: most.exp(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[rustfmt::skip]
    fn a_wrong_gauge_shows_in_more_than_one_way() {
        let table = [
            // ln stiffness, ln decay, step 1, step 2, wrong?
            (Some(0.1),  Some(0.1),   Some(1.0), Some(-1.0), false),
            (Some(0.5),  Some(0.1),   None,      None,       false), // A stiffer piece of the right gauge.
            (Some(0.65), Some(-0.35), Some(6.0), Some(12.0), true),
            (Some(-0.6), Some(0.3),   Some(-5.0), Some(-9.0), true),
        ];
        for (stiffness, decay, one, two, wrong) in table {
            let differences = Differences {
                stiffness: stiffness.map(|value| (value, 0.01)),
                decay: decay.map(|value| (value, 0.005)),
                steps: [one.map(|value| (value, 0.2)), two.map(|value| (value, 0.2))],
            };
            let gauge = weigh(&differences);
            assert_eq!(gauge.weight > 3.0, wrong, "{differences:?}: {gauge:?}");
        }
    }
}
