//! Numbers that look random and replay: stations that lost one coordinator must not all call it at once.

use std::time::Duration;

/// Sebastiano Vigna's SplitMix64, as published in 2015: one addition and two multiplications a number.
#[derive(Debug)]
pub(crate) struct Random(pub(crate) u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A pause of at most `cap`.
    pub(crate) fn pause(&mut self, cap: Duration) -> Duration {
        let whole = u64::try_from(cap.as_micros()).unwrap_or(u64::MAX);
        Duration::from_micros(self.next() % whole.saturating_add(1).max(1))
    }
}
