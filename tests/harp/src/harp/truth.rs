//! The truth about a harp: what a station has to find out by listening.

use consort_proto::{Mechanism, StringNumber, Tolerance, Tuning};
use serde::Serialize;

use super::VirtualHarp;
use crate::fault::{Fault, Wrong};
use crate::pluck::Pluck;

/// One string as it truly is.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TrueString {
    /// Its number from the top.
    pub string: u8,
    /// The true pitch of an ordinary pluck, hertz.
    pub hz: f64,
    /// How far that lies above the target of the open string, cents.
    pub cents: f64,
    /// How far it may, cents.
    pub tolerance_cents: f64,
    /// Whether it stays where it is put.
    pub can_hold: bool,
    /// What is wrong with it.
    pub wrong: Option<Wrong>,
}

/// One of two strings that beat: which of its partials, and how it was plucked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beating {
    /// The string.
    pub string: StringNumber,
    /// How it was plucked.
    pub pluck: Pluck,
    /// The partial that nearly meets one of the other string, counted from 1.
    pub partial: usize,
}

impl TrueString {
    /// Whether it is in tune.
    pub fn is_in_tune(&self) -> bool {
        self.cents.abs() <= self.tolerance_cents
    }
}

impl VirtualHarp {
    /// How often partial `p` of string `lower` and partial `q` of string `higher` truly beat between two moments after
    /// they were plucked, in a second; positive where the higher one is sharp.
    ///
    /// Each partial counts as it would turn alone; computed voices only.
    ///
    /// # Panics
    ///
    /// When the harp has no such strings.
    pub fn true_beats(&self, lower: Beating, higher: Beating, between_s: (f64, f64)) -> f64 {
        let hz = |one: Beating| self.strings[one.string.index()].true_partial_hz(one.pluck, one.partial, between_s);
        hz(higher) - hz(lower)
    }

    /// Every string as it truly is just now, from the top, against the open targets of `tuning`.
    pub fn standing(&self, tuning: &Tuning, tolerance: &Tolerance) -> Vec<TrueString> {
        let numbered = self.harp.numbered().zip(&self.strings);
        numbered
            .map(|((number, string), strung)| {
                let hz = strung.hz();
                let target = tuning.open_target(string).get();
                let wrong = match (strung.fault, string.mechanism) {
                    (_, Mechanism::Discs) if strung.position > 0 => Some(Wrong::Pedal),
                    (Some(Fault::LeverUp), _) => (strung.position > 0).then_some(Wrong::LeverUp),
                    (Some(Fault::New), _) => Some(Wrong::New),
                    (Some(Fault::SlippingPin), _) => Some(Wrong::SlippingPin),
                    (Some(Fault::False), _) => Some(Wrong::False),
                    (Some(Fault::Dull), _) => Some(Wrong::Dull),
                    (None, _) => None,
                };
                TrueString {
                    string: number.get(),
                    hz,
                    cents: 1200.0 * (hz / target).log2(),
                    tolerance_cents: tolerance.of(string).0,
                    can_hold: !matches!(strung.fault, Some(Fault::New | Fault::SlippingPin)),
                    wrong,
                }
            })
            .collect()
    }
}
