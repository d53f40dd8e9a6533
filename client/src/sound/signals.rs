//! What a callback leaves behind, and the only thing it does: samples go into a ring, everything else is counted.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use rtrb::{Consumer, Producer, RingBuffer};

/// Counters that callbacks raise and the reading side looks at.
#[derive(Debug, Default)]
pub(crate) struct Signals {
    callbacks: AtomicU64,
    errors: AtomicU64,
    gone: AtomicBool,
    lost: AtomicU64,
}

/// A stream as its callbacks have left it.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub(crate) struct Seen {
    /// Callbacks with samples so far.
    pub(crate) callbacks: u64,
    /// Errors so far that may or may not end the stream.
    pub(crate) errors: u64,
    /// Whether the system has said that the input is gone for good.
    pub(crate) gone: bool,
}

/// The callback's end of the ring.
pub(crate) struct Inlet {
    ring: Producer<f32>,
    channels: usize,
    signals: Arc<Signals>,
}

/// A ring for `frames` of `channels` each: the callback's end, the reader's end, and the counters between them.
pub(crate) fn ring(frames: usize, channels: usize) -> (Inlet, Consumer<f32>, Arc<Signals>) {
    let (producer, consumer) = RingBuffer::new(frames * channels);
    let signals = Arc::new(Signals::default());
    let inlet = Inlet {
        ring: producer,
        channels,
        signals: signals.clone(),
    };
    (inlet, consumer, signals)
}

impl Inlet {
    /// Takes what one callback brings, interleaved; what finds no room is counted and lost.
    pub(crate) fn take(&mut self, samples: impl ExactSizeIterator<Item = f32>) {
        let arrived = samples.len();
        // Whole frames only, so that channels never change places.
        let room = (self.ring.slots() / self.channels * self.channels).min(arrived);
        if let Ok(chunk) = self.ring.write_chunk_uninit(room) {
            chunk.fill_from_iter(samples);
        }
        self.signals.lost.fetch_add((arrived - room) as u64, Ordering::Relaxed);
        self.signals.callbacks.fetch_add(1, Ordering::Relaxed);
    }
}

impl Signals {
    /// The input is gone, or has become another one.
    pub(crate) fn go(&self) {
        self.gone.store(true, Ordering::Relaxed);
    }

    /// Something went wrong that a stream may or may not survive.
    pub(crate) fn stumble(&self) {
        self.errors.fetch_add(1, Ordering::Relaxed);
    }

    /// What has happened so far.
    pub(crate) fn seen(&self) -> Seen {
        Seen {
            callbacks: self.callbacks.load(Ordering::Relaxed),
            errors: self.errors.load(Ordering::Relaxed),
            gone: self.gone.load(Ordering::Relaxed),
        }
    }

    /// Samples that found no room since this was last asked.
    pub(crate) fn take_lost(&self) -> u64 {
        self.lost.swap(0, Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drain(ring: &mut Consumer<f32>) -> Vec<f32> {
        let chunk = ring.read_chunk(ring.slots()).expect("what is there can be read");
        chunk.into_iter().collect()
    }

    #[test]
    fn callbacks_of_any_size_arrive_in_order_and_whole() {
        let (mut inlet, mut outlet, signals) = ring(8_192, 2);
        let mut sent = Vec::new();
        let mut arrived = Vec::new();
        // In frames: none, one, odd ones, and as many as the ring holds.
        for frames in [1, 7, 0, 4_097, 1, 3, 8_192, 1_023, 480] {
            let block: Vec<f32> = (0..frames * 2).map(|n| (sent.len() + n) as f32).collect();
            inlet.take(block.iter().copied());
            sent.extend(block);
            arrived.extend(drain(&mut outlet));
        }
        assert_eq!(arrived, sent);
        assert_eq!(signals.take_lost(), 0);
        assert_eq!(signals.seen().callbacks, 9);
    }

    #[test]
    fn what_finds_no_room_is_counted_and_sides_stay_in_place() {
        let (mut inlet, mut outlet, signals) = ring(5, 2);
        // Left is even, right is odd.
        let block = |frames: usize| (0..frames * 2).map(|n| n as f32);
        inlet.take(block(3));
        inlet.take(block(7));
        assert_eq!(drain(&mut outlet), [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 0.0, 1.0, 2.0, 3.0]);
        assert_eq!(signals.take_lost(), 10);
        assert_eq!(signals.take_lost(), 0, "told once");
        inlet.take(block(1));
        assert_eq!(drain(&mut outlet), [0.0, 1.0]);
    }
}
