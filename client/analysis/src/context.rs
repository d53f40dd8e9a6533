//! What the listener is told about the harp: the strings that may sound, and what is known of each.

use consort_proto::{Cents, Hz};

/// The most strings a context can hold; the largest harps in use have 47, a chromatic one about 60.
pub const STRINGS_MAX: usize = 64;

/// One string that may be plucked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExpectedString {
    /// The pitch that the open string is meant to have.
    pub target: Hz,
    /// How far the string stood from its target when it was last heard, if it was.
    pub offset: Option<Cents>,
}

impl ExpectedString {
    /// A string that has not been heard yet.
    pub const fn new(target: Hz) -> Self {
        Self { target, offset: None }
    }
}

/// Whether plucks follow one another in an order that helps to tell strings apart.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub enum Order {
    /// Every pluck stands alone.
    #[default]
    Unknown,
    /// The usual order of tuning: from middle C down string by string, then from the D above it up.
    Usual,
    /// A run over the harp, string by string in either direction, none of them damped. A pluck that has one of a neighbour
    /// within 0.9 s is judged by what it adds to the ringing, up to 1.9 s after it sounded, and without live tracks; one that
    /// only the run found has no onset reported. Any other pluck is heard as ever, and so is a string that is chosen.
    Run,
}

/// How far the strings of a harp stand from their targets, as far as they have been heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Where the strings stand on the whole.
    pub mean: Cents,
    /// How far single strings lie from there, one standard deviation.
    pub scale: Cents,
}

impl Default for Spread {
    /// A harp that nobody has heard yet.
    fn default() -> Self {
        Self {
            mean: Cents(0.0),
            scale: Spread::UNHEARD,
        }
    }
}

impl Spread {
    /// Of a harp that nobody has heard yet: strings drift by some ten or twenty cents between rehearsals (common practice,
    /// no source).
    const UNHEARD: Cents = Cents(22.0);
    /// However well a harp is in tune, a string may have been left behind this far.
    const LEAST: Cents = Cents(14.0);
    /// How many strings the spread of an unheard harp is worth.
    const UNHEARD_COUNTS: f64 = 4.0;

    /// The spread of strings that were found `offsets` from their targets.
    ///
    /// One string far off says little about the others; a harp whose strings stand anywhere says much.
    pub fn of(offsets: impl Iterator<Item = Cents> + Clone) -> Self {
        let count = offsets.clone().count() as f64;
        let near = |offset: Cents| offset.0.clamp(-2.0 * Self::UNHEARD.0, 2.0 * Self::UNHEARD.0);
        let mean = offsets.clone().map(near).sum::<f64>() / (count + Self::UNHEARD_COUNTS);
        let apart: f64 = offsets.map(|offset| (offset.0 - mean).abs()).sum();
        // Of a normal spread the mean distance is 0.8 of the standard deviation.
        let usual = 0.8 * Self::UNHEARD.0 * Self::UNHEARD_COUNTS;
        let scale = (usual + apart) / (0.8 * (count + Self::UNHEARD_COUNTS));
        Self {
            mean: Cents(mean),
            scale: Cents(scale.max(Self::LEAST.0)),
        }
    }
}

/// The harp as the listener should expect it from the next onset on.
///
/// A plain value of about two kilobytes: copying it never allocates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Context {
    strings: [Option<ExpectedString>; STRINGS_MAX],
    count: usize,
    /// The number of the string that the harpist chose by hand, if she did: it is looked for from an octave below its
    /// target, and no other string competes with it for what it explains.
    pub chosen: Option<u8>,
    /// The number of the string that was plucked before.
    pub previous: Option<u8>,
    /// Whether the next string can be expected to follow from the previous one.
    pub order: Order,
    /// How far strings that were not heard yet may be expected from their targets.
    pub spread: Spread,
}

/// More strings than a context holds.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[error("{0} strings are more than the {STRINGS_MAX} that can be listened for")]
pub struct TooManyStrings(pub usize);

impl Context {
    /// The given strings from the top, so that the first one has number 1; nothing chosen, no order.
    pub fn new(strings: &[ExpectedString]) -> Result<Self, TooManyStrings> {
        if strings.len() > STRINGS_MAX {
            return Err(TooManyStrings(strings.len()));
        }
        let mut context = Self {
            strings: [None; STRINGS_MAX],
            count: strings.len(),
            chosen: None,
            previous: None,
            order: Order::Unknown,
            spread: Spread::default(),
        };
        for (slot, string) in context.strings.iter_mut().zip(strings) {
            *slot = Some(*string);
        }
        Ok(context)
    }

