//! The clock of a program: goes on while the laptop sleeps, and tells that it slept.
//!
//! The steady clock of most systems stands still while the lid is closed, so that by it a link that was silent for ten
//! minutes was heard a moment ago and a start that was set is late by the nap; the clock on the wall can be set by hand.
//! This one is neither: it counts the sleep and nothing else moves it.

use std::time::{Duration, Instant};

use consort_proto::Uptime;

/// Counts from the start of the program.
#[derive(Debug)]
pub struct Clock {
    started: Duration,
    looked: Stops,
}

/// How often a program is to [look](Clock::look), so that it notices having stood still.
pub const LOOK_EVERY: Duration = Duration::from_millis(500);
/// A program that did not get to look for so long has slept, or was stopped: no load keeps it from looking so long.
const STOOD_STILL: Duration = Duration::from_secs(2);

impl Clock {
    /// A clock that shows zero now.
    pub fn start() -> Self {
        Self {
            started: always(),
            looked: Stops::default(),
        }
    }

    /// What it shows.
    pub fn now(&self) -> Uptime {
        Uptime(always().saturating_sub(self.started))
    }

    /// The moment in which it will show `at`, as long as the laptop stays awake; now, if that has passed.
    pub fn instant(&self, at: Uptime) -> Instant {
        Instant::now() + at.since(self.now())
    }

    /// Looks at the clock; says for how long the program stood still since it last looked, if it did.
    pub fn look(&mut self) -> Option<Duration> {
        let now = self.now();
        self.looked.look(now)
    }
}

/// Tells a pause between two looks that is no pause of the program's own.
#[derive(Debug, Default)]
struct Stops {
    last: Uptime,
}

impl Stops {
    fn look(&mut self, now: Uptime) -> Option<Duration> {
        let passed = now.since(self.last);
        self.last = now;
        (passed >= STOOD_STILL).then_some(passed)
    }
}

/// The time for which a processor has worked for the thread that asks; where the system does not tell, time that passed.
pub fn processor_time() -> Duration {
    #[cfg(any(target_os = "linux", target_os = "macos"))]
    {
        use rustix::time::{ClockId, clock_gettime};
        Duration::try_from(clock_gettime(ClockId::ThreadCPUTime)).unwrap_or_default()
    }
    #[cfg(not(any(target_os = "linux", target_os = "macos")))]
    always()
}

/// Time since some moment, sleep included.
#[cfg(any(target_os = "linux", target_os = "macos"))]
fn always() -> Duration {
    use rustix::time::{ClockId, clock_gettime};
    // What Linux calls monotonic stops in sleep; what macOS calls so does not.
    #[cfg(target_os = "linux")]
    const GOES_ON: ClockId = ClockId::Boottime;
    #[cfg(target_os = "macos")]
    const GOES_ON: ClockId = ClockId::Monotonic;
    Duration::try_from(clock_gettime(GOES_ON)).unwrap_or_default()
}

/// Time since some moment, sleep included: the steady clock of Windows goes on by itself.
#[cfg(not(any(target_os = "linux", target_os = "macos")))]
fn always() -> Duration {
    static FIRST: std::sync::OnceLock<Instant> = std::sync::OnceLock::new();
    FIRST.get_or_init(Instant::now).elapsed()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_program_that_did_not_look_for_two_seconds_stood_still() {
        let mut stops = Stops::default();
        for (at_ms, stood_still_ms) in [
            (0, None),
            (500, None),
            (2_400, None),
            (4_400, Some(2_000)),
            (4_900, None),
            (604_900, Some(600_000)),
            // A clock that ran backwards would be a fault of the system; nothing is made of it.
            (604_000, None),
            (605_000, None),
        ] {
            let stood_still = stops.look(Uptime::from_millis(at_ms));
            assert_eq!(stood_still, stood_still_ms.map(Duration::from_millis), "{at_ms} ms");
        }
    }

    #[test]
    fn it_starts_at_zero_and_goes_on() {
        let clock = Clock::start();
        let first = clock.now();
        assert!(first < Uptime::from_secs(60), "{first:?}");
        let later = first + Duration::from_secs(5);
        assert!(clock.instant(later) > Instant::now());
        assert!(clock.instant(Uptime::default()) <= Instant::now());
    }
}
