//! A reading: what one pluck told about one string.

use crate::harp::StringNumber;
use crate::units::{Cents, Hz};

/// One pluck of one string, measured and settled.
///
/// Kept and sent in hertz, so that a new agreement re-judges it without another pluck.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Which string.
    pub string: StringNumber,
    /// The frequency of its first partial in the fitted stiff-string model, 15 to 5,000 Hz.
    pub hz: Hz,
    /// One standard deviation of `hz` as an interval.
    pub sigma: Cents,
}

/// Why numbers are not a reading.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NotAReading {
    /// No harp string sounds there.
    #[error("{0} Hz is outside a harp's compass of {min} to {max} Hz", min = Reading::MIN_HZ, max = Reading::MAX_HZ)]
    OutsideCompass(f64),
    /// The uncertainty is negative, infinite or no number.
    #[error("an uncertainty of {0} cents is not one: it lies between 0 and {max}", max = Reading::SIGMA_MAX.0)]
    Uncertainty(f64),
}

impl Reading {
    /// Below the lowest string of any harp, tuned a whole tone low.
    pub const MIN_HZ: f64 = 15.0;
    /// Above the highest string of any harp.
    pub const MAX_HZ: f64 = 5_000.0;
    /// An uncertainty beyond this is no reading.
    pub const SIGMA_MAX: Cents = Cents(100.0);

    /// A reading of `string` at `hz`, uncertain by `sigma`.
    pub fn new(string: StringNumber, hz: Hz, sigma: Cents) -> Result<Self, NotAReading> {
        if !(Self::MIN_HZ..=Self::MAX_HZ).contains(&hz.get()) {
            return Err(NotAReading::OutsideCompass(hz.get()));
        }
        if !(0.0..=Self::SIGMA_MAX.0).contains(&sigma.0) {
            return Err(NotAReading::Uncertainty(sigma.0));
        }
        Ok(Self { string, hz, sigma })
    }
}
