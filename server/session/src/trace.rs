//! What is remembered of a harp's strings beside their stories: when each was last plucked, and how the room moved it.

use std::time::Duration;

use consort_proto::{Cents, Harp, Hz, Readiness, Standing, StringNumber, Uptime};

use crate::room::{LEFT_FOR, Movement};

/// The strings of one harp from the top, since the coordinator started.
#[derive(Clone, Debug, Default)]
pub(crate) struct Traces {
    strings: Vec<Trace>,
    /// When the harp was last plucked before the round began, if it was ready then.
    ready_before: Option<Uptime>,
}

#[derive(Clone, Copy, Debug, Default)]
struct Trace {
    /// When and how it was last plucked, in whatever round.
    last: Option<(Uptime, Hz)>,
    /// When it had been left, when it was found again, and how far from where it was left.
    moved: Option<(Uptime, Uptime, Cents)>,
}

/// What the room did an hour ago says nothing about now.
const FOUND_WITHIN: Duration = Duration::from_secs(30 * 60);

impl Traces {
    /// Nothing is known of so many strings.
    pub(crate) fn of(harp: &Harp) -> Self {
        Self {
            strings: vec![Trace::default(); harp.len()],
            ready_before: None,
        }
    }

    /// The string was plucked at `at`, and measured.
    pub(crate) fn hear(&mut self, string: StringNumber, at: Uptime, hz: Hz) {
        let Some(trace) = self.strings.get_mut(string.index()) else {
            return;
        };
        if let Some((left, before)) = trace.last
            && at.since(left) >= LEFT_FOR
        {
            trace.moved = Some((left, at, hz.cents_above(before)));
        }
        // A report that was kept over a gap in the Wi-Fi may come after newer ones.
        if trace.last.is_none_or(|(last, _)| last <= at) {
            trace.last = Some((at, hz));
        }
    }

    /// A round begins; `ready` is what the harp was, and `untouched` that nothing was heard in the round that ends.
    pub(crate) fn begin_round(&mut self, ready: bool, untouched: bool) {
        let last = self
            .strings
            .iter()
            .filter_map(|trace| trace.last)
            .map(|(at, _)| at)
            .max();
        match (ready, untouched) {
            (true, _) => self.ready_before = last,
            // It was ready once, and nothing has been said of it since.
            (false, true) => {}
            (false, false) => self.ready_before = None,
        }
    }

    /// How long ago each string was last plucked.
    pub(crate) fn ago(&self, now: Uptime) -> Vec<Option<Duration>> {
        let strings = self.strings.iter();
        strings.map(|trace| trace.last.map(|(at, _)| now.since(at))).collect()
    }

    /// How long ago the harp was ready, when it has to be confirmed in this round.
    pub(crate) fn to_confirm(&self, now: Uptime, readiness: &Readiness) -> Option<Duration> {
        self.ready_before
            .filter(|_| !readiness.is_ready())
            .map(|at| now.since(at))
    }

    /// How long ago the oldest of the strings that hold was last plucked.
    pub(crate) fn confirmed_ago(&self, now: Uptime, readiness: &Readiness) -> Option<Duration> {
        let held = self.strings.iter().zip(readiness.standings());
        let held = held.filter(|(_, standing)| matches!(standing, Standing::Holds(_)));
        held.filter_map(|(trace, _)| trace.last)
            .map(|(at, _)| now.since(at))
            .max()
    }

    /// How the strings of the harp at `seat` were found.
    pub(crate) fn movements(&self, now: Uptime, seat: u32, harp: &Harp) -> impl Iterator<Item = Movement> {
        let strings = self.strings.iter().zip(harp.strings());
        strings.filter_map(move |(trace, string)| {
            let (left, found, cents) = trace.moved?;
            (now.since(found) <= FOUND_WITHIN).then(|| Movement {
                seat,
                material: string.material,
                cents,
                since: now.since(left),
            })
        })
    }
}
