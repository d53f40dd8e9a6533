//! Registers: the parts of a harp that are heard, tuned and judged alike.

use consort_proto::{Accidental, HarpString, Letter, Material, Note};

/// A part of the harp's compass, from the bass up.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub enum Register {
    /// Wires, wherever they end.
    Wires,
    /// Below the G under middle C.
    Low,
    /// From there to the C above middle C.
    Middle,
    /// The octave above.
    High,
    /// The top octave and a half, where the tolerance is widest.
    Top,
}

impl Register {
    /// All of them, from the bass up.
    pub const ALL: [Self; 5] = [Self::Wires, Self::Low, Self::Middle, Self::High, Self::Top];

    /// Where `string` belongs.
    pub fn of(string: &HarpString) -> Self {
        const fn from(letter: Letter, octave: i8) -> i32 {
            Note::new(letter, Accidental::Natural, octave).steps()
        }
        let steps = string.open.steps();
        if string.material == Material::Wire {
            Self::Wires
        } else if steps < from(Letter::G, 3) {
            Self::Low
        } else if steps < from(Letter::C, 5) {
            Self::Middle
        } else if steps <= from(Letter::C, 6) {
            Self::High
        } else {
            Self::Top
        }
    }

    /// The word by which pages and programs know it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Wires => "wires",
            Self::Low => "low",
            Self::Middle => "middle",
            Self::High => "high",
            Self::Top => "top",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::harp_file::preset;

    #[test]
    fn every_register_of_a_concert_harp_has_strings_and_they_lie_in_order() {
        let harp = preset("pedal-47").expect("a preset");
        let registers: Vec<Register> = harp.strings().iter().rev().map(Register::of).collect();
        assert!(registers.is_sorted(), "{registers:?}");
        for register in Register::ALL {
            assert!(registers.contains(&register), "{register:?}");
        }
    }
}
