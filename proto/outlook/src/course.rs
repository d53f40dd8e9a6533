//! A harp's course: what was seen of its tuning, and when it will be ready.
//!
//! How a forecast is made, with figures for a string of ordinary cost:
//!
//! 1. *Work left.* Each string that is neither holding nor set aside costs its register's share of a string (wires and the
//!    top cost more than the middle), a string that was set once only what its confirmation takes, and one that has come
//!    back before costs more each time. New and missing strings cost nothing, since they do not keep a harp from being
//!    ready.
//!    While strings are only brought near and left, as in a quick pass, each that is not near yet costs [`QUICK`] more; the
//!    fine pass over one that was costs [`FINE`].
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

use consort_proto::order::{Order, QUICK_WITHIN};
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
    /// The string that was heard last, whether strings are only brought near at present, and how many were.
    in_hand: Option<usize>,
    quick: bool,
    neared: usize,
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
    /// Whether it stood further off, when it was first heard, than a quick pass leaves it.
    found_far: Option<bool>,
    /// Whether it was brought near in a quick pass.
    neared: bool,
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
/// What bringing a string near in a quick pass costs, in strings of ordinary cost, and what the fine pass then still does.
const QUICK: f64 = 0.6;
const FINE: f64 = 0.8;
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
        let (mut heard, mut done) = (Vec::new(), Vec::new());
        let strings = harp.numbered().zip(&mut self.strings);
        for (((number, string), seen), &standing) in strings.zip(readiness.standings()) {
            let before = seen.standing.unwrap_or(Standing::NotHeard);
            // Two plucks of one string hardly ever read alike.
            seen.checked |= self.checking && standing != before;
            if standing != before && standing.cents().is_some() {
                heard.push(number);
            }
            if is_done(standing) && !is_done(before) {
                self.done += cost(string) * seen.rest();
                self.finished += 1;
                done.push(number);
            }
            if matches!(standing, Standing::Moved(_)) && matches!(before, Standing::Holds(_)) {
                self.moved += 1;
                seen.came_back = seen.came_back.saturating_add(1);
            }
        }
        if let [one] = heard.as_slice() {
            self.take_in_hand(harp, *one);
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
        if self.finished.max(self.neared) < TOLD_FROM {
            return None;
        }
        let costs = harp.strings().iter().enumerate().zip(readiness.standings());
        let left: f64 = costs
            .map(|((place, string), &standing)| {
                let waits = self.quick && share_left(standing) > 0.0 && !is_near(standing);
                let cost_left = self.cost(place, string, standing);
                match waits {
                    true => QUICK * cost(string) + FINE * cost_left,
                    false => cost_left,
                }
            })
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

    /// Takes in that `string` is heard now, and with it what was done with the one before: left near, as in a quick pass, or
    /// seen to.
    fn take_in_hand(&mut self, harp: &Harp, string: StringNumber) {
        let left = self
            .in_hand
            .replace(string.index())
            .filter(|left| *left != string.index());
        let Some((seen, string)) = left.and_then(|left| self.strings.get_mut(left).zip(harp.strings().get(left)))
        else {
            return;
        };
        let Some(standing) = seen.standing else { return };
        if is_done(standing) {
            self.quick = false;
        } else if seen.found_far == Some(true) && is_near(standing) {
            self.quick = true;
            if !seen.neared {
                seen.neared = true;
                self.neared += 1;
                self.done += QUICK * cost(string);
            }
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
            seen.found_far = seen
                .found_far
                .or(standing.cents().map(|cents| !cents.is_within(QUICK_WITHIN)));
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
        (1.0 + 0.5 * f64::from(self.came_back)) * self.rest()
    }

    /// What is left of a string of its cost once a quick pass has brought it near.
    const fn rest(&self) -> f64 {
        if self.neared { FINE } else { 1.0 }
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

/// Whether a string is as near as a quick pass wants it.
fn is_near(standing: Standing) -> bool {
    standing.cents().is_some_and(|cents| cents.is_within(QUICK_WITHIN))
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
mod tests;
