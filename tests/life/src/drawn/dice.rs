//! Dice of another make: SplitMix64, and laws with heavy tails.

/// Sebastiano Vigna's SplitMix64 (Steele, Lea & Flood, OOPSLA 2014).
#[derive(Clone, Debug)]
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) const fn new(seed: u64) -> Self {
        Self(seed ^ 0x9e37_79b9_7f4a_7c15)
    }

    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((mixed ^ (mixed >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn even(&mut self, least: f64, most: f64) -> f64 {
        least + (most - least) * self.unit()
    }

    pub(crate) fn below(&mut self, limit: usize) -> usize {
        ((self.unit() * limit as f64) as usize).min(limit - 1)
    }

    pub(crate) fn happens(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// Laplace's law with this mean distance from 0: its tails are exponential.
    pub(crate) fn tailed(&mut self, mean: f64) -> f64 {
        let side = if self.unit() < 0.5 { -1.0 } else { 1.0 };
        -side * mean * (1.0 - self.unit()).ln()
    }

    /// Exponential with this mean.
    pub(crate) fn waiting(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.unit()).ln()
    }
}
