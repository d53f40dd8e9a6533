//! What would remain out of tune: if it began now, and if it began in three minutes.

use std::time::Duration;

use consort_outlook::{HEARD_OFF, Register, Remains, SOON, remains};
use consort_words::{Arg, Key, Words};
use serde::Serialize;

use crate::image::{SeatImage, SessionImage};
use crate::together::register_key;

/// What would remain of a section at one moment.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Remaining {
    /// When, in seconds from now.
    pub in_s: u64,
    /// Harps that would be ready.
    pub ready: usize,
    /// All harps.
    pub harps: usize,
    /// Harps of which nothing can be foretold, since they are not heard or have just begun: they count as they are now.
    pub untold: usize,
    /// Each register in which anything would remain, from the bass up.
    pub registers: Vec<RegisterRemaining>,
}

/// What would remain in one register of all harps together.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct RegisterRemaining {
    /// Its word.
    pub register: &'static str,
    /// Strings further off than 5 cents.
    pub off: usize,
    /// Strings that nobody would have heard in this round.
    pub not_heard: usize,
}

/// The same as the board draws it: a row for each moment, a column for each register.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RemainsTable {
    /// What is counted.
    pub title: String,
    /// What people call the registers from the bass up, then the strings not heard and the harps that would be ready.
    pub columns: Vec<String>,
    /// Each moment.
    pub rows: Vec<RemainsRow>,
    /// How many harps count as they are now, in words; null where all are foretold.
    pub note: Option<String>,
}

/// One moment in a [`RemainsTable`].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RemainsRow {
    /// When.
    pub says: String,
    /// A number for each column.
    pub cells: Vec<usize>,
}

