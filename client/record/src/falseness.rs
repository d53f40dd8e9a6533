//! A false string: partials off the stiff string's curve, beating with itself.

use crate::likely;
use crate::sound::{PARTIALS, Sound, law_cents};

/// What is known of the strings around it, so that a string is measured by its own harp.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Usual {
    /// Natural logarithm of the inharmonicity that its neighbours suggest.
    pub(crate) ln_stiffness: f64,
    /// How far single partials lie off the curve on strings of its material, cents, one standard deviation.
    pub(crate) off_law: f64,
}

/// How strings of one place differ in stiffness from piece to piece, as a share.
const STIFFNESS_SPREAD: f64 = 0.25;
/// How much lighter or heavier a tenth of a false string is, one standard deviation.
const MASS_SPREAD: f64 = 0.03;
/// The places of the length at which it may be, each as likely as the other: the other half sounds the same.
/// They lie so near to each other that no partial that is looked at goes from crest to trough between two.
const PLACES: usize = 22;
const PLACE_FIRST: f64 = 0.08;
const PLACE_STEP: f64 = 0.02;
/// Its width as a share of the length.
const WIDTH: f64 = 0.1;
/// How differently one pluck's first partial is read from the next one's, cents.
const PLUCK_SIGMA: f64 = 0.12;
/// What no number of plucks averages away, cents.
const RESTS_SIGMA: f64 = 0.1;

/// A string's sound compared with the curve, or with what it was before.
#[derive(Clone)]
struct Compared {
    partials: Vec<usize>,
    values: Vec<f64>,
    variances: Vec<f64>,
    /// Variance that all have in common, since each is measured from the first partial.
    common: f64,
    /// How each would move if the string were stiffer, scaled to one standard deviation.
    stiffer: Vec<f64>,
}

/// Some strings are rougher than the others of their material and even all the same: this share of them, by this factor.
const ROUGH: (f64, f64) = (0.004, 2.0);

/// How much more likely a thin or thick tenth makes `sound` than an even string, in natural logarithms.
pub(crate) fn off_curve(sound: &Sound, usual: Usual) -> f64 {
    let Some((ln_b, _)) = sound.ln_stiffness(usual.ln_stiffness, usual.off_law) else {
        return 0.0;
    };
    // Linear around the best stiffness, so that very stiff strings are judged as well.
    let shift = ln_b - usual.ln_stiffness;
    let (mut even, mut uneven) = ([0.0; 2], [0.0; 2]);
    for (scale, (share, rough)) in [(1.0 - ROUGH.0, 1.0), ROUGH].into_iter().enumerate() {
        let off = (usual.off_law * rough).powi(2);
        let mut compared = Compared::new(|place| {
            let (above, variance) = sound.partial(place)?;
            let law = law_cents(place, ln_b);
            Some((
                above - law + law * shift,
                variance + RESTS_SIGMA * RESTS_SIGMA + off,
                law,
            ))
        });
        compared.common = off + PLUCK_SIGMA * PLUCK_SIGMA / sound.plucks().max(1.0);
        even[scale] = share.ln() + compared.even();
        uneven[scale] = even[scale] + compared.weigh();
    }
    likely::sum(uneven.into_iter()) - likely::sum(even.into_iter())
}

/// How much more likely a tenth that has worn makes the change from `before` to `now` than an unchanged string.
pub(crate) fn has_changed(before: &Sound, now: &Sound) -> f64 {
    let mut compared = Compared::new(|place| {
        let ((was, was_variance), (is, is_variance)) = (before.partial(place)?, now.partial(place)?);
        Some((
            is - was,
            was_variance + is_variance + 2.0 * RESTS_SIGMA * RESTS_SIGMA,
            0.0,
        ))
    });
    compared.common = PLUCK_SIGMA * PLUCK_SIGMA * (1.0 / before.plucks().max(1.0) + 1.0 / now.plucks().max(1.0));
    compared.weigh()
}

