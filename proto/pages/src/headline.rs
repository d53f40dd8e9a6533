//! What there is to decide, in one large line.

use std::time::Duration;

use consort_words::{Arg, Key, Words};

use crate::image::{SeatImage, SessionImage};

/// Where a time of day belongs in a text: each viewer's own clock knows what it reads there.
pub(crate) const CLOCK: &str = "{time}";

/// The headline as the wall shows it, as those see it who may see people, and when [`CLOCK`] in them is, seconds from now.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Headline {
    pub(crate) says: String,
    pub(crate) names: String,
    pub(crate) clock_in_s: Option<u64>,
    /// Who cannot be heard, where the headline speaks of the others only.
    pub(crate) besides: Option<String>,
}

impl Headline {
    /// The headline over `seats`, those of `session` that were not turned away.
    pub(crate) fn of(session: &SessionImage<'_>, seats: &[&SeatImage<'_>], words: &Words) -> Self {
        let alike = |says: String| Self {
            names: says.clone(),
            says,
            clock_in_s: None,
            besides: None,
        };
        if seats.is_empty() && session.was_joined {
            return alike(words.say(Key::BoardNobodyNow, &[]));
        }
        let ready = seats.iter().filter(|seat| seat.is_ready()).count();
        let unheard = seats.iter().filter(|seat| !seat.presence.counts()).count();
        let tuning: Vec<&SeatImage<'_>> = seats
            .iter()
            .copied()
            .filter(|seat| seat.presence.counts() && !seat.is_ready())
            .collect();
        if tuning.is_empty() {
            return alike(words.headline(ready, 0, unheard));
        }
        let foretold = Foretold::of(&tuning, session.start_in);
        let headline = match foretold {
            Some(foretold) => foretold.headline(words),
            None => return alike(words.headline(ready, tuning.len(), unheard)),
        };
        let besides = [("count", Arg::from(unheard))];
        Self {
            besides: (unheard > 0).then(|| words.say(Key::BoardUnheardBesides, &besides)),
            ..headline
        }
    }

    /// The same for those who hear it or read it where no clock fills it in.
    pub(crate) fn spoken(&self, words: &Words) -> String {
        let left = Duration::from_secs(self.clock_in_s.unwrap_or_default());
        self.says.replace(CLOCK, &words.in_time(left))
    }
}

/// Harps that are still tuning and of which all is foretold that the headline needs.
#[derive(Debug)]
struct Foretold<'a> {
    /// Those that will not be ready at the start, the last one first.
    late: Vec<&'a SeatImage<'a>>,
    close: usize,
    count: usize,
    last: Duration,
    start: bool,
}

impl<'a> Foretold<'a> {
    /// `None` while it is not known of somebody when she will be ready, unless somebody is known to be late.
    fn of(tuning: &[&'a SeatImage<'a>], start_in: Option<Duration>) -> Option<Self> {
        let start = start_in.filter(|left| !left.is_zero());
        let likely = |seat: &&SeatImage<'_>| seat.outlook.forecast.map(|forecast| forecast.likely);
        let known = tuning.iter().filter_map(likely);
        let all_known = tuning.iter().all(|seat| likely(seat).is_some());
        let mut late: Vec<&SeatImage<'_>> = match start {
            Some(start) => tuning
                .iter()
                .copied()
                .filter(|seat| likely(seat) > Some(start))
                .collect(),
            None => Vec::new(),
        };
        if late.is_empty() && !all_known {
            return None;
        }
        late.sort_by_key(|seat| (std::cmp::Reverse(likely(seat)), seat.seat));
        let close = |seat: &&&SeatImage<'_>| {
            let latest = seat.outlook.forecast.map(|forecast| forecast.latest);
            start.is_some_and(|start| latest > Some(start)) && likely(seat) <= start
        };
        Some(Self {
            last: known.max()?,
            close: tuning.iter().filter(close).count(),
            count: tuning.len(),
            start: start.is_some(),
            late,
        })
    }

    fn headline(&self, words: &Words) -> Headline {
        let counted = |key, count: usize| {
            let args = [
                ("count", Arg::from(count)),
                (
                    "number",
                    Arg::from(words.say(Key::NumberFirst, &[("count", Arg::from(count))])),
                ),
                ("time", Arg::from(CLOCK)),
            ];
            words.say(key, &args)
        };
        let clock_in_s = Some(self.last.as_secs());
        if !self.late.is_empty() {
            let names = [
                ("names", Arg::from(names(&self.late, words))),
                ("count", Arg::from(self.late.len())),
                ("time", Arg::from(CLOCK)),
            ];
            return Headline {
                says: counted(Key::BoardNeedUntil, self.late.len()),
                names: words.say(Key::BoardNamesNeedUntil, &names),
                clock_in_s,
                besides: None,
            };
        }
        let (says, clock_in_s) = match (self.start, self.close) {
            (false, _) => (counted(Key::BoardTuningUntil, self.count), clock_in_s),
            (true, 0) => (words.say(Key::BoardInTime, &[]), None),
            (true, close) => (words.say(Key::BoardInTimeTight, &[("count", Arg::from(close))]), None),
        };
        Headline {
            names: says.clone(),
            says,
            clock_in_s,
            besides: None,
        }
    }
}

/// The first two harpists by name, and how many more.
pub(crate) fn names(seats: &[&SeatImage<'_>], words: &Words) -> String {
    let name = |seat: &SeatImage<'_>| Arg::from(seat.name.as_str());
    match seats {
        [] => String::new(),
        [one] => one.name.to_string(),
        [first, second] => words.say(Key::BoardTwoNames, &[("first", name(first)), ("second", name(second))]),
        [first, second, more @ ..] => words.say(
            Key::BoardMoreNames,
            &[
                ("first", name(first)),
                ("second", name(second)),
                ("count", Arg::from(more.len())),
            ],
        ),
    }
}
