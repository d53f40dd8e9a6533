//! A harp's course: what was seen of its tuning, and when it will be ready.
//!
//! How a forecast is made, with figures for a string of ordinary cost:
//!
//! 1. *Work left.* Each string that is neither holding nor set aside costs its register's share of a string (wires and the
//!    top cost more than the middle), a string that was set once only what its confirmation takes, and one that has come
//!    back before costs more each time. New and missing strings cost nothing, since they do not keep a harp from being
//!    ready.
//! 2. *Pace.* The time that was spent divided by the work that was done, with [`PRIOR_WORK`] strings at [`PRIOR_S`] mixed
//!    in, which the harp's own strings soon outweigh. Pauses count up to [`PAUSE_MOST`]: who breaks off comes back at her
//!    own pace.
//! 3. *What comes back.* Strings that have moved since they held, as a share of those that were done, will move among those
//!    that are left as well; and before it is done the harp is played through once, which finds some more.
//! 4. *Range.* The times of single strings scatter, the pace is known only as well as there were strings to learn it from,
//!    and what the check finds is not known: their variances are added, and the range is that of a logarithmic normal
//!    distribution, eight of ten tunings.
//! 5. *What remains in some minutes* stands in `ahead.rs`.
//!
//! The figures are fitted to simulated harpists from professional to student; `cargo measure forecast` shows how well they
//! do on others.

use std::time::Duration;

use consort_proto::order::Order;
use consort_proto::{Harp, HarpString, Readiness, Standing, StringNumber, Uptime};

use crate::ahead::SOON;
use crate::register::Register;
use crate::remains::Remains;

/// What was seen of one harp's tuning in this round.
#[derive(Clone, Debug, Default)]
pub struct Course {
    /// When it was last looked at.
    seen: Option<Uptime>,
    /// Time spent since the first string was heard, pauses shortened.
    spent: Duration,
    /// Work done, in strings of ordinary cost.
    done: f64,
    /// Strings that were done, also again.
    finished: usize,
    /// Strings that came back after they held.
    moved: usize,
    /// Since when nothing was left, if nothing is.
    all_set: Option<Uptime>,
    /// Whether everything was set once in this round: from then on the harp is being checked.
    checking: bool,
    /// The string that was done last, and how often one was done right after the one before it in each of [`Order::ALL`].
    last: Option<StringNumber>,
    in_order: [u32; Order::ALL.len()],
    strings: Vec<Seen>,
}

/// What was seen of one string.
#[derive(Clone, Copy, Debug, Default)]
struct Seen {
    standing: Option<Standing>,
    /// How often it came back after it held.
    came_back: u8,
    /// Whether it was heard since everything was set.
    checked: bool,
}

/// How long it takes from now until a harp is ready.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Forecast {
    /// One tuning of ten is done sooner.
    pub soonest: Duration,
    /// Half of them are done by then.
    pub likely: Duration,
    /// One of ten takes longer.
    pub latest: Duration,
}

impl Forecast {
    /// That of a harp which is ready.
    const NOTHING_LEFT: Self = Self {
        soonest: Duration::ZERO,
        likely: Duration::ZERO,
        latest: Duration::ZERO,
    };
}

/// What can be told of one harp's tuning at one moment.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct Outlook {
    /// When it will be ready; `None` while too little was seen.
    pub forecast: Option<Forecast>,
    /// How long no string of it has been heard; `None` before the first one.
    pub quiet: Option<Duration>,
    /// How long nothing has been left to tune, if nothing is.
    pub ready_for: Option<Duration>,
    /// What would remain of it, from the bass up, if a start were called for in [`SOON`]; `None` while too
    /// little was seen.
    pub soon: Option<[Remains; Register::ALL.len()]>,
}

/// What is left of a tuning, in strings of ordinary cost, and how long it takes.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Rest {
    /// What the strings themselves cost, what comes back while they are done, and the last check.
    left: f64,
    again: f64,
    check: f64,
    /// Seconds for a string.
    pace_s: f64,
    /// One standard deviation of the whole's logarithm.
    scatter: f64,
}

