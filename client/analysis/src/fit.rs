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
pub(crate) const FIRST_DECIDES_HZ: f64 = 240.0;
/// The soundboard pulls what lies at its resonances and below them: so much at [`BOARD_HZ`], in cents, more below it in
/// proportion, less and less above [`BOARD_TOP_HZ`].
const STRAY_BOARD_CENTS: f64 = 2.0;
const BOARD_HZ: f64 = 100.0;
const BOARD_TOP_HZ: f64 = 200.0;
/// The first partial of a string lies so far off the law of those above it (one standard deviation over three harps), since
/// what the string is fixed to gives way: what few partials say of the stiffness is no surer than that.
const FIRST_OFF_CENTS: f64 = 4.0;
/// The stiffness is known beforehand to this share of itself.
const STIFFNESS_SHARE: f64 = 0.7;
/// A partial this many standard deviations off counts for nothing (Tukey's biweight).
const BIWEIGHT: f64 = 4.7;
const ROUNDS: usize = 8;
/// By so many cents more than is usual may the partials of a string stray; told from so many partials on.
const MORE_CENTS: [f64; 8] = [0.0, 0.35, 0.5, 0.7, 1.0, 1.5, 2.5, 5.0];
const MORE_POINTS: usize = 3;
const MORE_SIGMAS: f64 = 1.5;

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
        root_of_squares(STRAY_FIRST_CENTS, own * common(partial.hz))
    } else {
        own
    };
    root_of_squares(own, board)
}

/// How much of what other partials stray by a first partial at this frequency does: below middle C as they do, above it nothing.
fn common(first_hz: f64) -> f64 {
    (1.0 / (1.0 + (first_hz / FIRST_DECIDES_HZ).powi(8))).sqrt()
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
    // What does not change from round to round is reckoned once.
    let mut points = [Point::default(); FOLLOWED_MAX];
    let points = &mut points[..partials.len().min(FOLLOWED_MAX)];
    for (point, partial) in points.iter_mut().zip(partials) {
        *point = Point::of(partial, strongest);
    }
    // Of two or three partials it is not known whether the first lies off the law, or the others are stiff; of more, each by
    // itself would have to.
    let highest = partials.iter().map(|partial| partial.n).max().unwrap_or(1).max(2);
    let others = (0.5 * partials.len().saturating_sub(1) as f64).max(1.0);
    let board = 2.0 * FIRST_OFF_CENTS * CENT / ((highest * highest - 1) as f64 * others);
    for round in 0..ROUNDS {
        // The first rounds are lenient, so that a wrong start finds home.
        let lenience = if round < 3 {
            20.0 / (1 << (2 * round)) as f64
        } else {
            1.0
        };
        let more_cents = more_cents(points, p, q);
        let (mut s0, mut s1, mut s2, mut t0, mut t1) = (0.0, 0.0, prior, 0.0, prior * expected * p_near);
        let (mut misses, mut weights) = (0.0, 0.0);
        for point in points.iter() {
            let (n2, y, sigma) = (point.n2, point.y, point.sigma(more_cents));
            let miss = (y - p - q * n2) / sigma;
            let u = miss / (BIWEIGHT * lenience);
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
            stiffness_at_most: ((q + (s0 / determinant).sqrt() * inflation) / p + board).max(0.0),
            sigma_cents: 0.5 * variance.sqrt() / pitch2 / CENT * inflation,
        });
    }
    result
}

/// What the partials of this string stray by from (p, q) beyond what is usual, cents; 0 where they do not.
///
/// Those of some harps stray ten times as far as those of others, the strong ones as well: to believe the few that happen to agree
/// would be chance. The least of [`MORE_CENTS`] is taken with which half of the partials, those most that tell most,
/// lie within one standard deviation.
fn more_cents(points: &[Point], p: f64, q: f64) -> f64 {
    if points.len() < MORE_POINTS {
        return 0.0;
    }
    let half = 0.5 * points.iter().map(Point::tells).sum::<f64>();
    let suffices = |more: &f64| {
        let within = points.iter().filter(|point| {
            let miss = point.y - p - q * point.n2;
            miss.abs() <= MORE_SIGMAS * point.sigma(*more)
        });
        within.map(Point::tells).sum::<f64>() >= half
    };
    let most = MORE_CENTS[MORE_CENTS.len() - 1];
    MORE_CENTS.iter().copied().find(suffices).unwrap_or(most)
}

