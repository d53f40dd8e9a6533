//! The cheapest A: for each reference pitch within reach, how much of the ensemble would have to be turned.
//!
//! Where an organ or a piano rules, there is nothing to choose; where none does, the ensemble may follow its harps.

use std::time::Duration;

use consort_proto::{Cents, Harp, Readiness, ReferencePitch, Tolerance};

/// What one reference pitch would cost.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cost {
    /// The pitch.
    pub a4: ReferencePitch,
    /// Strings that would have to be turned, of all that were heard.
    pub strings: usize,
    /// The same on the harp with the most: all turn at the same time.
    pub most_on_one: usize,
    /// How long that one takes.
    pub takes: Duration,
}

/// What one string takes, found, turned and heard again (common practice, no source: a harp in a quarter of an hour).
pub const PER_STRING: Duration = Duration::from_secs(20);
/// Fewer strings, those that are set aside not counted, say nothing about an ensemble (assumed).
const HEARD_AT_LEAST: usize = 12;
/// How far from today's A is looked: a semitone is a technician's business, a quarter of that a rehearsal's.
const WITHIN_HZ: f64 = 5.0;
/// How fine is chosen.
const STEP_HZ: f64 = 0.5;

/// What each A within reach of `a4` would cost, from the lowest; `harps` are judged at `a4`.
///
/// A new A moves every target alike, so that what is known at one is known at all. Strings that were not heard, and those
/// that are set aside, cost the same at each and are left out.
pub fn costs(a4: ReferencePitch, harps: &[(&Harp, &Readiness)], tolerance: &Tolerance) -> Vec<Cost> {
    let nearest = (a4.hz().get() / STEP_HZ).round();
    let steps = (WITHIN_HZ / STEP_HZ) as i32;
    (-steps..=steps)
        .filter_map(|step| ReferencePitch::new((nearest + f64::from(step)) * STEP_HZ).ok())
        .map(|other| cost(other, other.hz().cents_above(a4.hz()), harps, tolerance))
        .collect()
}

/// The A that costs least: the shortest time, then the fewest strings, then the nearest to today's; none while hardly any
/// string was heard.
pub fn cheapest(a4: ReferencePitch, harps: &[(&Harp, &Readiness)], tolerance: &Tolerance) -> Option<Cost> {
    let standings = harps.iter().flat_map(|(_, readiness)| readiness.standings());
    let heard = standings.filter(|standing| standing.cents().is_some() && !standing.is_set_aside());
    let enough = heard.count() >= HEARD_AT_LEAST;
    if !enough {
        return None;
    }
    let costs = costs(a4, harps, tolerance).into_iter();
    let far = |cost: &Cost| (cost.a4.hz().get() - a4.hz().get()).abs();
    costs.min_by(|one, other| {
        let key = |cost: &Cost| (cost.most_on_one, cost.strings);
        key(one).cmp(&key(other)).then(far(one).total_cmp(&far(other)))
    })
}

fn cost(a4: ReferencePitch, raised: Cents, harps: &[(&Harp, &Readiness)], tolerance: &Tolerance) -> Cost {
    let turned = harps.iter().map(|(harp, readiness)| {
        let strings = harp.strings().iter().zip(readiness.standings());
        strings
            .filter(|(string, standing)| {
                let off = standing.cents().filter(|_| !standing.is_set_aside());
                off.is_some_and(|off| !(off - raised).is_within(tolerance.of(string)))
            })
            .count()
    });
    let turned: Vec<usize> = turned.collect();
    let most_on_one = turned.iter().copied().max().unwrap_or_default();
    Cost {
        a4,
        strings: turned.iter().sum(),
        most_on_one,
        takes: PER_STRING * u32::try_from(most_on_one).unwrap_or(u32::MAX),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::{Standing, harp_file};

    fn a(hz: f64) -> ReferencePitch {
        ReferencePitch::new(hz).expect("in reach")
    }

    /// What a harp is at 440 Hz, whose first strings from the top lie so far above their targets.
    fn readiness(harp: &Harp, cents: &[f64]) -> Readiness {
        let mut standings: Vec<Standing> = cents.iter().map(|&cents| Standing::Off(Cents(cents))).collect();
        standings.resize(harp.len(), Standing::NotHeard);
        Readiness::judged(standings)
    }

    /// From 440 to 441 Hz is 3.930 cents, to 442 Hz 7.851, computed from the definition of the cent.
    #[test]
    fn harps_that_have_risen_together_are_cheapest_where_they_are() {
        let harp = harp_file::preset("lever-22").expect("a preset");
        let strict = Tolerance {
            middle: Cents(1.0),
            wires: Cents(1.0),
            top: Cents(1.0),
        };
        for (what, harps, cheapest_hz, strings, most) in [
            ("all at 442", vec![vec![7.9; 10], vec![7.8; 10]], 442.0, 0, 0),
            (
                "one harp left behind at 440",
                vec![vec![7.9; 10], vec![0.0; 4]],
                442.0,
                4,
                4,
            ),
            (
                "as many at 440: today's A stays",
                vec![vec![7.9; 10], vec![0.0; 10]],
                440.0,
                10,
                10,
            ),
            ("all in tune", vec![vec![0.3; 22]], 440.0, 0, 0),
        ] {
            let readiness: Vec<Readiness> = harps.iter().map(|cents| readiness(&harp, cents)).collect();
            let harps: Vec<(&Harp, &Readiness)> = readiness.iter().map(|readiness| (&harp, readiness)).collect();
            let found = cheapest(a(440.0), &harps, &strict).expect("strings were heard");
            assert_eq!(
                (found.a4, found.strings, found.most_on_one),
                (a(cheapest_hz), strings, most),
                "{what}"
            );
            assert_eq!(found.takes, PER_STRING * most as u32, "{what}");
        }
    }

    #[test]
    fn hardly_anything_heard_is_nothing_to_choose_by_and_strings_set_aside_cost_nothing() {
        let harp = harp_file::preset("lever-22").expect("a preset");
        for heard in [0, 1, HEARD_AT_LEAST - 1] {
            let few = readiness(&harp, &vec![7.9; heard]);
            assert_eq!(
                cheapest(a(440.0), &[(&harp, &few)], &Tolerance::default()),
                None,
                "{heard}"
            );
        }
        let mut standings = vec![Standing::Holds(Cents(0.0)); harp.len()];
        standings[0] = Standing::New(Some(Cents(-30.0)));
        standings[1] = Standing::WillNotHold(Cents(-30.0));
        let aside = Readiness::judged(standings);
        let found = cheapest(a(440.0), &[(&harp, &aside)], &Tolerance::default()).expect("strings were heard");
        assert_eq!((found.a4, found.strings), (a(440.0), 0));
    }

    #[test]
    fn every_half_hertz_within_five_is_looked_at() {
        let harp = harp_file::preset("lever-22").expect("a preset");
        let heard = readiness(&harp, &[0.0]);
        let looked: Vec<f64> = costs(a(440.2), &[(&harp, &heard)], &Tolerance::default())
            .iter()
            .map(|cost| cost.a4.hz().get())
            .collect();
        assert_eq!((looked[0], looked[looked.len() - 1], looked.len()), (435.0, 445.0, 21));
    }
}
