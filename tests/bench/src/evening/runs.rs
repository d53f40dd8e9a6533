//! Runs over the whole harp: every string once, up or down, none of them damped.

use consort_harp::chance::Chance;
use consort_harp::{Condition, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Cents, Harp, SampleRate, StringNumber, Tolerance, Tuning};

use super::memory::Memory;
use super::score::{Deed, play};
use crate::runs::{LEAD_S, LOUDNESS_SPREAD, MOVED_CENTS, Pace, Plucked, TAIL_S, Tally, UNEVEN, WRONG};

/// Who talks in the room is so much softer than the players, decibels.
const TALK_DB: f64 = 3.0;

/// Plays one run, `down` or up; one wrong note in two is a string that is hit twice, the other one that is skipped.
pub(super) fn run(harp: &Harp, pace: Pace, down: bool, seed: u64, tally: &mut Tally) -> Result<(), String> {
    let mut chance = Chance::new(seed ^ 0x0072_756e);
    let stage = Stage {
        rate: SampleRate::STUDIO,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room {
            warm_up_db: pace.others_db.map(|db| -db),
            talk_db: pace.others_db.map(|db| -db - TALK_DB),
            ..Room::default()
        },
    };
    let condition = Condition {
        drift_cents: 2.0,
        scatter_cents: 3.0,
        ..Condition::sound(seed)
    };
    let mut sounding = VirtualHarp::new(harp, &condition, stage);
    let standing = sounding.standing(&Tuning::default(), &Tolerance::default());
    let left: Vec<Cents> = standing
        .iter()
        .map(|string| Cents(string.cents + MOVED_CENTS * chance.spread()))
        .collect();
    let mut memory = Memory::new(harp, stage.rate, |number| left.get(number.index()).copied())?;
    memory.runs();
    let mut order: Vec<StringNumber> = harp.numbered().map(|(number, _)| number).collect();
    if !down {
        order.reverse();
    }
    let mut at_s = LEAD_S;
    let mut score = Vec::new();
    let mut place = 0;
    while place < order.len() {
        let pluck = Pluck {
            loudness: (LOUDNESS_SPREAD * chance.spread()).exp(),
            place: chance.between(0.36, 0.46),
            ..Pluck::ORDINARY
        };
        score.push((at_s, Deed::Pluck(order[place], pluck)));
        at_s += (1.0 + UNEVEN * chance.spread()).max(0.5) / pace.rate_hz;
        place += if chance.is(WRONG) { 2 * chance.below(2) } else { 1 };
    }
    let played = play(&mut sounding, &score, at_s + TAIL_S, |sound| memory.push(sound));
    memory.finish();
    let truth: Vec<Plucked> = played
        .iter()
        .filter_map(|pluck| {
            Some(Plucked {
                at_s: pluck.at_s,
                string: pluck.string,
                hz: pluck.hz?,
            })
        })
        .collect();
    tally.judge(&memory, &truth, stage.rate, &pace.name());
    Ok(())
}