/// What one partial says, as it enters the fit.
#[derive(Clone, Copy, Default)]
struct Point {
    /// n² and (fₙ/n)².
    n2: f64,
    y: f64,
    /// What a cent is on the scale of the latter, and its own standard deviation in cents.
    cent: f64,
    sigma_cents: f64,
    /// As much of what all partials stray by beyond what is usual is this one's.
    share: f64,
}

impl Point {
    fn of(partial: &PartialPitch, strongest: f64) -> Self {
        let y = (partial.hz / partial.n as f64).powi(2);
        let noise_cents = partial.sigma_hz / partial.hz / CENT;
        Self {
            n2: (partial.n * partial.n) as f64,
            y,
            cent: 2.0 * y * CENT,
            sigma_cents: root_of_squares(noise_cents, stray_cents(partial, strongest)),
            share: if partial.n == 1 { common(partial.hz) } else { 1.0 },
        }
    }

    /// How much it tells of what the partials of its string stray by.
    fn tells(&self) -> f64 {
        self.share / self.sigma_cents
    }

    /// Its standard deviation, where partials stray by so many cents more than is usual.
    fn sigma(&self, more_cents: f64) -> f64 {
        self.cent * root_of_squares(self.sigma_cents, self.share * more_cents)
    }
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

    /// Partials of a low string, each so many cents off the law of all, as those of recorded lever harps are; and of one that keeps to
    /// it better.
    #[test]
    fn of_partials_that_stray_no_few_decide() {
        let fitted = |off: &[f64]| {
            let partials: Vec<PartialPitch> = (1..)
                .zip(off)
                .map(|(n, off)| PartialPitch {
                    n,
                    hz: 80.0 * partial_ratio(n, expected_stiffness(80.0)) * (off * CENT).exp(),
                    sigma_hz: 0.004 * n as f64,
                    amplitude: 1.0,
                })
                .collect();
            let fitted = fit_string(&partials, 80.0).expect("partials of a string");
            ((fitted.hz / 80.0).ln() / CENT, fitted.sigma_cents)
        };
        let strays = [3.0, 3.5, -3.0, -3.0, 1.5, 2.5, -1.5, -1.0, 3.0, 0.5, 2.0, 1.0];
        let (cents, sigma_cents) = fitted(&strays);
        assert!(cents.abs() < 2.0 * sigma_cents, "{cents} +- {sigma_cents}");
        assert!(sigma_cents > 0.5, "{sigma_cents}");
        let keeps: Vec<f64> = strays.iter().map(|off| 0.1 * off).collect();
        let (cents, sigma_cents) = fitted(&keeps);
        assert!(cents.abs() < 0.3, "{cents}");
        assert!(sigma_cents < 0.3, "{sigma_cents}");
    }

    /// A player's partials show that there is no stiffness; three of a string of which a room draws one along do not.
    #[test]
    fn a_partial_that_is_drawn_along_makes_no_string_harmonic() {
        let player = stiffness(1..=10, 0.0, (0, 0.0));
        assert!(player.1 < 0.3, "{player:?}");
        let string = stiffness(1..=3, 1.0, (3, -2.0));
        // Two of a string whose first lies 4 cents high, as of a lever harp, do not either.
        let first = stiffness(1..=2, 1.0, (1, 4.0));
        assert!(first.1 > 0.8, "{first:?}");
        assert!(string.0 < 0.6, "{string:?}");
        assert!(string.1 > 0.8, "{string:?}");
    }
}
