//! What the room did to all strings of a material together.

use consort_proto::Cents;

use super::NAMED_FROM;
use crate::chronicle::{Chronicle, RoomMove};
use crate::date::Moment;
use crate::finding::{About, Cause, Finding};
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
            },
            since: room.at.date(),
            likely: NAMED_FROM,
        })
        .collect()
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
