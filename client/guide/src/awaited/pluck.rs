//! A pluck, what she may pluck because somebody wants her to, and what becomes of a reading.

use consort_proto::{Cents, StringNumber};

/// So many strings on either side of the one that is asked for may be under the key in its place.
pub(super) const BESIDE: u8 = 1;

/// A pluck of which the last word is said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plucked {
    /// When it was, seconds of the sound.
    pub onset_s: f64,
    /// Which string it is taken for.
    pub string: StringNumber,
    /// How far it stands above that string's target.
    pub apart: Cents,
    /// How far it went by itself while it was measured, upwards.
    pub glide: Cents,
    /// How loud it began itself, whatever rang on beside it, decibels below full scale.
    pub level_dbfs: f64,
    /// How loud it began with all that sounded then, decibels below full scale.
    pub whole_dbfs: f64,
    /// B of its string, dimensionless; 0 where it was not measured.
    pub stiffness: f64,
}

/// What she may pluck because somebody wants her to.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Wanted {
    /// Nothing.
    Nothing,
    /// This string; the key may be on the pin beside it.
    Near(StringNumber),
    /// Whatever she plucks now, however softly.
    Any,
    /// This one, which she has taken by hand, however softly.
    ByHand,
}

/// What becomes of a reading.
#[derive(Clone, Debug, PartialEq)]
pub enum Taken<T> {
    /// It counts, and those before it in this order.
    Counts(Vec<T>),
    /// It may count later.
    Waits,
    /// It is so much stronger than her plucks that the string does not stand where it will when it is played.
    Strong,
    /// It is so soft that it is another harp's.
    NotHers,
    /// It is as soft, but she is meant to pluck it, or has it in hand: it has to be plucked louder.
    TooSoft,
}

/// What becomes of a pluck that is no reading.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Heeded {
    /// It is heeded.
    Yes,
    /// She is meant to pluck it, or has it in hand, but it was too soft.
    TooSoft,
    /// It is not.
    No,
}

impl Wanted {
    /// Whether `string` is awaited.
    pub(super) fn is_for(self, string: StringNumber) -> bool {
        match self {
            Self::Nothing => false,
            Self::Near(asked) => asked.get().abs_diff(string.get()) <= BESIDE,
            Self::Any | Self::ByHand => true,
        }
    }

    /// Whether `string` itself is awaited, not only the one beside it.
    pub(super) fn is_just(self, string: StringNumber) -> bool {
        match self {
            Self::Near(asked) => asked == string,
            Self::ByHand => true,
            Self::Nothing | Self::Any => false,
        }
    }
}
