//! Chance that replays: the same seed throws the same dice.

/// Marsaglia's xorshift with the constants 13, 7, 17 (J. Stat. Softw. 8(14), 2003).
#[derive(Clone, Debug)]
pub struct Chance(u64);

impl Chance {
    /// Dice for `seed`.
    pub fn new(seed: u64) -> Self {
        // Neighbouring seeds must not begin alike: the multiplier is odd, so no two collide.
        let mut chance = Self(
            (seed ^ 0x5851_f42d_4c95_7f2d)
                .wrapping_mul(0x2545_f491_4f6c_dd1d)
                .max(1),
        );
        for _ in 0..8 {
            chance.number();
        }
        chance
    }

    /// Dice of their own for a part of the whole, so that one part's throws do not change another's.
    pub fn apart(&mut self) -> Self {
        Self::new(self.number())
    }

    /// A number of 53 random bits.
    fn number(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 >> 11
    }

    /// From 0 to less than 1.
    pub fn unit(&mut self) -> f64 {
        self.number() as f64 / (1_u64 << 53) as f64
    }

    /// From `least` to less than `most`.
    pub fn between(&mut self, least: f64, most: f64) -> f64 {
        least + (most - least) * self.unit()
    }

    /// From 0 to `limit` − 1; `limit` must be above 0.
    pub fn below(&mut self, limit: usize) -> usize {
        (self.unit() * limit as f64) as usize
    }

    /// Whether something of this probability happens.
    pub fn is(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// A throw around 0 with standard deviation 1, never beyond ±6: the sum of twelve even throws.
    pub fn spread(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn throws_are_even_and_their_spread_is_one() {
        let mut chance = Chance::new(1);
        let count = 100_000;
        let mean = (0..count).map(|_| chance.unit()).sum::<f64>() / f64::from(count);
        let variance = (0..count).map(|_| chance.spread().powi(2)).sum::<f64>() / f64::from(count);
        assert!((mean - 0.5).abs() < 0.005, "{mean}");
        assert!((variance - 1.0).abs() < 0.02, "{variance}");
    }
}