impl Compared {
    /// Gathers value, variance and law of each partial that there is.
    fn new(of: impl Fn(usize) -> Option<(f64, f64, f64)>) -> Self {
        let mut compared = Self {
            partials: Vec::with_capacity(PARTIALS),
            values: Vec::with_capacity(PARTIALS),
            variances: Vec::with_capacity(PARTIALS),
            common: 0.0,
            stiffer: Vec::with_capacity(PARTIALS),
        };
        for place in 0..PARTIALS {
            if let Some((value, variance, law)) = of(place) {
                compared.partials.push(place);
                compared.values.push(value);
                compared.variances.push(variance);
                compared.stiffer.push(STIFFNESS_SPREAD * law);
            }
        }
        compared
    }

    fn weigh(&self) -> f64 {
        if self.values.len() < 2 {
            return 0.0;
        }
        let places: [f64; PLACES] = std::array::from_fn(|number| {
            let place = PLACE_FIRST + PLACE_STEP * number as f64;
            let shape: Vec<f64> = self
                .partials
                .iter()
                .map(|&n| MASS_SPREAD * thin(n + 2, place))
                .collect();
            let through = self.inverse(&shape);
            let information: f64 = through.iter().zip(&shape).map(|(a, b)| a * b).sum();
            let agrees: f64 = through.iter().zip(&self.values).map(|(a, b)| a * b).sum();
            0.5 * (agrees * agrees / (1.0 + information) - information.ln_1p())
        });
        likely::sum(places.into_iter()) - (PLACES as f64).ln()
    }

    /// The density of the values on an even string, less a constant, as a natural logarithm.
    fn even(&self) -> f64 {
        let through = self.inverse(&self.values);
        let distance: f64 = through.iter().zip(&self.values).map(|(a, b)| a * b).sum();
        // The determinant grows by 1 + uᵀ·A⁻¹·u with each rank.
        let plain: f64 = self.variances.iter().map(|variance| variance.ln()).sum();
        let ones: f64 = self.variances.iter().map(|variance| self.common / variance).sum();
        let only_common = Self {
            stiffer: vec![0.0; self.stiffer.len()],
            ..self.clone()
        };
        let stiff: f64 = only_common
            .inverse(&self.stiffer)
            .iter()
            .zip(&self.stiffer)
            .map(|(a, b)| a * b)
            .sum();
        -0.5 * (distance + plain + ones.ln_1p() + stiff.ln_1p())
    }

    /// `vector` through the inverse covariance diag(variances) + common·11ᵀ + stiffer·stifferᵀ, one rank after the other.
    fn inverse(&self, vector: &[f64]) -> Vec<f64> {
        let ones = vec![self.common.sqrt(); vector.len()];
        let first = |v: &[f64]| -> Vec<f64> { v.iter().zip(&self.variances).map(|(a, d)| a / d).collect() };
        let second = |v: &[f64]| lower(first(v), &first(&ones), &ones, v);
        lower(second(vector), &second(&self.stiffer), &self.stiffer, vector)
    }
}

/// Sherman & Morrison's update of `solved` = A⁻¹·`vector` for A + u·uᵀ, with `through` = A⁻¹·u.
fn lower(mut solved: Vec<f64>, through: &[f64], u: &[f64], vector: &[f64]) -> Vec<f64> {
    let bottom = 1.0 + through.iter().zip(u).map(|(a, b)| a * b).sum::<f64>();
    let top: f64 = through.iter().zip(vector).map(|(a, b)| a * b).sum();
    solved
        .iter_mut()
        .zip(through)
        .for_each(|(value, through)| *value -= through * top / bottom);
    solved
}

/// How far partial `n` rises above that many times the first one when a tenth around `place` loses its whole mass, cents,
/// to first order: df/f = −∫(dm/m)·sin²(nπx/L) dx/L.
pub(crate) fn thin(n: usize, place: f64) -> f64 {
    let share = |n: f64| {
        let (from, to) = (place - WIDTH / 2.0, place + WIDTH / 2.0);
        let wave = 2.0 * n * std::f64::consts::PI;
        WIDTH / 2.0 - ((wave * to).sin() - (wave * from).sin()) / (2.0 * wave)
    };
    likely::CENTS_PER_LN * (share(n as f64) - share(1.0))
}

