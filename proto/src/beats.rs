//! Beats: how often two sounding strings swell and fade in a second, the measure of tuners who listen to intervals.

use crate::units::Hz;

/// A pure interval as its frequency ratio, written high to low: a fifth is 3 to 2.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Interval {
    /// The partial of the lower string that meets [`Self::low`] of the higher one.
    high: u32,
    /// The partial of the higher string that meets [`Self::high`] of the lower one.
    low: u32,
}

impl Interval {
    /// 1 to 1.
    pub const UNISON: Self = Self { high: 1, low: 1 };
    /// 6 to 5.
    pub const MINOR_THIRD: Self = Self { high: 6, low: 5 };
    /// 5 to 4.
    pub const MAJOR_THIRD: Self = Self { high: 5, low: 4 };
    /// 4 to 3.
    pub const FOURTH: Self = Self { high: 4, low: 3 };
    /// 3 to 2.
    pub const FIFTH: Self = Self { high: 3, low: 2 };
    /// 8 to 5.
    pub const MINOR_SIXTH: Self = Self { high: 8, low: 5 };
    /// 5 to 3.
    pub const MAJOR_SIXTH: Self = Self { high: 5, low: 3 };
    /// 2 to 1.
    pub const OCTAVE: Self = Self { high: 2, low: 1 };

    /// The partials of the lower and of the higher string that nearly meet, counted from 1: 3 and 2 in a fifth.
    pub const fn meeting(self) -> (u32, u32) {
        (self.high, self.low)
    }

    /// Beats per second between `lower` and `higher`, positive where the interval is wider than pure.
    ///
    /// They come from the lowest pair of partials that would coincide were the interval pure, on strings without
    /// stiffness: q·f_high − p·f_low for the ratio p to q.
    pub fn beats_per_second(self, lower: Hz, higher: Hz) -> f64 {
        f64::from(self.low) * higher.get() - f64::from(self.high) * lower.get()
    }
}
