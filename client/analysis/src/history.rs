//! The last few seconds of working samples, addressed by their number since the start.

/// A ring of working samples that always lies in one piece.
pub(crate) struct History {
    /// Every sample is written twice, `len` apart, so that any stretch can be borrowed as one slice.
    samples: Vec<f32>,
    len: usize,
    count: u64,
}

impl History {
    pub(crate) fn new(len: usize) -> Self {
        Self {
            samples: vec![0.0; 2 * len],
            len,
            count: 0,
        }
    }

    pub(crate) fn push(&mut self, sample: f32) {
        let at = (self.count % self.len as u64) as usize;
        self.samples[at] = sample;
        self.samples[at + self.len] = sample;
        self.count += 1;
    }

    /// How many samples were pushed so far.
    pub(crate) fn count(&self) -> u64 {
        self.count
    }

    /// The number of the oldest sample still held.
    pub(crate) fn oldest(&self) -> u64 {
        self.count.saturating_sub(self.len as u64)
    }

    /// The `len` samples from number `from` on, or `None` when some are gone or not there yet.
    pub(crate) fn slice(&self, from: u64, len: usize) -> Option<&[f32]> {
        if from < self.oldest() || from + len as u64 > self.count || len > self.len {
            return None;
        }
        let at = (from % self.len as u64) as usize;
        self.samples.get(at..at + len)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_stretch_that_is_held_can_be_borrowed() {
        let mut history = History::new(10);
        assert!(history.slice(0, 1).is_none());
        for n in 0..25 {
            history.push(n as f32);
        }
        assert_eq!(history.oldest(), 15);
        assert_eq!(
            history.slice(15, 10).expect("all"),
            (15..25).map(|n| n as f32).collect::<Vec<_>>()
        );
        assert!(history.slice(14, 2).is_none() && history.slice(24, 2).is_none());
    }
}
