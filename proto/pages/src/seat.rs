//! One harp on the board.

use std::collections::BTreeMap;
use std::time::Duration;

use consort_proto::Standing;
use consort_words::{Arg, Key, Words};
use serde::Serialize;

use crate::board::tenths;
use crate::headline::CLOCK;
use crate::image::{Presence, SeatImage};
use crate::watch::age_says;

/// One harp on the board.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BoardHarp {
    /// The number of its seat, from 1.
    pub seat: u32,
    /// The harpist.
    pub name: String,
    /// The harpist's initials.
    pub initials: String,
    /// What people call the harp.
    pub harp: String,
    /// `ready`, `tuning`, or `unheard` when its last report may no longer be true.
    pub state: &'static str,
    /// What the harp has come to, in words: `19 strings left`, or `last reported as “ready”` while it is not heard.
    pub says: String,
    /// `here`, `unsure`, `silent` or `away`.
    pub presence: &'static str,
    /// Why it is not heard, in words: `silent 3 min`; null while it is heard.
    pub presence_says: Option<String>,
    /// When it will be ready, in seconds from now: sooner than which one tuning of ten is, half are and nine of ten are; null
    /// while too little was seen.
    pub ready_in_s: Option<[u64; 3]>,
    /// What stands at the end of its row, with `{time}` where the time of day belongs at which it will likely be ready.
    pub when: String,
    /// How it stands to the start: `late`, `tight`, `in-time`, or `open` where there is no start or no forecast.
    pub against: &'static str,
    /// That it is to be confirmed, or was confirmed long ago, in words; null while it is fresh.
    pub age: Option<String>,
    /// For how many seconds it has been ready; null while it is not.
    pub ready_for_s: Option<u64>,
    /// How many strings are left to tune.
    pub left: usize,
    /// How many strings hold.
    pub holds: usize,
    /// The strings that are set aside, in words: `3G will not hold`.
    pub aside: Vec<String>,
    /// The harp in one whole sentence.
    pub sentence: String,
    /// The same without the harpist's name and her strings, for a wall that everybody sees.
    pub sentence_by_seat: String,
    /// What its strings are, in sentences.
    pub strings_say: String,
    /// That the harpist wants help, in words; null while she does not.
    pub help: Option<String>,
    /// Its strings from the top: the place in the list, from 1, is the number.
    pub strings: Vec<StringState>,
}

/// One string on the board, written as a list of three to keep a picture of thirty harps small enough for weak Wi-Fi:
/// name (`4C`, which ends with the letter), standing, cents above its target to a tenth or null.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StringState(pub String, pub &'static str, pub Option<f64>);

impl BoardHarp {
    /// One harp of the board, said in `words`.
    ///
    /// `start_in` is how far the start is. In a `crowd` no single strings are told.
    pub(crate) fn of(seat: &SeatImage<'_>, start_in: Option<Duration>, crowd: bool, words: &Words) -> Self {
        let mut says = words.readiness(seat.harp, seat.readiness);
        let age = age_says(&seat.age, words);
        let aged = |says: String| match &age {
            Some(age) => format!("{says}, {age}"),
            None => says,
        };
        says = aged(says);
        if !seat.presence.counts() {
            // Nothing is called ready that may no longer be.
            says = words.say(Key::BoardLastReported, &[("says", Arg::from(says))]);
        }
        let presence_says = presence(seat, words);
        let unnamed = match seat.is_ready() {
            true => aged(words.say(Key::HarpReady, &[])),
            false => says.clone(),
        };
        let state = match (seat.presence.counts(), seat.is_ready()) {
            (false, _) => "unheard",
            (true, true) => "ready",
            (true, false) => "tuning",
        };
        let ends = Ends::of(seat, start_in);
        let ready_in_s = seat
            .outlook
            .forecast
            .filter(|_| state != "ready")
            .map(|forecast| [forecast.soonest, forecast.likely, forecast.latest].map(|time| time.as_secs()));
        let ends_say = ends.spoken(words).filter(|_| state == "tuning");
        let whole = |says: String| {
            let parts = [Some(says), presence_says.clone(), ends_say.clone()];
            parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
        };
        let strings = || seat.harp.numbered().zip(seat.readiness.standings());
        Self {
            seat: seat.seat,
            age: age.clone(),
            name: seat.name.to_string(),
            initials: initials(seat.name.as_str()),
            ready_in_s,
            when: presence_says
                .clone()
                .filter(|_| state == "unheard")
                .unwrap_or_else(|| ends.label(words)),
            against: if state == "tuning" { ends.word() } else { "open" },
            ready_for_s: seat
                .outlook
                .ready_for
                .filter(|_| state == "ready")
                .map(|time| time.as_secs()),
            harp: seat.harp.name().to_owned(),
            state,
            help: seat.help.then(|| words.say(Key::BoardHelp, &[])),
            presence: seat.presence.word(),
            left: seat.readiness.left(),
            holds: seat.readiness.holding(),
            aside: strings()
                .filter(|(_, standing)| standing.is_set_aside())
                .map(|((_, string), standing)| format!("{} {}", string.open.harp_name(), words.standing(*standing)))
                .collect(),
            sentence: words.say(
                Key::BoardSeat,
                &[
                    ("seat", Arg::from(seat.seat)),
                    ("name", Arg::from(seat.name.as_str())),
                    ("says", Arg::from(whole(says.clone()))),
                ],
            ),
            sentence_by_seat: words.say(
                Key::BoardBySeat,
                &[("seat", Arg::from(seat.seat)), ("says", Arg::from(whole(unnamed)))],
            ),
            strings_say: if crowd { String::new() } else { strings_say(seat, words) },
            strings: strings()
                .filter(|_| !crowd)
                .map(|((_, string), standing)| {
                    StringState(string.open.harp_name(), standing.word(), standing.cents().map(tenths))
                })
                .collect(),
            says,
            presence_says,
        }
    }
}

