//! What the room did to all strings of a material together.

use consort_proto::Cents;

use super::NAMED_FROM;
use crate::check;
use crate::chronicle::{Chronicle, RoomMove};
use crate::date::Moment;
use crate::entry::{Deed, Event};
use crate::finding::{About, Cause, Finding, Moved};
use crate::visit::Life;

/// The room is told when a material has moved by this much, cents, this many times its error, and nearly all strings of
/// it went along.
const ROOM_CENTS: f64 = 3.0;
const ROOM_SIGMAS: f64 = 4.0;
const ROOM_ALONG: f64 = 0.8;
/// What the room did before the newest tuning.
pub(super) fn rooms(chronicle: &Chronicle, life: &Life) -> Vec<Finding> {
    let newest = |room: &&RoomMove| Some(room.at) == chronicle.last;
    let told = |room: &&RoomMove| {
        room.cents.abs() > ROOM_CENTS.max(ROOM_SIGMAS * room.sigma)
            && room.along as f64 >= ROOM_ALONG * room.strings as f64
    };
    chronicle
        .rooms
        .iter()
        .filter(newest)
        .filter(told)
        .map(|room| Finding {
            about: About::Material(room.material),
            cause: Cause::Room {
                by: Cents(room.cents),
                along: room.along,
                strings: room.strings,
                humidity: between(life, room, |climate| climate.humidity_percent),
                temperature: between(life, room, |climate| climate.temperature_c),
                moved: moved(life, room),
            },
            since: room.at.date(),
            likely: NAMED_FROM,
        })
        .collect()
}

/// What says that the harp was moved between both tunings: somebody wrote it down, or they were in two places.
fn moved(life: &Life, room: &RoomMove) -> Option<Moved> {
    let days = room.from.date()..=room.at.date();
    let noted = |event: &Event| event.deed == Deed::Moved && days.contains(&event.on);
    if life.events.iter().any(noted) {
        return Some(Moved::Noted);
    }
    let place = |at: Moment| {
        let visit = life.visits.iter().rev().find(|visit| visit.at == at);
        visit
            .map(|visit| &visit.place)
            .filter(|place| !place.as_str().is_empty() && place.as_str() != check::PLACE)
    };
    let (before, now) = place(room.from).zip(place(room.at))?;
    // Nobody carries a harp from “home” to “Home”.
    (before.as_str().to_lowercase() != now.as_str().to_lowercase()).then(|| Moved::Elsewhere {
        before: before.clone(),
        now: now.clone(),
    })
}

/// A figure of the air nearest to both tunings, if it was noted within half a day of each.
fn between(life: &Life, room: &RoomMove, of: impl Fn(&crate::Climate) -> Option<f64>) -> Option<(f64, f64)> {
    let near = |at: Moment| {
        let from = life
            .climates
            .partition_point(|climate| climate.at.0 < at.0 - HALF_DAY_S);
        life.climates[from..]
            .iter()
            .take_while(|climate| climate.at.0 <= at.0 + HALF_DAY_S)
            .filter_map(|climate| Some(((climate.at.0 - at.0).abs(), of(climate)?)))
            .min_by_key(|(apart, _)| *apart)
            .map(|(_, figure)| figure)
    };
    Some((near(room.from)?, near(room.at)?))
}

/// Air of half a day before or after a tuning is the tuning's air.
const HALF_DAY_S: i64 = 43_200;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Heard, Place, Sheet, Visit, look, tell};
    use consort_proto::{Material, Reading, Tolerance, Tuning, harp_file};

    /// What is said of the room when gut strings are found six cents flat in the newest of five tunings, in `place`.
    fn said(place: &str, events: Vec<Event>) -> Vec<Finding> {
        let mut life = Life::new(Sheet::of(harp_file::preset("pedal-47").expect("a preset")));
        for day in 0..5 {
            let at = Moment(1_790_000_000 + day * 86_400);
            let stands = Place::new(if day == 4 { place } else { "home" }).expect("a place");
            let mut visit = Visit::new(at, stands, Tuning::default(), Tolerance::default());
            for (number, string) in life.sheet.harp.numbered() {
                let open = Tuning::default().open_target(string);
                let wanders = ((day * 7 + i64::from(number.get()) * 5) % 11) as f64 / 10.0 - 0.5;
                let moved = if day == 4 && string.material == Material::Gut {
                    -6.0
                } else {
                    0.0
                };
                for cents in [wanders + moved, 0.0] {
                    let reading = Reading::new(number, open.raised_by(Cents(cents)), Cents(0.2)).expect("a reading");
                    visit.hear(&Heard {
                        at,
                        position: 0,
                        reading,
                        timbre: None,
                    });
                }
            }
            life.visits.push(visit);
        }
        life.events = events;
        let today = life.visits[4].at.date();
        look(&Chronicle::of(&life), &life, today)
    }

    #[test]
    fn the_hall_is_not_home_and_a_harp_that_was_moved_is_said_to_have_been() {
        let moved_on = Event {
            on: Moment(1_790_000_000 + 4 * 86_400).date(),
            deed: Deed::Moved,
            note: String::new(),
        };
        let hall = "It was tuned at “home” before and at “The town hall” now.";
        for (place, events, expected) in [
            ("home", Vec::new(), ""),
            ("Home", Vec::new(), ""),
            (check::PLACE, Vec::new(), ""),
            ("The town hall", Vec::new(), hall),
            (
                "The town hall",
                vec![moved_on.clone()],
                "The harp was moved in between.",
            ),
            ("home", vec![moved_on], "The harp was moved in between."),
        ] {
            let findings = said(place, events);
            let [finding] = findings.as_slice() else {
                panic!("{findings:?}");
            };
            let Cause::Room { by, .. } = finding.cause else {
                panic!("{finding:?}");
            };
            assert!((by.0 + 6.0).abs() < 1.0, "{place}: {finding:?}");
            let sheet = Sheet::of(harp_file::preset("pedal-47").expect("a preset"));
            let told = tell(finding, &sheet, &consort_words::Words::english());
            let of_moving = told.evidence.split_once("together.").map(|(_, rest)| rest.trim());
            assert_eq!(of_moving, Some(expected), "{place}");
            assert_eq!(
                told.action.contains("When it is moved"),
                !expected.is_empty(),
                "{place}"
            );
        }
    }
}