/// Strings that must be done before a forecast is told.
pub const TOLD_FROM: usize = 5;
/// What is believed of a pace before anything was seen: so much work at so many seconds for a string.
const PRIOR_WORK: f64 = 2.0;
const PRIOR_S: f64 = 14.0;
/// No pause between two sights counts for more.
const PAUSE_MOST: Duration = Duration::from_secs(30);
/// Share of the strings that the last check finds off, and what playing one string through costs, in strings.
const CHECK_FINDS: f64 = 0.1;
const CHECK_WORK: f64 = 0.08;
/// One standard deviation of a single string's time, as a share of it.
const STRING_SCATTER: f64 = 0.65;
/// One standard deviation of what checking and coming back add, as a share of it.
const CHECK_SCATTER: f64 = 0.5;
/// Eight of ten lie within so many standard deviations of a normal distribution.
const EIGHT_OF_TEN: f64 = 1.2816;
/// What is left of a string that was set once, and of one that is off or has moved, as a share.
const CONFIRM: f64 = 0.25;
const AGAIN: f64 = 0.8;

impl Course {
    /// Takes in what the harp has come to at `now`; to be called whenever that has changed.
    pub fn see(&mut self, now: Uptime, harp: &Harp, readiness: &Readiness) {
        if self.strings.len() != harp.len() {
            *self = Self {
                strings: vec![Seen::default(); harp.len()],
                ..Self::default()
            };
        }
        let unheard = |standing: &Standing| matches!(standing, Standing::NotHeard | Standing::Missing);
        if readiness.standings().iter().all(unheard) {
            self.remember(readiness);
            return;
        }
        let news = |(seen, standing): (&Seen, &Standing)| is_done(*standing) && !seen.standing.is_some_and(is_done);
        let finished = self
            .strings
            .iter()
            .zip(readiness.standings())
            .filter(|pair| news(*pair))
            .count();
        let Some(seen) = self.seen.replace(now) else {
            if finished > 1 {
                // The tuning began before anybody looked: how long that took is not known, nor is the pace.
                self.finished = finished;
                self.checking = readiness.is_ready();
                self.all_set = readiness.is_ready().then_some(now);
            }
            return self.take_in(harp, readiness, now, finished > 1);
        };
        // Strings that arrive together were tuned one after another while the link was gone.
        let most = PAUSE_MOST * u32::try_from(finished.max(1)).unwrap_or(u32::MAX);
        self.spent += now.since(seen).min(most);
        self.take_in(harp, readiness, now, false);
    }

    fn take_in(&mut self, harp: &Harp, readiness: &Readiness, now: Uptime, begun_before: bool) {
        if begun_before {
            return self.remember(readiness);
        }
        let mut done = Vec::new();
        let strings = harp.numbered().zip(&mut self.strings);
        for (((number, string), seen), &standing) in strings.zip(readiness.standings()) {
            let before = seen.standing.unwrap_or(Standing::NotHeard);
            // Two plucks of one string hardly ever read alike.
            seen.checked |= self.checking && standing != before;
            if is_done(standing) && !is_done(before) {
                self.done += cost(string);
                self.finished += 1;
                done.push(number);
            }
            if matches!(standing, Standing::Moved(_)) && matches!(before, Standing::Holds(_)) {
                self.moved += 1;
                seen.came_back = seen.came_back.saturating_add(1);
            }
        }
        // Of strings that arrive together it is not known which came first.
        match done.as_slice() {
            [] => {}
            [one] => self.follow(harp, *one),
            _ => self.last = None,
        }
        self.remember(readiness);
        let all_set = readiness.is_ready();
        self.checking |= all_set;
        self.all_set = if all_set { self.all_set.or(Some(now)) } else { None };
    }

    /// When the harp will be ready, from `now` on; `None` until [`TOLD_FROM`] strings are done, and zero once it is ready.
    pub fn forecast(&self, now: Uptime, harp: &Harp, readiness: &Readiness) -> Option<Forecast> {
        if readiness.is_ready() {
            return Some(Forecast::NOTHING_LEFT);
        }
        self.rest(now, harp, readiness).map(Rest::forecast)
    }

    /// What is left of the tuning at `now`; `None` until [`TOLD_FROM`] strings are done.
    pub(crate) fn rest(&self, now: Uptime, harp: &Harp, readiness: &Readiness) -> Option<Rest> {
        if self.finished < TOLD_FROM {
            return None;
        }
        let costs = harp.strings().iter().enumerate().zip(readiness.standings());
        let left: f64 = costs
            .map(|((place, string), &standing)| self.cost(place, string, standing))
            .sum();
        let again = (self.moved as f64 / (self.finished as f64 + 10.0)).min(1.0);
        let unchecked = self.strings.iter().filter(|seen| !seen.checked).count() as f64;
        let check = unchecked * (CHECK_WORK + CHECK_FINDS * AGAIN);
        let back = left * again + check;
        let spent = self.spent + self.seen.map_or(Duration::ZERO, |seen| now.since(seen).min(PAUSE_MOST));
        let work = left + back;
        let variance =
            STRING_SCATTER.powi(2) * (work + work * work / (self.done + PRIOR_WORK)) + (CHECK_SCATTER * back).powi(2);
        Some(Rest {
            left,
            again,
            check,
            pace_s: (spent.as_secs_f64() + PRIOR_WORK * PRIOR_S) / (self.done + PRIOR_WORK),
            scatter: (1.0 + variance / (work * work).max(1e-6)).ln().sqrt(),
        })
    }

