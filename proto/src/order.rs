//! The orders in which a harp is tuned, the usual one first.

use crate::harp::{Harp, Material, StringNumber};
use crate::note::{Accidental, Letter, Note};
use crate::readiness::{Readiness, Standing, Tolerance};
use crate::units::Cents;

/// The order in which strings are asked for.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub enum Order {
    /// Middle C and down, then from the D above up.
    #[default]
    Usual,
    /// From the longest string up.
    Up,
    /// From the shortest string down.
    Down,
    /// One letter after the other, each from its longest string up: C, D, E, F, G, A, B.
    Octaves,
}

/// A harp that is off by more than this as a whole gets a quick pass first.
pub const QUICK_FROM: Cents = Cents(8.0);
/// Near enough in a quick pass.
pub const QUICK_WITHIN: Cents = Cents(5.0);

/// How much a fault is heard in the top octave and a half and on wires, beside the same in the middle: assumed.
const HEARD_AT_THE_ENDS: f64 = 0.6;

impl Order {
    /// All orders, the usual one first.
    pub const ALL: [Self; 4] = [Self::Usual, Self::Up, Self::Down, Self::Octaves];

    /// The word by which programs know it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Usual => "usual",
            Self::Up => "up",
            Self::Down => "down",
            Self::Octaves => "octaves",
        }
    }

    /// The order that programs know by `word`.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|order| order.word() == word)
    }

    /// The strings of `harp` in this order.
    pub fn strings(self, harp: &Harp) -> Vec<StringNumber> {
        let all = harp.numbered().map(|(number, _)| number);
        match self {
            Self::Usual => usual_order(harp),
            Self::Up => all.rev().collect(),
            Self::Down => all.collect(),
            Self::Octaves => {
                let mut strings: Vec<StringNumber> = all.rev().collect();
                // Stable, so that each letter keeps its way up.
                strings.sort_by_key(|number| harp.string(*number).map(|string| string.open.letter.index()));
                strings
            }
        }
    }
}

/// The strings of `harp` in the order in which harpists usually tune them: middle C and down string by string, then
/// from the D above middle C up.
///
/// So the key only moves to the next pin, and the middle, which is heard best, comes first (common practice, no source).
/// A harp that ends above middle C is tuned from its lowest string up.
pub fn usual_order(harp: &Harp) -> Vec<StringNumber> {
    const MIDDLE_C: i32 = Note::new(Letter::C, Accidental::Natural, 4).steps();
    let down = harp.numbered().filter(|(_, string)| string.open.steps() <= MIDDLE_C);
    let up = harp
        .numbered()
        .rev()
        .filter(|(_, string)| string.open.steps() > MIDDLE_C);
    down.chain(up).map(|(number, _)| number).collect()
}

/// The strings of `order`, the most audible fault first, as they are asked for when the start is near; what was not heard yet
/// comes after what is off.
pub fn most_audible_first(harp: &Harp, order: &[StringNumber], readiness: &Readiness) -> Vec<StringNumber> {
    let tolerance = Tolerance::default();
    let audible = |number: StringNumber| -> f64 {
        let Some(string) = harp.string(number) else { return 0.0 };
        let at_an_end = tolerance.is_top(string) || string.material == Material::Wire;
        let share = if at_an_end { HEARD_AT_THE_ENDS } else { 1.0 };
        match readiness.of(number) {
            Some(Standing::Off(cents) | Standing::Moved(cents)) => cents.0.abs() * share,
            Some(Standing::SetOnce(_)) => -1.0,
            _ => 0.0,
        }
    };
    let mut strings: Vec<_> = order.iter().map(|&number| (audible(number), number)).collect();
    strings.sort_by(|(one, _), (other, _)| other.total_cmp(one));
    strings.into_iter().map(|(_, number)| number).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harp_file::preset;

    #[test]
    fn tuning_starts_at_middle_c_goes_down_and_then_up_from_the_d_above() {
        let harp = preset("pedal-47").expect("a preset");
        let order = usual_order(&harp);
        let name = |place: usize| harp.string(order[place]).expect("a string").open.harp_name();
        assert_eq!(order.len(), 47);
        assert_eq!([name(0), name(1), name(21)], ["4C", "4B", "7C"]);
        assert_eq!([name(22), name(23), name(46)], ["4D", "4E", "0G"]);
    }

    #[test]
    fn every_string_is_tuned_once() {
        for preset_name in crate::harp_file::preset_names() {
            let harp = preset(preset_name).expect("a preset");
            let mut order = usual_order(&harp);
            order.sort();
            let all: Vec<StringNumber> = harp.numbered().map(|(number, _)| number).collect();
            assert_eq!(order, all, "{preset_name}");
        }
    }
}
