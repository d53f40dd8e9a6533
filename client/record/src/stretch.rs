//! A new string: how it goes on falling, and when it holds.

use consort_proto::Cents;

use crate::chronicle::Move;
use crate::date::Date;
use crate::likely;

/// What is expected of a new string.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Stretch {
    /// The day from which on it falls less than its tolerance from one day to the next, as likely earlier as later.
    pub(crate) holds_on: Date,
    /// Days either way in which it holds with a likelihood of 80 %.
    pub(crate) within_days: f64,
    /// What it has fallen from tuning to tuning, newest last.
    pub(crate) falls: Vec<Cents>,
    curves: Vec<(Curve, f64)>,
}

/// One way of falling.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Curve {
    /// Cents for each e-fold of age, from this age on, days: creep.
    Logarithm { cents: f64 },
    /// Cents in all, and days in which the rest falls to 1/e.
    Exponential { cents: f64, days: f64 },
}

/// Age, days, from which creep is logarithmic: assumed.
const CREEP_BEGINS_DAYS: f64 = 0.15;
/// Holding takes "up to a week by size" (common practice): median in days and spread of its logarithm.
const HOLDS_DAYS: f64 = 5.0;
const HOLDS_SPREAD: f64 = 0.5;
/// No curve is followed further, days.
const FOLLOWED_DAYS: f64 = 40.0;
/// Curves are right to this share of a fall.
const CURVE_SHARE: f64 = 0.2;
/// A string is put on some time in a day; this is when, in days before the noon that the day counts from.
const FITTED_SIGMA: [f64; 3] = [-0.3, 0.0, 0.3];

impl Curve {
    /// The fall from age `from` to age `to`, days, cents.
    fn falls(self, from: f64, to: f64) -> f64 {
        let (from, to) = (from.max(0.02), to.max(0.03));
        match self {
            Self::Logarithm { cents } => cents * ((CREEP_BEGINS_DAYS + to) / (CREEP_BEGINS_DAYS + from)).ln(),
            Self::Exponential { cents, days } => cents * ((-from / days).exp() - (-to / days).exp()),
        }
    }

    /// The age from which on a day's fall is below `near`, cents.
    fn holds_after(self, near: f64) -> f64 {
        match self {
            // c·ln(1 + 1/(t₀ + t)) = near
            Self::Logarithm { cents } => (1.0 / (near / cents).exp_m1() - CREEP_BEGINS_DAYS).max(0.0),
            Self::Exponential { cents, days } => (days * (cents * (1.0 - (-1.0 / days).exp()) / near).ln()).max(0.0),
        }
    }

    fn all() -> impl Iterator<Item = Self> {
        let sizes = (0..11).map(|step| 4.0 * 1.3_f64.powi(step));
        let creeping = sizes.clone().map(|cents| Self::Logarithm { cents });
        let dying = [1.0, 1.7, 2.5, 3.5, 5.0].into_iter().flat_map(move |days| {
            sizes.clone().map(move |cents| Self::Exponential {
                cents: 1.6 * cents,
                days,
            })
        });
        creeping.chain(dying)
    }
}

impl Stretch {
    /// What the movements of a string that was put on the day `fitted` say; `near` is its tolerance, cents.
    pub(crate) fn of<'a>(fitted: Date, near: Cents, moves: impl Iterator<Item = &'a Move> + Clone) -> Self {
        let mut curves = Vec::new();
        for curve in Curve::all() {
            let holds = curve.holds_after(near.0);
            if holds > FOLLOWED_DAYS {
                continue;
            }
            let prior = likely::normal(holds.max(0.4).ln() - HOLDS_DAYS.ln(), HOLDS_SPREAD);
            let fits = FITTED_SIGMA.map(|early| {
                moves
                    .clone()
                    .map(|made| {
                        let from = made.from.days_since(fitted.noon()) - early;
                        let fall = curve.falls(from, from + made.days);
                        likely::noise(made.beyond + fall, made.sigma.hypot(CURVE_SHARE * fall))
                    })
                    .sum::<f64>()
            });
            // Many curves hold after about the same time; they share what that time is worth.
            let crowd = match curve {
                Curve::Logarithm { .. } => 0.0,
                Curve::Exponential { .. } => -(5.0_f64.ln()),
            };
            curves.push((
                curve,
                prior + crowd + likely::sum(fits.into_iter()) - holds.max(0.4).ln(),
            ));
        }
        let whole = likely::sum(curves.iter().map(|curve| curve.1));
        curves.iter_mut().for_each(|curve| curve.1 = (curve.1 - whole).exp());
        let mut holds: Vec<(f64, f64)> = curves
            .iter()
            .map(|(curve, weight)| (curve.holds_after(near.0), *weight))
            .collect();
        holds.sort_by(|a, b| a.0.total_cmp(&b.0));
        let at = |share: f64| {
            let mut so_far = 0.0;
            holds
                .iter()
                .find(|(_, weight)| {
                    so_far += weight;
                    so_far >= share
                })
                .map_or(HOLDS_DAYS, |found| found.0)
        };
        Self {
            holds_on: fitted.plus(at(0.5).round() as i32),
            within_days: (at(0.9) - at(0.1)) / 2.0,
            falls: moves.map(|made| Cents(-made.beyond)).collect(),
            curves,
        }
    }

    /// The fall that is still expected between two ages, days, cents, and one standard deviation of that.
    pub(crate) fn expects(&self, from: f64, to: f64) -> (f64, f64) {
        let mean: f64 = self
            .curves
            .iter()
            .map(|(curve, weight)| weight * curve.falls(from, to))
            .sum();
        let spread: f64 = self
            .curves
            .iter()
            .map(|(curve, weight)| weight * (curve.falls(from, to) - mean).powi(2))
            .sum();
        (mean, spread.sqrt().hypot(CURVE_SHARE * mean))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::date::Moment;

    #[test]
    fn a_string_that_falls_less_each_day_is_given_a_day_on_which_it_holds() {
        let fitted = Date::from_days(20_000);
        // Creep of 10 cents for each e-fold: less than 2 cents a day from an age of 4.4 days on.
        let moves: Vec<Move> = (1..4)
            .map(|day| {
                let age = f64::from(day);
                let begin = Moment(fitted.noon().0 + i64::from(day) * 86_400);
                Move {
                    from: begin,
                    at: Moment(begin.0 + 86_400),
                    days: 1.0,
                    beyond: -10.0 * ((age + 1.15) / (age + 0.15)).ln(),
                    sigma: 0.7,
                    visit: day as usize,
                }
            })
            .collect();
        let stretch = Stretch::of(fitted, Cents(2.0), moves.iter());
        let days = stretch.holds_on.days_since(fitted);
        assert!((3..=6).contains(&days), "{days}");
        assert!(stretch.falls[0].0 > stretch.falls[2].0);
    }
}