    /// What is left to do of the string at `place` from the top, in strings of ordinary cost.
    pub(crate) fn cost(&self, place: usize, string: &HarpString, standing: Standing) -> f64 {
        let weight = self.strings.get(place).map_or(1.0, |seen| seen.weight());
        cost(string) * share_left(standing) * weight
    }

    /// The order in which the harp is tuned, as far as that was seen; the usual one where it was not.
    pub(crate) fn order(&self) -> Order {
        let seen = Order::ALL.into_iter().zip(self.in_order).rev();
        seen.max_by_key(|(_, times)| *times)
            .map_or(Order::Usual, |(order, _)| order)
    }

    /// What can be told of the harp at `now`.
    pub fn outlook(&self, now: Uptime, harp: &Harp, readiness: &Readiness) -> Outlook {
        let (forecast, soon) = if readiness.is_ready() {
            (Some(Forecast::NOTHING_LEFT), Some(Remains::of(harp, readiness)))
        } else {
            let rest = self.rest(now, harp, readiness);
            let soon = rest.map(|rest| Remains::of(harp, &self.after(rest, harp, readiness, SOON)));
            (rest.map(Rest::forecast), soon)
        };
        Outlook {
            forecast,
            quiet: self.seen.map(|seen| now.since(seen)),
            ready_for: self.all_set.map(|since| now.since(since)),
            soon,
        }
    }

    /// Takes in that `string` was done after the one before.
    fn follow(&mut self, harp: &Harp, string: StringNumber) {
        if let Some(last) = self.last.replace(string) {
            for (order, times) in Order::ALL.into_iter().zip(&mut self.in_order) {
                *times += u32::from(order.strings(harp).windows(2).any(|pair| pair == [last, string]));
            }
        }
    }

    fn remember(&mut self, readiness: &Readiness) {
        for (seen, &standing) in self.strings.iter_mut().zip(readiness.standings()) {
            seen.standing = Some(standing);
        }
    }
}

impl Rest {
    /// When all of it will be done, from now on.
    fn forecast(self) -> Forecast {
        let likely = self.likely_s();
        let far = (EIGHT_OF_TEN * self.scatter).exp();
        Forecast {
            soonest: Duration::from_secs_f64(likely / far),
            likely: Duration::from_secs_f64(likely),
            latest: Duration::from_secs_f64(likely * far),
        }
    }

    /// How long all of it takes in half of all tunings, seconds.
    pub(crate) fn likely_s(self) -> f64 {
        self.pace_s * self.work() * (-0.5 * self.scatter * self.scatter).exp()
    }

    /// All of the work, in strings of ordinary cost.
    pub(crate) fn work(self) -> f64 {
        self.left * (1.0 + self.again) + self.check
    }

    /// How much dearer a string is by what comes back while it is done.
    pub(crate) fn dearer(self) -> f64 {
        1.0 + self.again
    }
}

impl Seen {
    /// A string that has come back costs more, since it will again.
    fn weight(self) -> f64 {
        1.0 + 0.5 * f64::from(self.came_back)
    }
}

/// What tuning `string` costs, in strings of ordinary cost: fitted to simulated harpists.
const fn cost_of(register: Register) -> f64 {
    match register {
        Register::Wires => 0.95,
        Register::Low => 1.0,
        Register::Middle => 1.0,
        Register::High => 1.0,
        Register::Top => 0.8,
    }
}

fn cost(string: &HarpString) -> f64 {
    cost_of(Register::of(string))
}

/// Whether the harpist is done with a string: what was only marked was not tuned.
const fn is_done(standing: Standing) -> bool {
    matches!(standing, Standing::Holds(_) | Standing::WillNotHold(_))
}