/// How a harp stands to the start.
#[derive(Clone, Copy, Debug)]
enum Ends {
    /// Nothing of it was heard yet, or too little for a forecast.
    NotBegun,
    JustBegun,
    /// It needs so much longer than there is time.
    Late {
        likely: Duration,
        by: Duration,
    },
    /// It may be ready in time, or not.
    Tight {
        likely: Duration,
    },
    InTime {
        likely: Duration,
    },
    /// There is no start ahead.
    Open {
        likely: Duration,
    },
}

impl Ends {
    fn of(seat: &SeatImage<'_>, start_in: Option<Duration>) -> Self {
        let Some(forecast) = seat.outlook.forecast else {
            let heard = |standing: &Standing| standing.cents().is_some();
            return match seat.readiness.standings().iter().any(heard) {
                true => Self::JustBegun,
                false => Self::NotBegun,
            };
        };
        let likely = forecast.likely;
        match start_in.filter(|left| !left.is_zero()) {
            None => Self::Open { likely },
            Some(start) if likely > start => Self::Late {
                likely,
                by: likely - start,
            },
            Some(start) if forecast.latest > start => Self::Tight { likely },
            Some(_) => Self::InTime { likely },
        }
    }

    const fn word(self) -> &'static str {
        match self {
            Self::NotBegun | Self::JustBegun | Self::Open { .. } => "open",
            Self::Late { .. } => "late",
            Self::Tight { .. } => "tight",
            Self::InTime { .. } => "in-time",
        }
    }

    /// What stands at the end of the row.
    fn label(self, words: &Words) -> String {
        match self {
            Self::NotBegun => words.say(Key::WhenNotBegun, &[]),
            Self::JustBegun => words.say(Key::WhenJustBegun, &[]),
            Self::Late { by, .. } => words.say(Key::WhenLate, &[("minutes", Arg::from(minutes(by)))]),
            Self::Tight { .. } => words.say(Key::WhenTight, &[("time", Arg::from(CLOCK))]),
            Self::InTime { .. } | Self::Open { .. } => CLOCK.to_owned(),
        }
    }

    /// The same for those who hear the page.
    fn spoken(self, words: &Words) -> Option<String> {
        let about = |likely| ("time", Arg::from(words.in_time(likely)));
        match self {
            Self::NotBegun | Self::JustBegun => None,
            Self::Late { likely, by } => {
                Some(words.say(Key::WhenLateSays, &[about(likely), ("minutes", Arg::from(minutes(by)))]))
            }
            Self::Tight { likely } | Self::InTime { likely } | Self::Open { likely } => {
                Some(words.say(Key::WhenReadyAbout, &[about(likely)]))
            }
        }
    }
}

/// Whole minutes, one at least.
fn minutes(time: Duration) -> u64 {
    ((time.as_secs() + 30) / 60).max(1)
}

/// The first letters of a name's words, three at most.
fn initials(name: &str) -> String {
    let words = name
        .split([' ', '-', '.'])
        .filter_map(|word| word.chars().find(|letter| letter.is_alphanumeric()));
    words.take(3).collect()
}

/// Why a station is not heard, in words.
pub(crate) fn presence(seat: &SeatImage<'_>, words: &Words) -> Option<String> {
    if seat.removed {
        return Some(words.say(Key::PresenceRemoved, &[]));
    }
    if seat.copied {
        return Some(words.say(Key::PresenceCopied, &[]));
    }
    match seat.presence {
        Presence::Here => None,
        Presence::Unsure => Some(words.say(Key::PresenceUnsure, &[])),
        Presence::Silent(silent) => Some(words.say(Key::PresenceSilent, &[("time", Arg::from(words.time(silent)))])),
        Presence::Away => Some(words.say(Key::PresenceAway, &[])),
    }
}

/// The strings gathered by what they are, from what needs a hand to what is done; those that hold are only counted.
fn strings_say(seat: &SeatImage<'_>, words: &Words) -> String {
    let mut groups: BTreeMap<u8, Vec<String>> = BTreeMap::new();
    for ((_, string), standing) in seat.harp.numbered().zip(seat.readiness.standings()) {
        groups.entry(rank(*standing)).or_default().push(string.open.harp_name());
    }
    let sentence = |(rank, names): (&u8, &Vec<String>)| {
        let count = ("count", Arg::from(names.len()));
        match GROUPS.get(usize::from(*rank)) {
            Some(key) => words.say(
                Key::BoardStrings,
                &[
                    count,
                    ("what", Arg::from(words.say(*key, &[]))),
                    ("strings", Arg::from(names.join(", "))),
                ],
            ),
            None => words.say(Key::BoardStringsHold, &[count]),
        }
    };
    let sentences: Vec<String> = groups.iter().map(sentence).collect();
    sentences.join(" ")
}

/// What the groups of [`strings_say`] are called, in their order; the strings that hold come after them.
const GROUPS: [Key; 7] = [
    Key::BoardStringsWillNotHold,
    Key::BoardStringsMissing,
    Key::BoardStringsNew,
    Key::BoardStringsMoved,
    Key::BoardStringsOff,
    Key::BoardStringsSetOnce,
    Key::BoardStringsNotHeard,
];

/// The place of a standing in [`GROUPS`], or after them.
const fn rank(standing: Standing) -> u8 {
    match standing {
        Standing::WillNotHold(_) => 0,
        Standing::Missing => 1,
        Standing::New(_) => 2,
        Standing::Moved(_) => 3,
        Standing::Off(_) => 4,
        Standing::SetOnce(_) => 5,
        Standing::NotHeard => 6,
        Standing::Holds(_) => 7,
    }
}
