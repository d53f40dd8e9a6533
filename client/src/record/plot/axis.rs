//! The two axes of a history: days from left to right, cents upwards.

use consort_record::{Date, Moment};
use consort_words::{Arg, Key, Words};

/// Days from left to right.
#[derive(Clone, Copy, Debug)]
pub(super) struct Days {
    first: Moment,
    last: Moment,
    left: f64,
    right: f64,
}

/// Room that the name of a month takes, and that of the first day.
const TICK_WIDE: f64 = 52.0;
const FIRST_WIDE: f64 = 100.0;

impl Days {
    pub(super) fn new(first: Moment, last: Moment, (left, right): (f64, f64)) -> Self {
        // Marks at both ends stay inside.
        let (left, right) = (left + 8.0, right - 8.0);
        Self {
            first,
            last,
            left,
            right,
        }
    }

    pub(super) fn x(&self, at: Moment) -> f64 {
        let span = self.last.days_since(self.first).max(1.0);
        self.left + (self.right - self.left) * at.days_since(self.first) / span
    }

    pub(super) fn contains(&self, at: Moment) -> bool {
        (self.first..=self.last).contains(&at)
    }

    /// Days that are named below: the first, then beginnings of months as far as there is room.
    pub(super) fn ticks(&self, words: &Words) -> Vec<(Moment, String)> {
        let first = self.first.date();
        let (year, month, _) = first.parts();
        let months = (1..=12 * 60).map_while(|later| {
            let count = month - 1 + later;
            let day = Date::of(year + count / 12, count % 12 + 1, 1)?;
            (day <= self.last.date()).then_some(day)
        });
        let mut ticks: Vec<(Moment, String)> = Vec::new();
        let mut free_from = f64::NEG_INFINITY;
        for day in std::iter::once(first).chain(months) {
            let at = if day == first { self.first } else { day.noon() };
            if self.x(at) >= free_from {
                free_from = self.x(at) + if day == first { FIRST_WIDE } else { TICK_WIDE };
                let (year, month, of_month) = day.parts();
                let args = [
                    ("month", Arg::from(month.unsigned_abs())),
                    ("day", Arg::from(of_month.to_string())),
                    ("year", Arg::from(year.to_string())),
                ];
                let key = match (day == first, month) {
                    (true, _) => Key::PlotDay,
                    (false, 1) => Key::PlotYear,
                    (false, _) => Key::PlotMonth,
                };
                ticks.push((at, words.say(key, &args)));
            }
        }
        ticks
    }
}

/// Cents upwards.
#[derive(Clone, Copy, Debug)]
pub(super) struct Heights {
    low: f64,
    high: f64,
    step: f64,
    top: f64,
    bottom: f64,
}

/// Beyond this, cents, the picture would be of one evening only.
const CENTS_MOST: f64 = 60.0;

impl Heights {
    pub(super) fn new(cents: impl Iterator<Item = f64>, within: f64, (top, bottom): (f64, f64)) -> Self {
        let (least, most) = cents.fold((-2.0 * within, 2.0 * within), |(least, most), cents| {
            (least.min(cents), most.max(cents))
        });
        let (least, most) = (least.max(-CENTS_MOST), most.min(CENTS_MOST));
        let step = [2.0, 5.0, 10.0, 20.0]
            .into_iter()
            .find(|step| (most - least) / step <= 5.0)
            .unwrap_or(40.0);
        Self {
            low: (least / step).floor() * step,
            high: (most / step).ceil() * step,
            step,
            top,
            bottom,
        }
    }

    pub(super) fn y(&self, cents: f64) -> f64 {
        let cents = cents.clamp(self.low, self.high);
        self.bottom - (self.bottom - self.top) * (cents - self.low) / (self.high - self.low)
    }

    /// The figures that have a line.
    pub(super) fn marks(&self) -> Vec<f64> {
        let count = ((self.high - self.low) / self.step).round() as u32;
        (0..=count).map(|mark| self.low + f64::from(mark) * self.step).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cents_have_a_few_round_figures_with_nothing_among_them() {
        for (cents, marks) in [
            (vec![0.5, -1.0], vec![-4.0, -2.0, 0.0, 2.0, 4.0]),
            (vec![-13.0, 0.0], vec![-15.0, -10.0, -5.0, 0.0, 5.0]),
            (vec![-400.0, 3.0], vec![-60.0, -40.0, -20.0, 0.0, 20.0]),
        ] {
            let heights = Heights::new(cents.iter().copied(), 2.0, (0.0, 100.0));
            assert_eq!(heights.marks(), marks, "{cents:?}");
        }
    }

    #[test]
    fn days_are_named_as_far_as_there_is_room() {
        let words = Words::english();
        let at = |day: &str| day.parse::<Date>().expect("a day").noon();
        let names = |from: &str, to: &str, wide: f64| -> Vec<String> {
            let ticks = Days::new(at(from), at(to), (0.0, wide)).ticks(&words);
            ticks.into_iter().map(|tick| tick.1).collect()
        };
        assert_eq!(names("2026-09-04", "2026-11-25", 900.0), ["4 Sep 2026", "Oct", "Nov"]);
        assert_eq!(names("2026-12-04", "2027-02-25", 900.0), ["4 Dec 2026", "2027", "Feb"]);
        assert_eq!(names("2026-11-04", "2026-11-25", 900.0), ["4 Nov 2026"]);
        assert!(names("2020-01-01", "2026-01-01", 300.0).len() <= 5);
    }
}