/// Which share of a string's cost is left.
const fn share_left(standing: Standing) -> f64 {
    match standing {
        Standing::NotHeard => 1.0,
        Standing::Off(_) | Standing::Moved(_) => AGAIN,
        Standing::SetOnce(_) => CONFIRM,
        Standing::Holds(_) | Standing::WillNotHold(_) | Standing::New(_) | Standing::Missing => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::Cents;
    use consort_proto::harp_file::preset;

    /// A harp of which so many strings hold and one has moved.
    fn judged(harp: &Harp, holding: usize, moved: bool) -> Readiness {
        let mut standings = vec![Standing::NotHeard; harp.len()];
        standings[..holding].fill(Standing::Holds(Cents(0.2)));
        if moved {
            standings[0] = Standing::Moved(Cents(-6.0));
        }
        Readiness::judged(standings)
    }

    /// A string every `pause` seconds, so many of them.
    fn played(harp: &Harp, strings: usize, pause: u64) -> (Course, Uptime) {
        let mut course = Course::default();
        for done in 1..=strings {
            course.see(
                Uptime::from_secs(100 + pause * done as u64),
                harp,
                &judged(harp, done, false),
            );
        }
        (course, Uptime::from_secs(100 + pause * strings as u64))
    }

    fn likely_s(course: &Course, now: Uptime, harp: &Harp, readiness: &Readiness) -> f64 {
        let forecast = course.forecast(now, harp, readiness).expect("enough was seen");
        assert!(forecast.soonest <= forecast.likely && forecast.likely <= forecast.latest);
        forecast.likely.as_secs_f64()
    }

    #[test]
    fn nothing_is_told_before_five_strings_and_a_ready_harp_needs_no_time() {
        let harp = preset("lever-34").expect("a preset");
        let (course, now) = played(&harp, TOLD_FROM - 1, 10);
        assert_eq!(course.forecast(now, &harp, &judged(&harp, TOLD_FROM - 1, false)), None);
        let (course, now) = played(&harp, harp.len(), 10);
        let ready = judged(&harp, harp.len(), false);
        assert_eq!(likely_s(&course, now, &harp, &ready), 0.0);
        let later = Uptime::from_secs(60) + now.0;
        assert_eq!(
            course.outlook(later, &harp, &ready).ready_for,
            Some(Duration::from_secs(60))
        );
    }

    #[test]
    fn who_is_half_as_fast_needs_longer_and_who_has_done_more_is_known_better() {
        let harp = preset("pedal-47").expect("a preset");
        let foretold = |strings, pause| {
            let (course, now) = played(&harp, strings, pause);
            let forecast = course
                .forecast(now, &harp, &judged(&harp, strings, false))
                .expect("a forecast");
            (
                forecast.likely.as_secs_f64(),
                forecast.latest.as_secs_f64() / forecast.soonest.as_secs_f64(),
            )
        };
        let ((fast, _), (slow, _)) = (foretold(20, 8), foretold(20, 16));
        assert!((1.7..2.1).contains(&(slow / fast)), "{fast} {slow}");
        // 27 strings at about 8 seconds each, and the last check.
        assert!((180.0..330.0).contains(&fast), "{fast}");
        assert!(foretold(30, 8).1 < foretold(6, 8).1);
    }

    #[test]
    fn what_comes_back_and_what_is_broken_off_for_long() {
        let harp = preset("pedal-47").expect("a preset");
        let (mut course, now) = played(&harp, 20, 10);
        let before = likely_s(&course, now, &harp, &judged(&harp, 20, false));
        course.see(now, &harp, &judged(&harp, 20, true));
        let moved = likely_s(&course, now, &harp, &judged(&harp, 20, true));
        assert!(moved > before + 5.0, "{before} {moved}");
        // An hour's pause does not make a slow harpist.
        let (mut course, now) = played(&harp, 20, 10);
        let late = now + Duration::from_secs(3_600);
        course.see(late, &harp, &judged(&harp, 21, false));
        let after = likely_s(&course, late, &harp, &judged(&harp, 21, false));
        assert!(after < before * 1.2, "{before} {after}");
    }

    #[test]
    fn a_tuning_that_began_before_anybody_looked_is_told_at_the_usual_pace() {
        let harp = preset("pedal-47").expect("a preset");
        let mut course = Course::default();
        let now = Uptime::from_secs(1);
        let readiness = judged(&harp, 30, false);
        course.see(now, &harp, &readiness);
        let likely = likely_s(&course, now, &harp, &readiness);
        assert!((150.0..600.0).contains(&likely), "{likely}");
    }

    #[test]
    fn a_new_pitch_is_work_for_strings_that_held() {
        let harp = preset("pedal-47").expect("a preset");
        let (mut course, now) = played(&harp, 40, 10);
        let before = likely_s(&course, now, &harp, &judged(&harp, 40, false));
        let all_off = Readiness::judged(vec![Standing::Off(Cents(-7.9)); harp.len()]);
        course.see(now, &harp, &all_off);
        assert!(likely_s(&course, now, &harp, &all_off) > 3.0 * before);
    }
}
