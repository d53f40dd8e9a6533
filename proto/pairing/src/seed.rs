//! The random bytes of one try, and the numbers that are made from them.

use std::fmt;

use rand_core::{CryptoRng, RngCore};
use sha2::{Digest, Sha256};

/// 32 bytes from the system's random numbers, for one try; never used twice.
pub struct Seed(pub [u8; 32]);

impl fmt::Debug for Seed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Seed(…)")
    }
}

/// As many bytes as are asked for: the SHA-256 of the seed and a counter, block by block.
pub(crate) struct Stream {
    seed: Seed,
    block: u64,
    left: Vec<u8>,
}

impl From<Seed> for Stream {
    fn from(seed: Seed) -> Self {
        Self {
            seed,
            block: 0,
            left: Vec::new(),
        }
    }
}

impl RngCore for Stream {
    fn next_u32(&mut self) -> u32 {
        let mut bytes = [0; 4];
        self.fill_bytes(&mut bytes);
        u32::from_le_bytes(bytes)
    }

    fn next_u64(&mut self) -> u64 {
        let mut bytes = [0; 8];
        self.fill_bytes(&mut bytes);
        u64::from_le_bytes(bytes)
    }

    fn fill_bytes(&mut self, into: &mut [u8]) {
        for byte in into {
            if self.left.is_empty() {
                let block = Sha256::new()
                    .chain_update(b"consort pairing seed")
                    .chain_update(self.seed.0)
                    .chain_update(self.block.to_le_bytes());
                self.left = block.finalize().to_vec();
                self.block += 1;
            }
            *byte = self.left.pop().unwrap_or_default();
        }
    }

    fn try_fill_bytes(&mut self, into: &mut [u8]) -> Result<(), rand_core::Error> {
        self.fill_bytes(into);
        Ok(())
    }
}

impl CryptoRng for Stream {}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn no_block_comes_twice_and_other_seeds_give_other_numbers() {
        let mut blocks = BTreeSet::new();
        for first in 0..10 {
            let mut stream = Stream::from(Seed([first; 32]));
            for _ in 0..100 {
                let mut block = [0; 32];
                stream.fill_bytes(&mut block);
                assert!(blocks.insert(block));
            }
        }
    }
}