    /// The 47 open strings of a concert harp with every pedal in flat, in equal temperament: G-flat 7 down to C-flat 1.
    pub fn concert_harp(a4: Hz) -> Self {
        // Semitones above the lowest string within one octave of C-flat major: C, D, E, F, G, A, B.
        const SCALE: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];
        // C-flat 1 is MIDI note 23 and A4 is 69.
        const LOWEST: i32 = 23 - 69;
        let mut context = Self {
            strings: [None; STRINGS_MAX],
            count: 47,
            chosen: None,
            previous: None,
            order: Order::Unknown,
            spread: Spread::default(),
        };
        for (from_bottom, slot) in context.strings[..47].iter_mut().rev().enumerate() {
            let semitones = LOWEST + 12 * (from_bottom / 7) as i32 + SCALE[from_bottom % 7];
            *slot = Some(ExpectedString::new(a4.raised_by(Cents(100.0 * f64::from(semitones)))));
        }
        context
    }

    /// How many strings there are.
    pub const fn len(&self) -> usize {
        self.count
    }

    /// Whether there is no string to listen for.
    pub const fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// The string with this number, counted from 1 at the top.
    pub fn string(&self, number: u8) -> Option<&ExpectedString> {
        self.strings.get(usize::from(number).checked_sub(1)?)?.as_ref()
    }

    /// Remembers how far a string stood from its target when it was last heard; an unknown number is ignored.
    pub fn remember(&mut self, number: u8, offset: Option<Cents>) {
        if let Some(Some(string)) = usize::from(number)
            .checked_sub(1)
            .and_then(|at| self.strings.get_mut(at))
        {
            string.offset = offset;
        }
    }

    /// Every string with its number, from the top.
    pub fn strings(&self) -> impl Iterator<Item = (u8, &ExpectedString)> {
        self.strings[..self.count]
            .iter()
            .flatten()
            .zip(1..)
            .map(|(string, number)| (number, string))
    }

    /// Whether the string is the chosen one, the next in order, or lies beside the one that was plucked before.
    pub fn expects(&self, string: u8) -> bool {
        let beside = |other: u8| other.abs_diff(string) <= 1;
        self.chosen == Some(string) || self.next_in_order() == Some(string) || self.previous.is_some_and(beside)
    }

    /// The string that follows the previous one in the usual order, where there is one.
    ///
    /// Middle C is the C-flat of 247 Hz to the C of 262 Hz: the string whose target lies nearest to 254 Hz on a scale of cents.
    pub fn next_in_order(&self) -> Option<u8> {
        if self.order != Order::Usual {
            return None;
        }
        let middle = self.middle_string()?;
        let last = u8::try_from(self.count).ok()?;
        match self.previous {
            None => Some(middle),
            Some(previous) if previous >= middle && previous < last => Some(previous + 1),
            Some(previous) if previous == last => middle.checked_sub(1).filter(|&n| n >= 1),
            Some(previous) => previous.checked_sub(1).filter(|&n| n >= 1),
        }
    }

    fn middle_string(&self) -> Option<u8> {
        let middle = Hz::new(MIDDLE_C_HZ).ok()?;
        self.strings()
            .min_by(|(_, a), (_, b)| {
                let a = a.target.cents_above(middle).abs().0;
                let b = b.target.cents_above(middle).abs().0;
                a.total_cmp(&b)
            })
            .map(|(number, _)| number)
    }
}

/// Between C-flat 4 (246.94 Hz) and C4 (261.63 Hz), in hertz, so that middle C is found with pedals in flat or natural.
const MIDDLE_C_HZ: f64 = 254.2;

#[cfg(test)]
mod tests {
    use super::*;

    fn concert_harp() -> Context {
        Context::concert_harp(Hz::new(440.0).expect("A4"))
    }

    /// Values of twelve-tone equal temperament, rounded to four decimals.
    #[test]
    fn a_concert_harp_has_47_strings_from_g_flat_7_down_to_c_flat_1() {
        let harp = concert_harp();
        assert_eq!(harp.len(), 47);
        for (number, hz) in [
            (1, 2959.9554),
            (2, 2637.0205),
            (21, 415.3047),
            (26, 246.9417),
            (47, 30.8677),
        ] {
            let target = harp.string(number).expect("string").target.get();
            assert!((target - hz).abs() < 5e-5, "string {number}: {target}");
        }
        assert!(harp.string(0).is_none() && harp.string(48).is_none());
    }

    #[test]
    fn the_usual_order_goes_down_from_middle_c_and_then_up_from_the_d_above() {
        let mut harp = concert_harp();
        assert_eq!(harp.next_in_order(), None);
        harp.order = Order::Usual;
        for (previous, next) in [
            (None, Some(26)),
            (Some(26), Some(27)),
            (Some(47), Some(25)),
            (Some(25), Some(24)),
            (Some(1), None),
        ] {
            harp.previous = previous;
            assert_eq!(harp.next_in_order(), next, "{previous:?}");
        }
    }

    #[test]
    fn more_strings_than_fit_are_refused() {
        let string = ExpectedString::new(Hz::new(100.0).expect("hertz"));
        assert!(Context::new(&[string; STRINGS_MAX]).is_ok());
        assert_eq!(
            Context::new(&[string; STRINGS_MAX + 1]),
            Err(TooManyStrings(STRINGS_MAX + 1))
        );
    }
}
