//! The board as data.

use std::time::Duration;

use consort_proto::Cents;
use consort_words::{Arg, Key, Words};
use serde::Serialize;

use crate::hand::{Hand, hands};
use crate::headline::Headline;
use crate::image::{SeatImage, SessionImage};
use crate::remaining::RemainsTable;
use crate::seat::BoardHarp;
use crate::together::{Called, Together};
use crate::watch::room_says;

/// Everything that the board shows; harps that were turned away are not on it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BoardPage {
    /// What there is to decide, in one large line.
    pub headline: String,
    /// The same with names, for those who may see people.
    pub headline_names: String,
    /// Seconds from now to the time of day that belongs where the headline says `{time}`; null where it says none.
    pub headline_in_s: Option<u64>,
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
    /// Who cannot be heard, in words, where the headline speaks of the others only.
    pub unheard: Option<String>,
    /// Time between the last forecast and the start where everyone will be ready before it, in words; null otherwise.
    pub spare: Option<String>,
    /// Whether there are so many harps that no single strings are told: then the board draws the whole only.
    pub crowd: bool,
    /// The harps in the order of their seats.
    pub harps: Vec<BoardHarp>,
    /// Who needs a hand, the most pressing first.
    pub hands: Vec<Hand>,
    /// How far the harps stand apart; null with fewer than two harps.
    pub together: Option<Together>,
    /// A string that everyone is asked for, side by side; null while none is called.
    pub called: Option<Called>,
    /// What the room did to the strings of most harps, a sentence each.
    pub room: Vec<String>,
    /// What would remain out of tune if it began now, and in three minutes; null when nobody is left to tune.
    pub remains: Option<RemainsTable>,
}

impl BoardPage {
    /// The board of `session`, said in `words`.
    pub fn of(session: &SessionImage<'_>, words: &Words) -> Self {
        let seats: Vec<&SeatImage<'_>> = session.seats.iter().filter(|seat| !seat.removed).collect();
        let ready = seats.iter().filter(|seat| seat.is_ready()).count();
        let headline = Headline::of(session, &seats, words);
        let crowd = seats.len() > CROWD;
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
                Some(start) => format!("{}, {start}.", headline.spoken(words)),
                None => format!("{}.", headline.spoken(words)),
            },
            unheard: headline.besides.clone(),
            spare: spare(session.start_in, &seats, words),
            crowd,
            hands: hands(&seats, words),
            together: (seats.len() > 1).then(|| Together::of(&seats, session.agreement, words)),
            called: session.agreement.called.map(|note| Called::of(note, &seats, words)),
            room: session.room.iter().map(|moved| room_says(moved, words)).collect(),
            remains: RemainsTable::of(&seats, words),
            harps: seats
                .iter()
                .map(|seat| BoardHarp::of(seat, session.start_in, crowd, words))
                .collect(),
            headline: headline.says,
            headline_names: headline.names,
            headline_in_s: headline.clock_in_s,
            start,
        }
    }
}

/// More harps than this are told without their strings: a picture of a thousand harps would be a megabyte.
pub(crate) const CROWD: usize = 64;

/// The time that is left between the last harp and the start, if everyone is ready or likely will be.
fn spare(start_in: Option<Duration>, seats: &[&SeatImage<'_>], words: &Words) -> Option<String> {
    let start = start_in.filter(|left| !left.is_zero())?;
    let ends = |seat: &&SeatImage<'_>| match seat.is_ready() {
        true => Some(Duration::ZERO),
        false => seat
            .outlook
            .forecast
            .filter(|_| seat.presence.counts())
            .map(|forecast| forecast.latest),
    };
    let last = seats.iter().map(ends).collect::<Option<Vec<_>>>()?.into_iter().max()?;
    let spare = start.checked_sub(last).filter(|spare| spare.as_secs() >= 60)?;
    Some(words.say(Key::BoardSpare, &[("time", Arg::from(words.time(spare)))]))
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

/// Tenths of a cent: finer cannot be seen.
pub(crate) fn tenths(cents: Cents) -> f64 {
    let tenths = (cents.0 * 10.0).round() / 10.0;
    // A string a hair flat is not at minus nothing.
    if tenths == 0.0 { 0.0 } else { tenths }
}