/// Beating of an even string, cents, in the mean; and of a false one, in the median with the spread of its logarithm.
/// Assumed: two polarisations differ a little on every string.
const BEATS_EVEN: f64 = 0.8;
const BEATS_FALSE: (f64, f64) = (3.2, 0.6);
/// A false string need not beat.
const BEATS_SHARE: f64 = 0.6;
/// Beating alone is never proof: the room and other strings beat, too.
const BEATS_MOST: f64 = 4.5;

/// How much more likely a false string makes the beating than an even one.
pub(crate) fn beats(sound: &Sound) -> f64 {
    let Some(cents) = sound.beat_cents() else { return 0.0 };
    let even = -cents / BEATS_EVEN - BEATS_EVEN.ln();
    let of_false = likely::normal(cents.max(1e-3).ln() - BEATS_FALSE.0.ln(), BEATS_FALSE.1) - cents.max(1e-3).ln();
    let mixed = likely::sum([BEATS_SHARE.ln() + of_false, (1.0 - BEATS_SHARE).ln() + even].into_iter());
    (mixed - even).min(BEATS_MOST)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{Partial, Timbre};
    use consort_proto::{Cents, Hz};

    fn sound(ln_b: f64, off: impl Fn(usize) -> f64) -> Sound {
        let partials = (2..=6)
            .map(|n| Partial {
                number: n as u8,
                above: Cents(law_cents(n - 2, ln_b) + off(n)),
                sigma: Cents(0.1),
            })
            .collect();
        Sound::of(
            &[Timbre {
                partials,
                ..Timbre::default()
            }],
            Hz::new(300.0).expect("a pitch"),
        )
    }

    /// Partial n relative to n·f₁ for a mass 4 % less over the central tenth, cents, from the integral.
    #[test]
    fn a_thin_middle_lowers_the_even_partials() {
        for (n, cents) in [(2, -6.631), (3, -0.432), (4, -6.013), (5, -1.197), (6, -5.140)] {
            assert!(
                (0.0396 * thin(n, 0.5) - cents).abs() < 0.08,
                "{n}: {}",
                0.0396 * thin(n, 0.5)
            );
        }
    }

    #[test]
    fn a_thin_middle_is_off_the_curve_and_stiffness_is_not() {
        let usual = Usual {
            ln_stiffness: 1.2e-4_f64.ln(),
            off_law: 0.3,
        };
        let strong = off_curve(&sound(usual.ln_stiffness, |n| 0.04 * thin(n, 0.5)), usual);
        let moderate = off_curve(&sound(usual.ln_stiffness, |n| 0.02 * thin(n, 0.5)), usual);
        let stiff = off_curve(&sound(usual.ln_stiffness + 0.4, |_| 0.0), usual);
        let wobble = off_curve(
            &sound(usual.ln_stiffness, |n| [0.3, -0.2, 0.4, 0.1, -0.3][n - 2]),
            usual,
        );
        assert!(strong > 20.0 && moderate > 9.0, "{strong} {moderate}");
        assert!(stiff < 2.0 && wobble < 2.0, "{stiff} {wobble}");
    }

    #[test]
    fn a_string_that_was_even_and_is_not_has_changed() {
        let before = sound(1e-4_f64.ln(), |n| [0.9, -0.8, 0.7, -1.0, 0.5][n - 2]);
        let worn = sound(1e-4_f64.ln(), |n| {
            [0.9, -0.8, 0.7, -1.0, 0.5][n - 2] + 0.02 * thin(n, 0.3)
        });
        assert!(has_changed(&before, &worn) > 10.0);
        assert!(has_changed(&before, &before) < 0.0);
    }
}
