//! The pace of what is heard: a recording may be heard faster than it was played, and words then change as much faster.

use std::time::Duration;

use consort_proto::Uptime;

/// A time that passes as fast as the sound does, and no slower than this program's own.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Pace {
    /// The newest moment of the sound, in seconds from its start.
    heard_s: f64,
    /// The moment of the sound, and the program's own time, when this time was last told, and what it was.
    told_s: f64,
    told_at: Uptime,
    at: Uptime,
}

impl Pace {
    /// Another sound begins, whose times start over.
    pub(crate) const fn begin_sound(&mut self) {
        self.heard_s = 0.0;
        self.told_s = 0.0;
    }

    /// The sound has come as far as `time_s`.
    pub(crate) const fn hear(&mut self, time_s: f64) {
        self.heard_s = self.heard_s.max(time_s);
    }

    /// What time it is when the program's own is `now`.
    pub(crate) fn pass(&mut self, now: Uptime) -> Uptime {
        let own = now.0.saturating_sub(self.told_at.0);
        let heard = Duration::try_from_secs_f64(self.heard_s - self.told_s).unwrap_or_default();
        (self.told_s, self.told_at) = (self.heard_s, now);
        self.at = Uptime(self.at.0 + own.max(heard));
        self.at
    }

    /// When it is `at` by the program's own time, at the latest.
    pub(crate) fn when(&self, at: Uptime) -> Uptime {
        Uptime(self.told_at.0 + at.0.saturating_sub(self.at.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ms(millis: u64) -> Uptime {
        Uptime::from_millis(millis)
    }

    #[test]
    fn time_passes_with_the_faster_of_the_sound_and_the_clock() {
        let mut pace = Pace::default();
        assert_eq!(pace.pass(ms(100)), ms(100));
        // Two seconds of sound were heard in a tenth of one.
        pace.hear(2.0);
        assert_eq!(pace.pass(ms(200)), ms(2100));
        assert_eq!(pace.when(ms(2500)), ms(600));
        // Nothing more is heard, and the clock goes on.
        assert_eq!(pace.pass(ms(600)), ms(2500));
        // A new sound does not turn time back.
        pace.begin_sound();
        pace.hear(0.5);
        assert_eq!(pace.pass(ms(700)), ms(3000));
    }
}
