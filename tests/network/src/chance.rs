//! Chance that replays.

use std::time::Duration;

/// Marsaglia's xorshift with the constants 13, 7, 17 (J. Stat. Softw. 8(14), 2003).
#[derive(Debug)]
pub(super) struct Chance(u64);

impl Chance {
    pub(super) fn new(seed: u64) -> Self {
        // Neighbouring seeds must not begin alike: the multiplier is odd, so no two collide.
        let mut chance = Self(seed.wrapping_mul(0x2545_f491_4f6c_dd1d).max(1));
        for _ in 0..4 {
            chance.number();
        }
        chance
    }

    pub(super) fn number(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 >> 11
    }

    pub(super) fn below(&mut self, limit: usize) -> usize {
        (self.number() % limit as u64) as usize
    }

    pub(super) fn is(&mut self, percent: u64) -> bool {
        self.number() % 100 < percent
    }

    /// From `least` to less than `most` milliseconds.
    pub(super) fn ms(&mut self, least: u64, most: u64) -> Duration {
        Duration::from_millis(least + self.number() % (most - least))
    }
}
