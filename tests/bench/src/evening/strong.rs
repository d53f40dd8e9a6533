//! She plucks much more strongly now and then: such a string stands elsewhere until it calms down, and must not be tuned by that.

use consort_analysis::Reading;
use consort_harp::chance::Chance;
use consort_harp::{Condition, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Cents, Harp, SampleRate, Tolerance, order};

use super::memory::Memory;
use super::score::{Deed, play};

/// From one pluck to the next, seconds.
const PAUSE_S: f64 = 2.2;
/// Ordinary plucks of a string before the strong ones.
const ORDINARY: usize = 2;

/// What became of strong plucks.
#[derive(Clone, Debug, Default)]
pub(super) struct Strong {
    /// How far they read from the ordinary plucks of their strings, cents.
    pub(super) apart: Vec<f64>,
    /// How many of them were measured, how many counted at once, and of these the ones that read further off than a string of
    /// theirs may be, which would be tuned wrongly.
    pub(super) plucked: usize,
    pub(super) counted: usize,
    pub(super) untrue: usize,
    /// How many of the others counted when they were plucked again as strongly.
    pub(super) again: usize,
    /// Ordinary plucks, and those that were held for strong.
    pub(super) ordinary: usize,
    pub(super) mistaken: usize,
}

/// She tunes one harp, and plucks every string `factor` times as strongly as usual in the end, twice.
pub(super) fn tune(harp: &Harp, factor: f64, seed: u64, found: &mut Strong) -> Result<(), String> {
    let mut chance = Chance::new(seed ^ 0x7374_726f);
    let stage = Stage {
        rate: SampleRate::STUDIO,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room::default(),
    };
    let condition = Condition {
        scatter_cents: 4.0,
        ..Condition::sound(seed)
    };
    let mut memory = Memory::new(harp, stage.rate, |_| Some(Cents(4.0 * chance.spread())))?;
    let mut plays = VirtualHarp::new(harp, &condition, stage);
    let _ = play(&mut plays, &[], PAUSE_S, |sound| memory.push(sound));
    for string in order::usual_order(harp) {
        memory.ask(string);
        let mut pluck = |strength: Option<f64>| {
            let (about, varies) = strength.map_or((1.0, 0.25), |factor| (factor, 0.1));
            let pluck = Pluck {
                loudness: about * chance.between(1.0 - varies, 1.0 + varies),
                place: chance.between(0.36, 0.47),
                plane: chance.between(0.3, 0.7),
            };
            let before = memory.counted.len();
            let told = memory.answers.len();
            let score = [(0.0, Deed::Damp(string)), (0.1, Deed::Pluck(string, pluck))];
            let _ = play(&mut plays, &score, PAUSE_S, |sound| memory.push(sound));
            let own = |reading: &Reading| reading.string == string.get();
            let answer = memory.answers.iter().skip(told);
            let answer = answer
                .filter(|(reading, doubt)| own(reading) && doubt.is_none())
                .map(|(reading, _)| *reading)
                .next_back();
            (answer, memory.counted.iter().skip(before).any(own), memory.strong)
        };
        let mut usual = Vec::new();
        for _ in 0..ORDINARY {
            let (answer, _, strong) = pluck(None);
            found.ordinary += 1;
            found.mistaken += usize::from(strong);
            usual.extend(answer);
        }
        let usual = usual.iter().map(|reading| reading.hz.get()).sum::<f64>() / usual.len() as f64;
        let (Some(answer), counts, _) = pluck(Some(factor)) else {
            continue;
        };
        let apart = 1200.0 * (answer.hz.get() / usual).log2();
        if apart.is_nan() {
            // None of its ordinary plucks was measured.
            continue;
        }
        found.plucked += 1;
        found.apart.push(apart);
        found.counted += usize::from(counts);
        let within = harp.string(string).map(|own| Tolerance::default().of(own));
        let untrue = counts && within.is_some_and(|within| !Cents(apart).is_within(within));
        found.untrue += usize::from(untrue);
        if !counts {
            let (_, counts, _) = pluck(Some(factor));
            found.again += usize::from(counts);
        }
    }
    Ok(())
}
