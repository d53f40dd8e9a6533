//! The room watch: what all harps' strings of one material did together since they were set, which is a reason to tune again.

use std::time::Duration;

pub use consort_proto::RoomMove;
use consort_proto::{Cents, Material};

/// How one string was found, against how it had been left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Movement {
    /// The harp's seat.
    pub seat: u32,
    /// What the string is made of.
    pub material: Material,
    /// How far it lies above where it was left.
    pub cents: Cents,
    /// How long ago it was left.
    pub since: Duration,
}

/// A string that was not plucked for so long is found as the room has left it: nobody turned its pin meanwhile.
pub const LEFT_FOR: Duration = Duration::from_secs(180);
/// Fewer harps say nothing about the room.
const HARPS_AT_LEAST: usize = 3;
/// Strings of a harp that speak for it; one alone may have a pin that slips.
const STRINGS_AT_LEAST: usize = 3;
/// Less is within what two tunings of one string differ by.
const MOVED: Cents = Cents(1.5);

/// What the room did, one line for each material that moved on at least two thirds of the harps.
pub fn watch(movements: &[Movement]) -> Vec<RoomMove> {
    if movements.is_empty() {
        return Vec::new();
    }
    const MATERIALS: [Material; 4] = [Material::Gut, Material::Nylon, Material::Fluorocarbon, Material::Wire];
    MATERIALS
        .into_iter()
        .filter_map(|material| of(material, movements))
        .collect()
}

fn of(material: Material, movements: &[Movement]) -> Option<RoomMove> {
    let own: Vec<&Movement> = movements
        .iter()
        .filter(|movement| movement.material == material)
        .collect();
    let mut seats: Vec<u32> = own.iter().map(|movement| movement.seat).collect();
    seats.sort_unstable();
    seats.dedup();
    let harps: Vec<f64> = seats
        .into_iter()
        .filter_map(|seat| {
            let strings: Vec<f64> = own
                .iter()
                .filter(|movement| movement.seat == seat)
                .map(|movement| movement.cents.0)
                .collect();
            (strings.len() >= STRINGS_AT_LEAST).then(|| median(strings)).flatten()
        })
        .collect();
    let of = harps.len();
    let cents = median(harps.clone())?;
    let same_way = |moved: &&f64| moved.signum() == cents.signum() && moved.abs() >= MOVED.0;
    let moved = harps.iter().filter(same_way).count();
    if of < HARPS_AT_LEAST || cents.abs() < MOVED.0 || 3 * moved < 2 * of {
        return None;
    }
    let since = median(own.iter().map(|movement| movement.since.as_secs_f64()).collect())?;
    Some(RoomMove {
        material,
        cents: Cents(cents),
        harps: moved,
        of,
        since: Duration::try_from_secs_f64(since).unwrap_or_default(),
    })
}

/// The value in the middle; none of nothing.
fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let last = values.len().checked_sub(1)?;
    Some((values[last / 2] + values[last.div_ceil(2)]) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// So many strings of a harp, all moved alike.
    fn harp(seat: u32, material: Material, cents: f64, strings: usize) -> Vec<Movement> {
        let movement = Movement {
            seat,
            material,
            cents: Cents(cents),
            since: Duration::from_secs(1_800),
        };
        vec![movement; strings]
    }

    #[test]
    #[rustfmt::skip]
    fn a_material_that_moved_on_most_harps_is_the_rooms_doing() {
        use Material::{Gut, Wire};
        // seat, material, cents, strings; then what is told: material, cents, harps, of
        for (what, harps, told) in [
            ("nobody was heard again",          vec![],                                                                         vec![]),
            ("gut fell on three of three",      vec![(1, Gut, -4.0, 9), (2, Gut, -3.0, 9), (3, Gut, -5.0, 9)],                  vec![(Gut, -4.0, 3, 3)]),
            ("gut fell on two of three",        vec![(1, Gut, -4.0, 9), (2, Gut, -3.0, 9), (3, Gut, 0.2, 9)],                   vec![(Gut, -3.0, 2, 3)]),
            ("on one of three: one harp",       vec![(1, Gut, -4.0, 9), (2, Gut, -0.3, 9), (3, Gut, 0.2, 9)],                   vec![]),
            ("two harps are no room",           vec![(1, Gut, -4.0, 9), (2, Gut, -3.0, 9)],                                     vec![]),
            ("each way: tuners, not the room",  vec![(1, Gut, -4.0, 9), (2, Gut, 4.0, 9), (3, Gut, -2.0, 9), (4, Gut, 3.0, 9)], vec![]),
            ("less than two tunings differ by", vec![(1, Gut, -1.0, 9), (2, Gut, -1.2, 9), (3, Gut, -0.8, 9)],                  vec![]),
            ("one string speaks for no harp",   vec![(1, Gut, -4.0, 1), (2, Gut, -3.0, 2), (3, Gut, -5.0, 9)],                  vec![]),
            ("wires rose and gut did not",      vec![(1, Gut, 0.1, 9), (2, Gut, 0.0, 9), (3, Gut, 0.2, 9),
                                                     (1, Wire, 2.0, 4), (2, Wire, 2.5, 4), (3, Wire, 3.0, 4)],                  vec![(Wire, 2.5, 3, 3)]),
        ] {
            let all = harps.into_iter().flat_map(|(seat, material, cents, strings)| harp(seat, material, cents, strings));
            let movements: Vec<Movement> = all.collect();
            let seen: Vec<_> = watch(&movements).iter().map(|moved| (moved.material, moved.cents.0, moved.harps, moved.of)).collect();
            assert_eq!(seen, told, "{what}");
        }
    }

    #[test]
    fn one_slipping_string_does_not_speak_for_its_harp() {
        let mut movements = Vec::new();
        for seat in 1..=4 {
            movements.extend(harp(seat, Material::Gut, -0.2, 8));
            movements.extend(harp(seat, Material::Gut, -30.0, 1));
        }
        assert_eq!(watch(&movements), []);
    }
}
