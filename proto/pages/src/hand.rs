//! Who needs a hand, and why: only what a person can do something about.

use std::time::Duration;

use consort_proto::{Cents, Letter, Mechanism, Standing};
use consort_words::{Arg, Key, Words};
use serde::Serialize;

use crate::image::{Presence, SeatImage};

/// Somebody who needs a hand.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hand {
    /// The seat.
    pub seat: u32,
    /// The harpist.
    pub name: String,
    /// What is drawn beside it: `help`, `will-not-hold`, `pedal`, `silent`, `away`, `quiet`, `overhears` or `copied`.
    pub kind: &'static str,
    /// What it is, after the name.
    pub what: String,
    /// How that is known, or what to look at.
    pub why: String,
    /// Whether it is of her strings or her hands: a wall that everybody sees does not show it.
    pub personal: bool,
}

/// A linked harp of which nothing is heard for so long, though strings are left, may have its pickup off.
const QUIET_FROM: Duration = Duration::from_secs(180);
/// A pedal or a lever moves strings by about a semitone: so far from it either way, cents, and so many of a letter.
const SEMITONE: std::ops::Range<f64> = 65.0..135.0;
const PEDAL_STRINGS: usize = 3;

/// Who of `seats` needs a hand: first who asked for one, then what
/// stops a tuning, then who is not heard, and last the strings that were set aside.
pub(crate) fn hands(seats: &[&SeatImage<'_>], words: &Words) -> Vec<Hand> {
    let mut hands: Vec<(u8, Hand)> = seats.iter().flat_map(|seat| of_seat(seat, words)).collect();
    hands.sort_by_key(|(rank, hand)| (*rank, hand.seat));
    hands.into_iter().map(|(_, hand)| hand).collect()
}

fn of_seat(seat: &SeatImage<'_>, words: &Words) -> Vec<(u8, Hand)> {
    let hand = |kind, what, why: Key, args: &[(&str, Arg)]| Hand {
        seat: seat.seat,
        name: seat.name.to_string(),
        kind,
        what: words.say(what, args),
        why: words.say(why, args),
        personal: matches!(kind, "will-not-hold" | "pedal"),
    };
    let time = |time| [("time", Arg::from(words.time(time)))];
    let mut hands = Vec::new();
    if seat.copied {
        hands.push((2, hand("copied", Key::HandCopied, Key::HandCopiedWhy, &[])));
    }
    match seat.presence {
        Presence::Silent(silent) => {
            hands.push((3, hand("silent", Key::HandSilent, Key::HandSilentWhy, &time(silent))));
            return hands;
        }
        Presence::Away => {
            hands.push((4, hand("away", Key::HandAway, Key::HandAwayWhy, &[])));
            return hands;
        }
        Presence::Here | Presence::Unsure => {}
    }
    if seat.help {
        hands.push((0, hand("help", Key::HandHelp, Key::HandHelpWhy, &[])));
    }
    if let Some(other) = seat.overhears {
        let args = [("seat", Arg::from(other.to_string()))];
        hands.push((2, hand("overhears", Key::HandOverhears, Key::HandOverhearsWhy, &args)));
    }
    if let Some(letter) = pedal(seat) {
        let args = [("letter", Arg::from(letter.to_string()))];
        hands.push((1, hand("pedal", Key::HandPedal, Key::HandPedalWhy, &args)));
    }
    let stubborn: Vec<(String, Cents)> = seat
        .harp
        .strings()
        .iter()
        .zip(seat.readiness.standings())
        .filter_map(|(string, standing)| match standing {
            Standing::WillNotHold(cents) => Some((string.open.harp_name(), *cents)),
            _ => None,
        })
        .collect();
    if let Some((_, cents)) = stubborn.first() {
        let names: Vec<&str> = stubborn.iter().map(|(name, _)| name.as_str()).collect();
        let args = [
            ("strings", Arg::from(names.join(", "))),
            ("cents", Arg::from(words.signed(*cents))),
        ];
        hands.push((
            6,
            hand("will-not-hold", Key::HandWillNotHold, Key::HandWillNotHoldWhy, &args),
        ));
    }
    if let Some(quiet) = seat.outlook.quiet
        && quiet >= QUIET_FROM
        && !seat.is_ready()
    {
        hands.push((5, hand("quiet", Key::HandQuiet, Key::HandQuietWhy, &time(quiet))));
    }
    hands
}

/// The letter whose pedal is not in flat, as far as its strings tell: all of them that are out of tune, three at least,
/// stand about a semitone too high.
fn pedal(seat: &SeatImage<'_>) -> Option<Letter> {
    let off = |letter: Letter| {
        let strings = seat.harp.strings().iter().zip(seat.readiness.standings());
        strings.filter_map(move |(string, standing)| match standing {
            Standing::Off(cents) if string.open.letter == letter && string.mechanism == Mechanism::Discs => {
                Some(cents.0)
            }
            _ => None,
        })
    };
    Letter::ALL.into_iter().find(|letter| {
        let count = off(*letter).count();
        count >= PEDAL_STRINGS && off(*letter).all(|cents| SEMITONE.contains(&cents))
    })
}
