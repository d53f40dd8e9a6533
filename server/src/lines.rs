//! The session as lines for a terminal: one that says it all, and one for each laptop.

use std::time::Duration;

use consort_pages::{age_says, remaining, room_says};
use consort_session::call::Called;
use consort_session::cheapest::Cost;
use consort_session::{Newcomer, StationView, View};
use consort_words::{Arg, Key, Words};

use crate::image;
use crate::status::presence;

/// The session in one line.
pub fn line(view: &View, words: &Words) -> String {
    let counted: Vec<&StationView> = view.stations.iter().filter(|station| !station.removed).collect();
    let ready = counted.iter().filter(|station| station.is_ready()).count();
    let silent = counted.iter().filter(|station| !station.presence.counts()).count();
    let left: usize = counted.iter().map(|station| station.readiness.left()).sum();
    let headline = if counted.is_empty() && !view.stations.is_empty() {
        words.say(Key::BoardNobodyNow, &[])
    } else {
        words.headline(ready, counted.len() - ready - silent, silent)
    };
    let mut parts = vec![words.agreement(&view.agreement), headline];
    if left > 0 {
        parts.push(words.say(Key::HarpLeft, &[("count", Arg::from(left))]));
    }
    match view.start_in {
        Some(Duration::ZERO) => parts.push(words.say(Key::StartPassed, &[])),
        Some(wait) => parts.push(words.say(Key::StartIn, &[("time", Arg::from(words.time(wait)))])),
        None => {}
    }
    if view.playing {
        parts.push(words.say(Key::BoardPlaying, &[]));
    }
    if view.disk_trouble {
        parts.push(words.say(Key::BoardDiskFull, &[]));
    }
    parts.join(" · ")
}

/// The session in one line, then one line for each harp, for each laptop that waits for the leader and for each that
/// looks at the board, with the tags that orders take.
pub fn lines(view: &View, words: &Words) -> Vec<String> {
    let mut lines = vec![line(view, words)];
    lines.extend(remaining(&image::of(view)).iter().map(|remains| remains.says(words)));
    lines.extend(view.called.as_ref().map(|called| side_by_side(called, words)));
    lines.extend(view.room.iter().map(|moved| room_says(moved, words)));
    let other = |cost: &Cost| cost.a4 != view.agreement.tuning.a4;
    let cheapest = view.cheapest().filter(other);
    lines.extend(cheapest.map(|cost| image::cheapest(&cost).says(words)));
    for station in &view.stations {
        lines.push(harp(station, words));
        lines.extend(station.wanted_by.iter().map(|who| wanted(station, who, words)));
    }
    lines.extend(view.knocking.iter().map(|who| {
        let args = [
            ("name", Arg::from(who.name.as_str())),
            ("tag", Arg::from(who.peer.tag())),
        ];
        words.say(Key::JoiningKnocking, &args)
    }));
    lines.extend(view.watching.iter().map(|(peer, deputy)| {
        let says = if *deputy { Key::WatchingMay } else { Key::WatchingSays };
        words.say(says, &[("tag", Arg::from(peer.tag()))])
    }));
    lines
}

/// One harp: who plays it, at which laptop, and how far it is.
fn harp(station: &StationView, words: &Words) -> String {
    let mut says = vec![presence(station, words)];
    if station.copied {
        says.push(words.say(Key::PresenceCopied, &[]));
    }
    if !station.removed {
        let mut readiness = words.readiness(&station.harp, &station.readiness);
        if let Some(age) = age_says(&image::age(station), words) {
            readiness = format!("{readiness}, {age}");
        }
        // What was heard last may not be so any more.
        says.push(if station.presence.counts() {
            readiness
        } else {
            words.say(Key::BoardLastReported, &[("says", Arg::from(readiness))])
        });
        if let Some(seat) = station.overhears {
            says.push(words.say(Key::BoardOverhears, &[("seat", Arg::from(seat))]));
        }
        if station.help {
            says.push(words.say(Key::BoardHelp, &[]));
        }
        if station.deputy {
            says.push(words.say(Key::HarpDeputy, &[]));
        }
    }
    let args = [
        ("seat", Arg::from(station.place.to_string())),
        ("name", Arg::from(station.name.as_str())),
        ("tag", Arg::from(station.peer.tag())),
        ("says", Arg::from(says.join(" · "))),
    ];
    words.say(Key::HarpLine, &args)
}

/// Another laptop that wants to take the seat of `station` over.
fn wanted(station: &StationView, who: &Newcomer, words: &Words) -> String {
    let args = [
        ("name", Arg::from(who.name.as_str())),
        ("tag", Arg::from(who.peer.tag())),
        ("seat", Arg::from(station.place.to_string())),
        ("holder", Arg::from(station.name.as_str())),
    ];
    words.say(Key::SeatWanted, &args)
}

/// The string that is called, side by side.
fn side_by_side(called: &Called, words: &Words) -> String {
    let harps = called.harps.iter().map(|beside| {
        let says = match beside.cents {
            Some(cents) => format!("{:+.1}", cents.0),
            None => words.say(Key::StandingNotHeard, &[]),
        };
        words.say(
            Key::CallHarp,
            &[("seat", Arg::from(beside.seat)), ("says", Arg::from(says))],
        )
    });
    let string = ("string", Arg::from(called.note.harp_name()));
    if called.harps.is_empty() {
        return words.say(Key::CalledSays, &[string]);
    }
    let harps = ("harps", Arg::from(harps.collect::<Vec<_>>().join(", ")));
    match called.apart {
        Some(apart) => words.say(
            Key::CallLine,
            &[string, harps, ("cents", Arg::from(format!("{:.1}", apart.0)))],
        ),
        None => words.say(Key::CallNobody, &[string, harps]),
    }
}
