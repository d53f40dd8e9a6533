//! How fast a station may report: more than any harpist plucks, less than a flood.

use consort_proto::Uptime;

/// Reports per second in the long run: five times the fastest scale.
const PER_SECOND: u64 = 20;
/// Reports at once: a whole tuning that was kept over a gap in the Wi-Fi, four readings for each of 63 strings, twice.
const BURST: u64 = 512;

/// What a link may still report.
#[derive(Debug)]
pub(crate) struct Pace {
    left_thousandths: u64,
    counted_at: Uptime,
}

impl Pace {
    pub(crate) const fn starting_at(now: Uptime) -> Self {
        Self {
            left_thousandths: BURST * 1000,
            counted_at: now,
        }
    }

    /// Takes `reports` off what is left; `false` when that is too much.
    pub(crate) fn takes(&mut self, now: Uptime, reports: usize) -> bool {
        let passed_ms = u64::try_from(now.since(self.counted_at).as_millis()).unwrap_or(u64::MAX);
        let regained = passed_ms.saturating_mul(PER_SECOND);
        self.left_thousandths = self.left_thousandths.saturating_add(regained).min(BURST * 1000);
        self.counted_at = now;
        match self.left_thousandths.checked_sub(reports as u64 * 1000) {
            Some(left) => {
                self.left_thousandths = left;
                true
            }
            None => false,
        }
    }
}
