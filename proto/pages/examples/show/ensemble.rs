//! An invented ensemble: who plays which harp, how far each is, and what is foretold of it.

use std::time::Duration;

use consort_outlook::{Forecast, Outlook, Remains, SOON};
use consort_pages::Presence;
use consort_proto::harp_file::preset;
use consort_proto::{Cents, Harp, Mark, Name, Readiness, Reading, Standing, StringStory, Tuning, order};

const NAMES: [&str; 12] = [
    "Tamsin", "Ruben", "Ottilie", "Jonne", "Maris", "Calla", "Edwin", "Noemi", "Pascal", "Wren", "Ilka", "Anselm",
];
const HARPS: [&str; 4] = ["pedal-47", "pedal-47", "lever-34", "pedal-46"];

/// One invented harpist with her harp and what was heard of it.
pub(crate) struct Player {
    pub(crate) name: Name,
    pub(crate) harp: Harp,
    pub(crate) stories: Vec<StringStory>,
    pub(crate) presence: Presence,
}

/// A number from 0 to 1 that looks like chance and is always the same.
fn chance(seed: usize) -> f64 {
    let mixed = (seed as u64).wrapping_add(1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    ((mixed ^ mixed >> 29).wrapping_mul(0xbf58_476d_1ce4_e5b9) >> 40) as f64 / (1_u64 << 24) as f64
}

/// The player on seat `place` + 1; with `all_ready` everyone is done.
pub(crate) fn player(place: usize, all_ready: bool, alike: bool) -> Player {
    let harp = preset(HARPS[place % HARPS.len()]).expect("a preset");
    let name = NAMES[place % NAMES.len()];
    let name = if alike {
        "Anna <b>of</b> Wend".to_owned()
    } else if place < NAMES.len() {
        name.to_owned()
    } else {
        format!("{name} {}", place / NAMES.len() + 1)
    };
    let done = if all_ready {
        1.0
    } else {
        [1.0, 0.62, 1.0, 0.34, 0.0, 0.85, 0.71, 1.0][place % 8]
    };
    let presence = match if all_ready { 0 } else { place % 13 } {
        5 => Presence::Silent(Duration::from_secs(185)),
        6 => Presence::Away,
        _ => Presence::Here,
    };
    let stories = stories(&harp, done, place);
    Player {
        name: name.parse().expect("a name"),
        harp,
        stories,
        presence,
    }
}

/// What was heard of a harp of which the share `done` is tuned.
pub(crate) fn stories(harp: &Harp, done: f64, seed: usize) -> Vec<StringStory> {
    let tuning = Tuning::default();
    let mut stories = vec![StringStory::default(); harp.len()];
    let count = harp.len() as f64;
    for (place, number) in order::usual_order(harp).into_iter().enumerate() {
        let luck = chance(seed * 101 + place);
        let cents: &[f64] = match place as f64 / count {
            share if share < done && (seed + place) % 71 == 9 => &[0.5, 0.4, -9.0, 1.0, 0.8, -8.0, 0.0, 0.2, -9.0],
            share if share < done - 0.04 || done == 1.0 => &[0.6, (seed % 7) as f64 * 0.5 - 1.5],
            share if share < done => &[1.2],
            share if share < done + 0.3 && done > 0.0 => &[-24.0 + 30.0 * luck],
            _ => &[],
        };
        let Some(string) = harp.string(number) else { continue };
        for cents in cents {
            let hz = tuning.open_target(string).raised_by(Cents(*cents));
            stories[number.index()].hear(Reading::new(number, hz, Cents(0.2)).expect("a reading"));
        }
        if done == 1.0 && seed % 8 == 7 && place == 3 {
            stories[number.index()].set_mark(Some(Mark::New));
        }
        if done == 1.0 && seed % 8 == 7 && place == 30 {
            stories[number.index()].set_mark(Some(Mark::Missing));
        }
    }
    stories
}

/// What is foretold of a harp on seat `place` + 1: so many seconds for each string that is left.
pub(crate) fn outlook(place: usize, harp: &Harp, readiness: &Readiness) -> Outlook {
    let left = readiness.left() as u64;
    let pace_s = 9.0 + 14.0 * chance(place * 7);
    let s = |share: f64| Duration::from_secs_f64(left as f64 * pace_s * share);
    let mut standings = readiness.standings().to_vec();
    let open = standings
        .iter_mut()
        .filter(|standing| !standing.lets_the_harp_be_ready());
    open.take((SOON.as_secs_f64() / pace_s) as usize)
        .for_each(|standing| *standing = Standing::Holds(Cents(0.0)));
    let ahead = Readiness::judged(standings);
    let forecast = Forecast {
        soonest: s(0.8),
        likely: s(1.0),
        latest: s(1.3),
    };
    Outlook {
        forecast: (readiness.holding() >= 5).then_some(forecast),
        quiet: (readiness.holding() > 0).then_some(Duration::from_secs(if place % 13 == 3 { 240 } else { 3 })),
        soon: (readiness.holding() >= 5).then(|| Remains::of(harp, &ahead)),
        ready_for: (left == 0).then_some(Duration::from_secs(60 * (place as u64 % 9))),
    }
}
