//! The trail of a sounding string: where it is heard from one moment to the next, so that what has jumped away from it is
//! not taken for it.

use consort_proto::{Cents, Hz};

/// Where the string of one pluck was heard last, as far as it can have gone there.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Trail {
    /// The pluck, when it was heard last, seconds, and where.
    last: Option<(f64, f64, Hz)>,
    /// Where something is heard beside the trail, and how often in a row.
    aside: Option<(Hz, u32)>,
}

/// A key turns a string no further from one moment to the next than this, cents, where they are no further apart than this,
/// seconds: the quickest hands turn a string of the middle by some 200 cents in a second.
const STEP_CENTS: f64 = 20.0;
const GAP_S: f64 = 0.25;
/// After a longer silence it is where it was, within this, cents.
const SAME_CENTS: f64 = 5.0;
/// What stands still, within this, cents, so often in a row, is a string after all: what a fading one leaves behind wanders.
const STILL_CENTS: f64 = 3.0;
const STILL_HEARD: u32 = 10;
/// Until a pluck is this old, seconds, it is still found out where the string stands: every word on it counts.
const FINDS_S: f64 = 0.75;

impl Trail {
    /// Another sound begins, whose times start over.
    pub(super) const fn begin_sound(&mut self) {
        self.last = None;
        self.aside = None;
    }

    /// The string was measured: it is there, whatever was heard before.
    pub(super) const fn measured(&mut self, onset_s: f64, time_s: f64, hz: Hz) {
        self.last = Some((onset_s, time_s, hz));
        self.aside = None;
    }

    /// Whether what is heard now, at `hz`, can be the string that was heard before.
    pub(super) fn leads_to(&mut self, onset_s: f64, time_s: f64, hz: Hz) -> bool {
        if let Some((_, before_s, before)) = self.last.filter(|(onset, ..)| *onset == onset_s)
            && time_s - onset_s > FINDS_S
        {
            let near = |from: Hz, cents| hz.cents_above(from).is_within(Cents(cents));
            let goes_on = time_s - before_s <= GAP_S && near(before, STEP_CENTS);
            if !goes_on && !near(before, SAME_CENTS) {
                let heard = match self.aside {
                    Some((aside, heard)) if near(aside, STILL_CENTS) => heard + 1,
                    _ => 1,
                };
                if heard < STILL_HEARD {
                    // The first of them is kept, so that what creeps away does not stand still.
                    let first = self.aside.filter(|_| heard > 1).map_or(hz, |(first, _)| first);
                    self.aside = Some((first, heard));
                    return false;
                }
            }
        }
        self.measured(onset_s, time_s, hz);
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Moments of one pluck at 0 s, each as its time and cents, and whether the last of them is on the trail.
    #[track_caller]
    fn check(moments: impl IntoIterator<Item = (f64, f64)>, expected: bool) {
        let mut trail = Trail::default();
        let hz = |cents| Hz::new(440.0).expect("hertz").raised_by(Cents(cents));
        let last = moments
            .into_iter()
            .map(|(time_s, cents)| trail.leads_to(0.0, time_s, hz(cents)));
        assert_eq!(last.last(), Some(expected));
    }

    /// Every 40 ms from a second on, where `cents` says.
    fn every(cents: impl Fn(f64) -> f64, count: u32) -> impl Iterator<Item = (f64, f64)> {
        (0..count).map(move |at| (1.0 + 0.04 * f64::from(at), cents(0.04 * f64::from(at))))
    }

    #[test]
    fn a_string_that_is_turned_stays_on_its_trail_and_one_that_jumps_does_not() {
        check(every(|s| 200.0 * s, 25), true);
        check(every(|s| -200.0 * s, 25), true);
        check([(1.0, 0.0), (1.04, -27.0)], false);
        check([(1.0, 0.0), (1.04, -27.0), (1.08, 0.5)], true);
        // A young one is still found out.
        check([(0.4, 0.0), (0.44, -27.0)], true);
    }

    #[test]
    fn after_a_silence_it_is_where_it_was_or_stands_still_elsewhere() {
        check([(1.0, 0.0), (2.0, 4.0)], true);
        check([(1.0, 0.0), (2.0, -12.0)], false);
        let elsewhere = every(|_| -12.0, 10).map(|(time_s, cents)| (time_s + 1.0, cents));
        check([(1.0, 0.0)].into_iter().chain(elsewhere), true);
        let wanders = every(|s| -12.0 - 20.0 * s, 40).map(|(time_s, cents)| (time_s + 1.0, cents));
        check([(1.0, 0.0)].into_iter().chain(wanders), false);
    }
}
