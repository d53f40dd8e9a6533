//! Readings that wait: of a string that is plucked again, or of a walk over the harp.

use consort_proto::{Cents, StringNumber};

use super::{LEISURE_S, PLUCKS, PLUCKS_IN_PASSING, Plucked, Wanted};
use crate::passing::{PASSED_WITHIN_S, is_by_pedal};

/// So many strings one beside the other, upwards or downwards at leisure, are a walk over the harp, and count together.
const WALK: usize = 3;
/// Plucks of one string by one hand differ by no more than this, decibels.
pub(super) const SAME_DB: f64 = 4.0;
/// A string may be turned by so many cents in a second, and by so many at once, while it is plucked again and again: what lies
/// further from the pluck before is another one that a pedal has raised.
const TURNED_PER_S: f64 = 60.0;
const TURNED_AT_ONCE: f64 = 30.0;

/// A reading with its pluck, and how much speaks for its being hers, nats.
#[derive(Clone, Debug)]
pub(super) struct Weighed<T> {
    pub(super) plucked: Plucked,
    pub(super) nats: f64,
    pub(super) reading: T,
}

impl<T> Weighed<T> {
    /// How much speaks for this pluck, nats, if the `next` one is the same again within so many seconds, no softer.
    pub(super) fn again(&self, next: &Plucked, within_s: f64) -> Option<f64> {
        let is_same = is_again(&self.plucked, next, within_s);
        is_same.then_some(self.nats)
    }
}

/// Whether `next` is the string of `last` again, within so many seconds and no softer.
pub(super) fn is_again(last: &Plucked, next: &Plucked, within_s: f64) -> bool {
    last.string == next.string
        && (0.0..=within_s).contains(&(next.onset_s - last.onset_s))
        && next.level_dbfs >= last.level_dbfs - SAME_DB
}

/// Readings of a string that nobody asked for, or of some in a row.
#[derive(Clone, Debug)]
pub(super) struct Waiting<T> {
    pub(super) last_s: f64,
    pub(super) string: StringNumber,
    pub(super) readings: Vec<Weighed<T>>,
    /// How many of them count together.
    pub(super) wanted: usize,
    /// What she was meant to pluck.
    pub(super) meant: Wanted,
    /// Whether nothing else was plucked shortly before.
    pub(super) alone: bool,
    /// Which way she walks, once she does.
    pub(super) walks: Option<Walk>,
}

#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Walk {
    Up,
    Down,
}

impl<T> Waiting<T> {
    /// How much speaks for the last pluck, nats, if the `next` one is the same again, no softer.
    pub(super) fn again(&self, next: &Plucked) -> Option<f64> {
        self.readings.last()?.again(next, PASSED_WITHIN_S)
    }

    /// Whether the next pluck, of the same string so much later, stands further from the last one than a key turns, or as far
    /// as a pedal moves.
    fn leaps_to(&self, next: &Plucked, pause_s: f64) -> bool {
        let before = self.readings.last().map_or(next.apart, |last| last.plucked.apart);
        let leap = Cents(next.apart.0 - before.0);
        is_by_pedal(leap) || !leap.is_within(Cents(TURNED_AT_ONCE + TURNED_PER_S * pause_s))
    }

    /// The same with the `next` pluck, when that is the same string again, no further away than a key turns, or the next of a
    /// walk.
    pub(super) fn goes_on(mut self, next: &Plucked) -> Option<Self> {
        let Plucked { onset_s, string, .. } = *next;
        let pause_s = onset_s - self.last_s;
        let walks = match string.get().abs_diff(self.string.get()) {
            0 if pause_s > PASSED_WITHIN_S || self.leaps_to(next, pause_s) => return None,
            0 => {
                // Who stops a walk to pluck its last string again means that one; a melody may repeat a note, too.
                if self.walks.take().is_some() {
                    self.readings.retain(|one| one.plucked.string == string);
                    (self.wanted, self.alone) = (PLUCKS_IN_PASSING, false);
                }
                return Some(self);
            }
            1 if string > self.string => Walk::Down,
            1 => Walk::Up,
            _ => return None,
        };
        let straight = self.walks.is_none_or(|before| before == walks);
        let begins = self.walks.is_none();
        if !straight || begins && self.readings.len() > 1 || !(LEISURE_S..=PASSED_WITHIN_S).contains(&pause_s) {
            return None;
        }
        if begins {
            self.wanted += WALK - PLUCKS;
            self.walks = Some(walks);
        }
        Some(self)
    }
}
