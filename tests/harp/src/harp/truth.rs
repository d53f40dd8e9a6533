//! The truth about a harp: what a station has to find out by listening.

use consort_proto::{Mechanism, Tolerance, Tuning};
use serde::Serialize;

use super::VirtualHarp;
use crate::fault::{Fault, Wrong};

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

impl TrueString {
    /// Whether it is in tune.
    pub fn is_in_tune(&self) -> bool {
        self.cents.abs() <= self.tolerance_cents
    }
}

impl VirtualHarp {
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
