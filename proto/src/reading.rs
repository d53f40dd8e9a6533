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
    /// How loud it was at its loudest, full scale 0; `None` where it was not measured.
    pub level_dbfs: Option<f64>,
    /// How the pluck was judged.
    pub verdict: Verdict,
}

/// How a pluck was judged.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub enum Verdict {
    /// It is this string, and this is its pitch.
    #[default]
    Settled,
    /// The best guess at a pluck that is in doubt: it is kept, and says nothing about the string.
    Unsure,
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
    /// Nothing is as quiet or as loud as that.
    #[error("a level of {0} dBFS cannot be: it lies between {min} and {max}", min = Reading::LEVEL_MIN_DBFS, max = Reading::LEVEL_MAX_DBFS)]
    Level(f64),
}

impl Reading {
    /// Below the lowest string of any harp, tuned a whole tone low.
    pub const MIN_HZ: f64 = 15.0;
    /// Above the highest string of any harp.
    pub const MAX_HZ: f64 = 5_000.0;
    /// An uncertainty beyond this is no reading.
    pub const SIGMA_MAX: Cents = Cents(100.0);
    /// Quieter than the last bit of the finest converters.
    pub const LEVEL_MIN_DBFS: f64 = -200.0;
    /// Samples beyond full scale are clipped by converters, but files may hold some.
    pub const LEVEL_MAX_DBFS: f64 = 20.0;

    /// A reading of `string` at `hz`, uncertain by `sigma`.
    pub fn new(string: StringNumber, hz: Hz, sigma: Cents) -> Result<Self, NotAReading> {
        if !(Self::MIN_HZ..=Self::MAX_HZ).contains(&hz.get()) {
            return Err(NotAReading::OutsideCompass(hz.get()));
        }
        if !(0.0..=Self::SIGMA_MAX.0).contains(&sigma.0) {
            return Err(NotAReading::Uncertainty(sigma.0));
        }
        Ok(Self {
            string,
            hz,
            sigma,
            level_dbfs: None,
            verdict: Verdict::Settled,
        })
    }

    /// The same, heard so loud.
    pub fn at_level(self, level_dbfs: f64) -> Result<Self, NotAReading> {
        if !(Self::LEVEL_MIN_DBFS..=Self::LEVEL_MAX_DBFS).contains(&level_dbfs) {
            return Err(NotAReading::Level(level_dbfs));
        }
        Ok(Self {
            level_dbfs: Some(level_dbfs),
            ..self
        })
    }

    /// The same, judged so.
    #[must_use]
    pub const fn judged(self, verdict: Verdict) -> Self {
        Self { verdict, ..self }
    }
}
