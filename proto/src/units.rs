//! Physical units as types: frequency, interval, time since start, sample rate.

use std::fmt;
use std::ops::{Add, Neg, Sub};
use std::time::Duration;

use serde::{Deserialize, Serialize};

/// A frequency in hertz: finite and above zero.
#[derive(Clone, Copy, Debug, Deserialize, PartialEq, PartialOrd, Serialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Hz(f64);

/// Why a number is not a frequency.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("{0} is not a frequency: it must be finite and above 0 Hz")]
pub struct NotAFrequency(pub f64);

impl Hz {
    /// `hz` as a frequency, if it is finite and above zero.
    pub fn new(hz: f64) -> Result<Self, NotAFrequency> {
        if hz.is_finite() && hz > 0.0 {
            Ok(Self(hz))
        } else {
            Err(NotAFrequency(hz))
        }
    }

    /// The number of hertz.
    pub const fn get(self) -> f64 {
        self.0
    }

    /// How far `self` lies above `target`: 0 when in tune, negative when flat.
    pub fn cents_above(self, target: Self) -> Cents {
        Cents(1200.0 * (self.0 / target.0).log2())
    }

    /// The frequency that lies `interval` above `self`; `interval` must be finite and within ±60,000 cents.
    pub fn raised_by(self, interval: Cents) -> Self {
        Self(self.0 * (interval.0.clamp(-60_000.0, 60_000.0) / 1200.0).exp2())
    }
}

impl TryFrom<f64> for Hz {
    type Error = NotAFrequency;

    fn try_from(hz: f64) -> Result<Self, NotAFrequency> {
        Self::new(hz)
    }
}

impl From<Hz> for f64 {
    fn from(hz: Hz) -> Self {
        hz.0
    }
}

impl fmt::Display for Hz {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)?;
        f.write_str(" Hz")
    }
}

/// A musical interval in cents, hundredths of an equal-tempered semitone; positive is sharp.
#[derive(Clone, Copy, Debug, Default, Deserialize, PartialEq, PartialOrd, Serialize)]
#[serde(transparent)]
pub struct Cents(pub f64);

impl Cents {
    /// The size of the interval without its direction.
    pub const fn abs(self) -> Self {
        Self(self.0.abs())
    }

    /// Whether the interval is a number and no larger than `limit` either way.
    pub const fn is_within(self, limit: Self) -> bool {
        self.0.abs() <= limit.0
    }
}

impl Add for Cents {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl Sub for Cents {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl Neg for Cents {
    type Output = Self;

    fn neg(self) -> Self {
        Self(-self.0)
    }
}

/// Time since the program started: the only clock that the pure crates know, always handed in from outside.
#[derive(Clone, Copy, Debug, Default, Deserialize, Eq, Hash, Ord, PartialEq, PartialOrd, Serialize)]
pub struct Uptime(pub Duration);

impl Uptime {
    /// `seconds` after the start.
    pub const fn from_secs(seconds: u64) -> Self {
        Self(Duration::from_secs(seconds))
    }

    /// `millis` milliseconds after the start.
    pub const fn from_millis(millis: u64) -> Self {
        Self(Duration::from_millis(millis))
    }

    /// How long ago `earlier` was; zero when it lies ahead.
    #[inline]
    pub const fn since(self, earlier: Self) -> Duration {
        self.0.saturating_sub(earlier.0)
    }
}

impl Add<Duration> for Uptime {
    type Output = Self;

    #[inline]
    fn add(self, wait: Duration) -> Self {
        Self(self.0.saturating_add(wait))
    }
}

/// Samples per second of a sound: 8,000 to 384,000.
#[derive(Clone, Copy, Debug, Deserialize, Eq, Ord, PartialEq, PartialOrd, Serialize)]
#[serde(try_from = "u32", into = "u32")]
pub struct SampleRate(u32);

/// Why a number is not a usable sample rate.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[error("{0} samples per second is not a usable rate: {MIN} to {MAX} are", MIN = SampleRate::MIN, MAX = SampleRate::MAX)]
pub struct NotASampleRate(pub u32);

impl SampleRate {
    /// The slowest rate taken: telephone quality, which still holds the fundamentals of all strings.
    pub const MIN: u32 = 8_000;
    /// The fastest rate taken: the top of what sound interfaces offer.
    pub const MAX: u32 = 384_000;
    /// 48 kHz, what most interfaces prefer.
    pub const STUDIO: Self = Self(48_000);

    /// `rate` in samples per second, if it is within [`Self::MIN`] and [`Self::MAX`].
    pub const fn new(rate: u32) -> Result<Self, NotASampleRate> {
        if rate >= Self::MIN && rate <= Self::MAX {
            Ok(Self(rate))
        } else {
            Err(NotASampleRate(rate))
        }
    }

    /// Samples per second.
    pub const fn get(self) -> u32 {
        self.0
    }
}

impl TryFrom<u32> for SampleRate {
    type Error = NotASampleRate;

    fn try_from(rate: u32) -> Result<Self, NotASampleRate> {
        Self::new(rate)
    }
}

impl From<SampleRate> for u32 {
    fn from(rate: SampleRate) -> Self {
        rate.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frequency_is_finite_and_above_zero() {
        for bad in [0.0, -3.0, f64::NAN, f64::INFINITY] {
            assert!(Hz::new(bad).is_err(), "{bad}");
        }
        assert!(Hz::try_from(440.0).is_ok_and(|f| f64::from(f) == 440.0));
    }

    /// ISO 16:1975 allows 0.5 Hz at A4 = 440: +1.9662 and −1.9684 cents, computed from the definition of the cent.
    #[test]
    fn half_a_hertz_at_a4_is_about_two_cents() {
        let a4 = Hz::new(440.0).expect("A4");
        let sharp = Hz::new(440.5).expect("sharp").cents_above(a4);
        let flat = Hz::new(439.5).expect("flat").cents_above(a4);
        assert!((sharp.0 - 1.9662).abs() < 5e-5, "{sharp:?}");
        assert!((flat.0 + 1.9684).abs() < 5e-5, "{flat:?}");
    }

    #[test]
    fn raising_and_measuring_are_inverse() {
        let a4 = Hz::new(440.0).expect("A4");
        for cents in [-1200.0, -7.85, 0.0, 0.01, 31.0, 3600.0] {
            assert!((a4.raised_by(Cents(cents)).cents_above(a4).0 - cents).abs() < 1e-9);
        }
    }
}
