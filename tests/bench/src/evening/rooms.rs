//! Rooms in which her own harp is silent, after she has plucked a few strings.

use consort_harp::chance::Chance;
use consort_harp::{Condition, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Cents, Harp, SampleRate, order};

use super::memory::Memory;
use super::score::{Deed, Untrue, play};

/// What sounds.
#[derive(Clone, Copy, Debug)]
pub(super) enum Sounds {
    Room(Room),
    /// Knocks on the wood and the noises of keys and feet.
    Knocks,
}

/// Of this room every piece lasts so long, seconds, and begins with so many plucks of her own.
pub(super) const PIECE_S: f64 = 90.0;
const OWN_PLUCKS: usize = 6;
const OWN_S: f64 = 12.0;

/// Listens to one piece of a room.
pub(super) fn listen(harp: &Harp, sounds: Sounds, seed: u64, heard: &mut Untrue) -> Result<(), String> {
    let mut chance = Chance::new(seed ^ 0x726f_6f6d);
    let room = match sounds {
        Sounds::Room(room) => room,
        Sounds::Knocks => Room::default(),
    };
    let stage = Stage {
        rate: SampleRate::STUDIO,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room,
    };
    let mut silent = VirtualHarp::new(harp, &Condition::sound(seed), stage);
    let mut memory = Memory::new(harp, stage.rate, |_| Some(Cents(4.0 * chance.spread())))?;
    let order = order::usual_order(harp);
    let first = chance.below(order.len() - OWN_PLUCKS);
    let mut score: Vec<(f64, Deed)> = (0..OWN_PLUCKS)
        .map(|at| (1.0 + 1.6 * at as f64, Deed::Pluck(order[first + at], Pluck::ORDINARY)))
        .collect();
    score.push((OWN_S - 0.5, Deed::DampAll));
    memory.ask_in_turn(&order[first..=first + OWN_PLUCKS]);
    if matches!(sounds, Sounds::Knocks) {
        let mut at_s = OWN_S;
        while at_s < PIECE_S {
            at_s += chance.between(0.1, 2.0);
            score.push((at_s, Deed::Knock(chance.between(0.5, 8.0))));
        }
    }
    let truth = play(&mut silent, &score, PIECE_S, |sound| memory.push(sound));
    memory.finish();
    heard.judge(&memory, &truth, stage.rate, (OWN_S, PIECE_S));
    Ok(())
}
