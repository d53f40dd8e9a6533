//! How far the harps stand apart: the same string on several harps, compared by what each was last heard at.

use std::collections::BTreeMap;

use consort_proto::{Cents, Harp, Readiness};

use crate::register::Register;

/// How far the harps stand apart in one register.
#[derive(Clone, Debug, PartialEq)]
pub struct Spread {
    /// Which.
    pub register: Register,
    /// The harps with a string that counts there, in the order in which they were given.
    pub stands: Vec<Stands>,
    /// From the lowest to the highest of them.
    pub apart: Cents,
}

/// Where one harp stands in a register.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stands {
    /// Its place among those that were given.
    pub harp: usize,
    /// The median of its strings, from their targets.
    pub cents: Cents,
}

/// How far `harps` stand apart in each register where at least two can be compared, from the bass up.
///
/// Only strings that are in tune or were (set once, hold, moved) count: a string that nobody has tuned yet says nothing
/// about how well the harps agree. A harp counts from three such strings of a register on, and as the median of them, so
/// that one string does not speak for a harp.
pub fn spread<'a>(harps: impl IntoIterator<Item = (&'a Harp, &'a Readiness)>) -> Vec<Spread> {
    let mut registers: BTreeMap<Register, Vec<Stands>> = BTreeMap::new();
    for (place, (harp, readiness)) in harps.into_iter().enumerate() {
        let mut heard: BTreeMap<Register, Vec<f64>> = BTreeMap::new();
        for (string, standing) in harp.strings().iter().zip(readiness.standings()) {
            use consort_proto::Standing::{Holds, Moved, SetOnce};
            if let SetOnce(cents) | Holds(cents) | Moved(cents) = standing {
                heard.entry(Register::of(string)).or_default().push(cents.0);
            }
        }
        for (register, mut cents) in heard {
            if cents.len() >= STRINGS_MIN {
                cents.sort_by(f64::total_cmp);
                let middle = (cents[(cents.len() - 1) / 2] + cents[cents.len() / 2]) / 2.0;
                registers.entry(register).or_default().push(Stands {
                    harp: place,
                    cents: Cents(middle),
                });
            }
        }
    }
    let spreads = registers.into_iter().filter(|(_, stands)| stands.len() >= 2);
    spreads
        .map(|(register, stands)| {
            let cents = || stands.iter().map(|stands| stands.cents.0);
            let apart = cents().fold(f64::MIN, f64::max) - cents().fold(f64::MAX, f64::min);
            Spread {
                register,
                apart: Cents(apart),
                stands,
            }
        })
        .collect()
}

/// A register of a harp with fewer strings that count says too little.
const STRINGS_MIN: usize = 3;

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::Standing;
    use consort_proto::harp_file::preset;

    #[test]
    fn harps_are_compared_where_both_have_tuned_and_by_the_middle_of_their_strings() {
        let harp = preset("pedal-47").expect("a preset");
        let at = |cents: f64| {
            let standing = |string| match Register::of(string) {
                Register::Middle => Standing::Holds(Cents(cents)),
                Register::High => Standing::Off(Cents(-40.0)),
                _ => Standing::NotHeard,
            };
            let mut standings: Vec<Standing> = harp.strings().iter().map(standing).collect();
            // One string far off does not speak for its harp.
            let one = harp
                .strings()
                .iter()
                .position(|string| Register::of(string) == Register::Middle);
            standings[one.expect("a string")] = Standing::Moved(Cents(-30.0));
            Readiness::judged(standings)
        };
        let (low, high, new) = (
            at(-1.5),
            at(1.0),
            Readiness::judged(vec![Standing::NotHeard; harp.len()]),
        );
        let spreads = spread([&low, &new, &high].map(|readiness| (&harp, readiness)));
        assert_eq!(spreads.len(), 1, "{spreads:?}");
        assert_eq!((spreads[0].register, spreads[0].apart), (Register::Middle, Cents(2.5)));
        let harps: Vec<usize> = spreads[0].stands.iter().map(|stands| stands.harp).collect();
        assert_eq!(harps, [0, 2]);
        assert!(spread([(&harp, &low)]).is_empty(), "nobody is compared with herself");
    }
}
