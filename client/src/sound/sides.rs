//! Which channel of a live input is heard.

use consort_proto::SampleRate;

/// The channels of a live input, and which of them is heard.
#[derive(Debug)]
pub(crate) struct Sides {
    energy: Vec<f64>,
    frames: u32,
    /// Frames after which the choice is looked at again.
    span: u32,
    heard: usize,
}

/// Another side must carry this many times the power before it is heard instead, so that the choice does not waver.
const SWITCH_RATIO: f64 = 10.0;

impl Sides {
    /// The first of `channels` is heard until another one carries much more.
    pub(crate) fn new(channels: usize, rate: SampleRate) -> Self {
        Self {
            energy: vec![0.0; channels],
            frames: 0,
            span: rate.get(),
            heard: 0,
        }
    }

    /// Adds the channel that is heard to `block`; `interleaved` holds whole frames.
    pub(crate) fn pick<'a>(&mut self, interleaved: impl Iterator<Item = &'a f32>, block: &mut Vec<f32>) {
        let mut channel = 0;
        for &sample in interleaved {
            self.energy[channel] += f64::from(sample) * f64::from(sample);
            if channel == self.heard {
                block.push(sample);
            }
            channel += 1;
            if channel == self.energy.len() {
                channel = 0;
                self.frames += 1;
                if self.frames == self.span {
                    self.choose();
                }
            }
        }
    }

    /// How many channels there are.
    pub(crate) const fn count(&self) -> usize {
        self.energy.len()
    }

    fn choose(&mut self) {
        let now = self.energy[self.heard];
        let loudest = (0..self.energy.len()).max_by(|&a, &b| self.energy[a].total_cmp(&self.energy[b]));
        if let Some(other) = loudest.filter(|&other| self.energy[other] > now * SWITCH_RATIO) {
            self.heard = other;
        }
        self.energy.fill(0.0);
        self.frames = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_side_with_the_pickup_is_heard_and_an_even_pair_does_not_waver() {
        let rate = SampleRate::new(8_000).expect("rate");
        let mut sides = Sides::new(2, rate);
        let mut block = Vec::new();
        let second = |left: f32, right: f32| -> Vec<f32> {
            (0..16_000).map(|n| if n % 2 == 0 { left } else { right }).collect()
        };
        sides.pick(second(0.0, 0.5).iter(), &mut block);
        assert_eq!(block, vec![0.0; 8_000]);
        for (left, right, heard) in [(0.0, 0.5, 0.5), (0.6, 0.5, 0.5), (0.6, 0.5, 0.5)] {
            block.clear();
            sides.pick(second(left, right).iter(), &mut block);
            assert!(block.iter().all(|&sample| sample == heard), "{left} {right}");
        }
    }
}
