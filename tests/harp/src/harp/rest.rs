//! Time that passes unheard.

use super::{REST_TICKS, TICK, VirtualHarp};

impl VirtualHarp {
    /// Lets `seconds` pass without a sound: strings stretch, pins slip and the room drifts on, and what rang has died away.
    pub fn rest(&mut self, seconds: f64) {
        self.touches.clear();
        let steps = (seconds * self.rate / (REST_TICKS as usize * TICK) as f64).round() as u64;
        for _ in 0..steps {
            self.tick += REST_TICKS;
            self.move_by_itself();
        }
    }

    /// How far string `number` truly stands above its note at A4 = 440 Hz, cents, by an ordinary pluck that is not heard.
    ///
    /// # Panics
    ///
    /// When the harp has no such string.
    pub fn stands_cents(&self, number: consort_proto::StringNumber) -> f64 {
        self.strings[number.index()].cents()
    }
}
