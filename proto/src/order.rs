//! The usual order of tuning a harp.

use crate::harp::{Harp, StringNumber};
use crate::note::{Accidental, Letter, Note};

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