impl RemainsTable {
    /// What would remain of `seats`; `None` when nobody is left to tune.
    pub(crate) fn of(seats: &[&SeatImage<'_>], words: &Words) -> Option<Self> {
        let moments = of(seats);
        let untold = moments.last()?.untold;
        let registers = Register::ALL.map(|register| words.say(register_key(register), &[]));
        let row = |moment: &Remaining| {
            let off = |register: Register| {
                let found = moment.registers.iter().find(|one| one.register == register.word());
                found.map_or(0, |one| one.off)
            };
            let not_heard = moment.registers.iter().map(|one| one.not_heard).sum();
            let says = match moment.in_s {
                0 => words.say(Key::RemainsRowNow, &[]),
                _ => words.say(Key::RemainsRowSoon, &[moment.minutes()]),
            };
            RemainsRow {
                says,
                cells: Register::ALL
                    .into_iter()
                    .map(off)
                    .chain([not_heard, moment.ready])
                    .collect(),
            }
        };
        let others = [Key::RemainsColumnNotHeard, Key::RemainsColumnReady].map(|key| words.say(key, &[]));
        Some(Self {
            title: words.say(Key::RemainsTitle, &[("cents", limit())]),
            columns: registers.into_iter().chain(others).collect(),
            rows: moments.iter().map(row).collect(),
            note: (untold > 0).then(|| words.say(Key::RemainsUntold, &[("count", Arg::from(untold))])),
        })
    }
}

/// What would remain of `session` if it began now, and in three minutes as far as that is foretold of any harp; nothing when
/// nobody is left to tune.
pub fn remaining(session: &SessionImage<'_>) -> Vec<Remaining> {
    let seats: Vec<&SeatImage<'_>> = session.seats.iter().filter(|seat| !seat.removed).collect();
    of(&seats)
}

pub(crate) fn of(seats: &[&SeatImage<'_>]) -> Vec<Remaining> {
    if seats.iter().all(|seat| seat.is_ready()) {
        return Vec::new();
    }
    let now = Remaining::of(seats, Duration::ZERO, |seat| {
        Some(Remains::of(seat.harp, seat.readiness))
    });
    let soon = Remaining::of(seats, SOON, |seat| seat.outlook.soon.filter(|_| is_heard(seat)));
    let told = soon.untold < soon.harps;
    [Some(now), told.then_some(soon)].into_iter().flatten().collect()
}

impl Remaining {
    /// What would remain after `time`, if of each harp that remains which `foretold` says.
    fn of(seats: &[&SeatImage<'_>], time: Duration, foretold: impl Fn(&SeatImage<'_>) -> Option<[Remains; 5]>) -> Self {
        let known: Vec<_> = seats.iter().map(|seat| foretold(seat)).collect();
        let as_now = |seat: &&&SeatImage<'_>| Remains::of(seat.harp, seat.readiness);
        let each = seats
            .iter()
            .zip(&known)
            .map(|(seat, known)| known.unwrap_or_else(|| as_now(&seat)));
        let register = |remains: Remains| RegisterRemaining {
            register: remains.register.word(),
            off: remains.off,
            not_heard: remains.not_heard,
        };
        Self {
            in_s: time.as_secs(),
            ready: seats.iter().filter(|seat| ready_within(seat, time)).count(),
            harps: seats.len(),
            untold: known.iter().filter(|known| known.is_none()).count(),
            registers: remains(each).into_iter().map(register).collect(),
        }
    }

    /// The same in one or two sentences.
    pub fn says(&self, words: &Words) -> String {
        let parts = self.parts(words);
        let key = match (self.in_s, parts.is_empty()) {
            (0, false) => Key::RemainsNow,
            (0, true) => Key::RemainsNone,
            (_, false) => Key::RemainsSoon,
            (_, true) => Key::RemainsSoonNone,
        };
        let args = [
            self.minutes(),
            ("ready", Arg::from(self.ready)),
            ("harps", Arg::from(self.harps)),
            ("parts", Arg::from(parts.join(", "))),
            ("cents", limit()),
        ];
        let says = words.say(key, &args);
        if self.untold == 0 {
            return says;
        }
        format!(
            "{says} {}",
            words.say(Key::RemainsUntold, &[("count", Arg::from(self.untold))])
        )
    }

    fn minutes(&self) -> (&'static str, Arg) {
        ("minutes", Arg::from((self.in_s / 60).to_string()))
    }

    fn parts(&self, words: &Words) -> Vec<String> {
        let (off, not_heard) = self
            .registers
            .iter()
            .fold((0, 0), |(off, not), one| (off + one.off, not + one.not_heard));
        let name = |word: &str| {
            let register = Register::ALL.into_iter().find(|one| one.word() == word);
            register.map_or_else(String::new, |one| words.say(register_key(one), &[]))
        };
        let mut parts = Vec::new();
        if off > 0 {
            let registers: Vec<String> = self
                .registers
                .iter()
                .filter(|one| one.off > 0)
                .map(|one| format!("{} {}", name(one.register), one.off))
                .collect();
            let args = [
                ("count", Arg::from(off)),
                ("cents", limit()),
                ("registers", Arg::from(registers.join(", "))),
            ];
            parts.push(words.say(Key::RemainsOff, &args));
        }
        if not_heard > 0 {
            parts.push(words.say(Key::RemainsNotHeard, &[("count", Arg::from(not_heard))]));
        }
        parts
    }
}

/// From how many cents on a string remains.
fn limit() -> Arg {
    Arg::from(format!("{:.0}", HEARD_OFF.0))
}

fn ready_within(seat: &SeatImage<'_>, time: Duration) -> bool {
    let likely = seat.outlook.forecast.map(|forecast| forecast.likely);
    seat.is_ready() || (!time.is_zero() && is_heard(seat) && likely.is_some_and(|likely| likely <= time))
}

/// Whether what is foretold of a harp may be believed: who is not heard may have stopped, and of a copied tag nobody is let in.
fn is_heard(seat: &SeatImage<'_>) -> bool {
    seat.presence.counts() && !seat.copied
}
