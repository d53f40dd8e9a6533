//! What a string's movements say: a pin that slips, a pin that was turned once, or neither.

use crate::chronicle::Move;
use crate::likely;

/// How much more likely each cause makes the newest movements than a string in order does, in natural logarithms, with
/// what it was expected to be beforehand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Evidence {
    pub(crate) slips: f64,
    /// The first movement, counted in the list, from which on the pin slips most likely.
    pub(crate) slips_from: usize,
    pub(crate) turned: f64,
    /// The movement that the turn was, counted in the list.
    pub(crate) turned_at: usize,
    /// A string that was renewed and not written down.
    pub(crate) renewed: f64,
    pub(crate) renewed_at: usize,
    /// Not a cause of its own: readings that scatter.
    pub(crate) scatter: f64,
}

/// How likely a pin begins to slip, is turned by mistake, or a string is renewed without a note, from one tuning to the
/// next: once in some ten years of daily tuning for each string, assumed. False alarms are held down by them.
const SLIPS: f64 = 3e-4;
const TURNED: f64 = 3e-4;
const RENEWED: f64 = 5e-6;
/// Movements that are looked back upon: what began earlier was named earlier.
const LOOKED_BACK: usize = 12;
/// Cents a day by which a pin that slips may slip, each as likely as the other.
const RATES: [f64; 5] = [4.0, 6.0, 9.0, 14.0, 21.0];
/// A pin slips in steps of about this, cents.
const STEP_CENTS: f64 = 3.5;
/// Left alone it comes to rest after about this, cents.
const RESTS_AFTER_CENTS: f64 = 60.0;
/// A pin that is turned by mistake goes this far in the mean, cents.
const TURNED_CENTS: f64 = 25.0;
/// A turn of less is within what hands leave behind.
const TURNED_MIN_CENTS: f64 = 7.0;
/// A false string's readings scatter by so much more, in a part of the cases.
const SCATTERS: (f64, f64) = (2.5, 0.3);
/// Falls of a string that was renewed without a note: cents for each e-fold of its age, from this age on, days.
const RENEWED_CENTS: [f64; 4] = [5.0, 9.0, 15.0, 25.0];
const RENEWED_AGE_DAYS: f64 = 0.6;

/// Looks at `moves`, oldest first.
pub(crate) fn weigh<'a>(moves: impl DoubleEndedIterator<Item = &'a Move> + ExactSizeIterator) -> Evidence {
    let skipped = moves.len().saturating_sub(LOOKED_BACK);
    let moves: Vec<&Move> = moves.skip(skipped).collect();
    let calm: Vec<f64> = moves
        .iter()
        .map(|made| likely::noise(made.beyond, made.sigma))
        .collect();
    let (slips, slips_from) = slipping(&moves, &calm);
    let (turned, turned_at) = turning(&moves, &calm);
    let (renewed, renewed_at) = renewing(&moves, &calm);
    let scatter = moves
        .iter()
        .zip(&calm)
        .map(|(made, calm)| {
            let wide = likely::noise(made.beyond, SCATTERS.0 * made.sigma) - calm;
            (1.0 - SCATTERS.1 + SCATTERS.1 * wide.exp()).ln()
        })
        .sum();
    Evidence {
        slips,
        slips_from: skipped + slips_from,
        turned,
        turned_at: skipped + turned_at,
        renewed,
        renewed_at: skipped + renewed_at,
        scatter,
    }
}

fn slipping(moves: &[&Move], calm: &[f64]) -> (f64, usize) {
    let mut begun = Vec::with_capacity(moves.len() * RATES.len());
    for rate in RATES {
        let mut so_far = 0.0;
        for (place, (made, calm)) in moves.iter().zip(calm).enumerate().rev() {
            let mean = (rate * made.days).min(RESTS_AFTER_CENTS);
            so_far += likely::slipped(made.beyond, mean, STEP_CENTS, made.sigma) - calm;
            begun.push((so_far - (RATES.len() as f64).ln(), place));
        }
    }
    let from = begun.iter().max_by(|a, b| a.0.total_cmp(&b.0)).map_or(0, |most| most.1);
    (SLIPS.ln() + likely::sum(begun.iter().map(|begun| begun.0)), from)
}

fn turning(moves: &[&Move], calm: &[f64]) -> (f64, usize) {
    let each = moves.iter().zip(calm).map(|(made, calm)| {
        if made.beyond.abs() < TURNED_MIN_CENTS {
            f64::NEG_INFINITY
        } else {
            likely::turned(made.beyond, TURNED_CENTS) - calm
        }
    });
    let at = each
        .clone()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map_or(0, |most| most.0);
    (TURNED.ln() + likely::sum(each), at)
}

fn renewing(moves: &[&Move], calm: &[f64]) -> (f64, usize) {
    let mut all = Vec::new();
    for (place, made) in moves.iter().enumerate() {
        if made.beyond.abs() < TURNED_MIN_CENTS || place + 3 >= moves.len() {
            continue;
        }
        let first = likely::turned(made.beyond, TURNED_CENTS) - calm[place];
        for cents in RENEWED_CENTS {
            let mut age = RENEWED_AGE_DAYS;
            let later: f64 = moves[place + 1..]
                .iter()
                .zip(&calm[place + 1..])
                .map(|(made, calm)| {
                    let fall = cents * ((age + made.days) / age).ln();
                    age += made.days;
                    likely::noise(made.beyond + fall, made.sigma.hypot(0.25 * fall)) - calm
                })
                .sum();
            all.push((first + later - (RENEWED_CENTS.len() as f64).ln(), place));
        }
    }
    let at = all.iter().max_by(|a, b| a.0.total_cmp(&b.0)).map_or(0, |most| most.1);
    (RENEWED.ln() + likely::sum(all.iter().map(|one| one.0)), at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::date::Moment;

    /// Checks which of slipping, turned and renewed outweighs the others and a string in order, after daily movements.
    #[track_caller]
    fn check(beyond: &[f64], says: &str) {
        let moves: Vec<Move> = (0..)
            .zip(beyond)
            .map(|(day, &beyond)| Move {
                from: Moment(day * 86_400),
                at: Moment((day + 1) * 86_400),
                days: 1.0,
                beyond,
                sigma: 1.0,
                visit: day as usize,
            })
            .collect();
        let evidence = weigh(moves.iter());
        let causes = [
            ("slips", evidence.slips),
            ("turned", evidence.turned),
            ("renewed", evidence.renewed),
        ];
        let (most, weight) = causes
            .into_iter()
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .expect("three causes");
        assert_eq!(if weight > 3.0 { most } else { "too early" }, says, "{evidence:?}");
    }

    #[test]
    #[rustfmt::skip]
    fn steps_down_day_after_day_are_a_pin_and_one_step_is_a_hand() {
        check(&[0.3, -0.8, 0.4, 1.1, -0.2, 0.6],                "too early");
        check(&[0.3, -0.8, 0.4, -9.0],                          "too early");
        check(&[0.3, -0.8, 0.4, -9.0, -7.0, -8.0],              "slips");
        check(&[0.3, -0.8, 0.4, -6.0, -4.0, -8.0, -7.0, -2.0],  "slips");
        check(&[0.3, -0.8, 0.4, -30.0, 0.5, 0.1, -0.7, 0.2],    "turned");
        check(&[0.3, -0.8, 0.4, 22.0],                          "turned");
        check(&[0.3, -0.8, -45.0, -12.0, -5.0, -3.5, -2.5, -2.0, -1.7], "renewed");
    }
}
