//! The board as data.

use std::collections::BTreeMap;
use std::time::Duration;

use consort_proto::{Cents, Standing};
use consort_words::{Arg, Key, Words};
use serde::Serialize;

use crate::image::{Presence, SeatImage, SessionImage};

/// Everything that the board shows; harps that were turned away are not on it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BoardPage {
    /// What there is to decide, in one large line.
    pub headline: String,
    /// What the ensemble calls itself.
    pub ensemble: String,
    /// What everyone tunes to: `A = 442 · equal temperament · C major`.
    pub agreement: String,
    /// How often the agreement has changed.
    pub revision: u64,
    /// The round: `round 2`.
    pub round: String,
    /// When it starts, in words; null when no start is set.
    pub start: Option<String>,
    /// Seconds left until the start; null when none is set.
    pub start_in_s: Option<u64>,
    /// `5 of 12 ready`; null while nobody has joined.
    pub count: Option<String>,
    /// What spoils the session itself, and what to do; null when all is well.
    pub trouble: Option<String>,
    /// The whole board in one sentence, for those who hear the page.
    pub sentence: String,
    /// The harps in the order of their seats.
    pub harps: Vec<BoardHarp>,
}

/// One harp on the board.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BoardHarp {
    /// Its place in the order of joining, from 1.
    pub seat: u32,
    /// The harpist.
    pub name: String,
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
    /// How many strings are left to tune.
    pub left: usize,
    /// How many strings hold.
    pub holds: usize,
    /// The strings that are set aside, in words: `3G will not hold`.
    pub aside: Vec<String>,
    /// The harp in one whole sentence.
    pub sentence: String,
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

impl BoardPage {
    /// The board of `session`, said in `words`.
    pub fn of(session: &SessionImage<'_>, words: &Words) -> Self {
        let seats: Vec<&SeatImage<'_>> = session.seats.iter().filter(|seat| !seat.removed).collect();
        let ready = seats.iter().filter(|seat| seat.is_ready()).count();
        let unheard = seats.iter().filter(|seat| !seat.presence.counts()).count();
        let headline = if seats.is_empty() && !session.seats.is_empty() {
            words.say(Key::BoardNobodyNow, &[])
        } else {
            words.headline(ready, seats.len() - ready - unheard, unheard)
        };
        let count = [("ready", Arg::from(ready)), ("harps", Arg::from(seats.len()))];
        let start = start(session.start_in, words);
        Self {
            ensemble: session.agreement.ensemble.to_string(),
            agreement: words.agreement(session.agreement),
            revision: session.agreement.revision.0,
            round: words.say(Key::RoundLine, &[("round", Arg::from(session.agreement.round.0))]),
            start_in_s: session.start_in.map(|left| left.as_secs()),
            count: (!seats.is_empty()).then(|| words.say(Key::BoardReadyOf, &count)),
            trouble: session.disk_trouble.then(|| words.say(Key::BoardDiskFull, &[])),
            sentence: match &start {
                Some(start) => format!("{headline}, {start}."),
                None => format!("{headline}."),
            },
            harps: seats.into_iter().map(|seat| BoardHarp::of(seat, words)).collect(),
            headline,
            start,
        }
    }
}

impl BoardHarp {
    /// One harp of the board, said in `words`.
    pub fn of(seat: &SeatImage<'_>, words: &Words) -> Self {
        let mut says = words.readiness(seat.harp, seat.readiness);
        if !seat.presence.counts() {
            // Nothing is called ready that may no longer be.
            says = words.say(Key::BoardLastReported, &[("says", Arg::from(says))]);
        }
        let presence_says = presence(seat, words);
        let told = match &presence_says {
            Some(presence) => format!("{says}, {presence}"),
            None => says.clone(),
        };
        let state = match (seat.presence.counts(), seat.is_ready()) {
            (false, _) => "unheard",
            (true, true) => "ready",
            (true, false) => "tuning",
        };
        let strings = || seat.harp.numbered().zip(seat.readiness.standings());
        Self {
            seat: seat.seat,
            name: seat.name.to_string(),
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
                    ("says", Arg::from(told)),
                ],
            ),
            strings_say: strings_say(seat, words),
            strings: strings()
                .map(|((_, string), standing)| {
                    StringState(string.open.harp_name(), standing.word(), standing.cents().map(tenths))
                })
                .collect(),
            says,
            presence_says,
        }
    }
}

/// When it starts, in words.
fn start(start_in: Option<Duration>, words: &Words) -> Option<String> {
    start_in.map(|left| {
        if left.is_zero() {
            words.say(Key::StartPassed, &[])
        } else {
            words.say(Key::StartIn, &[("time", Arg::from(words.time(left)))])
        }
    })
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

/// Tenths of a cent: finer cannot be seen.
pub(crate) fn tenths(cents: Cents) -> f64 {
    let tenths = (cents.0 * 10.0).round() / 10.0;
    // A string a hair flat is not at minus nothing.
    if tenths == 0.0 { 0.0 } else { tenths }
}
