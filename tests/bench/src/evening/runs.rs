//! Runs over the whole harp: every string once, up or down, none of them damped.

use consort_harp::chance::Chance;
use consort_harp::{Condition, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Cents, Harp, SampleRate, StringNumber, Tolerance, Tuning};

use super::memory::Memory;
use super::score::{Deed, play};
use crate::report;

/// Her fingers are this uneven, as a share of the time from one pluck to the next and in loudness, one standard deviation.
const UNEVEN: f64 = 0.06;
const LOUDNESS_SPREAD: f64 = 0.15;
/// So often she hits a string twice, skips one, or takes the one beside it.
const WRONG: f64 = 0.03;
/// How far strings have moved since they were last heard, cents, one standard deviation.
const MOVED_CENTS: f64 = 2.0;
/// A reading belongs to the pluck whose moment lies this near, seconds.
const NEAR_S: f64 = 0.06;
/// The run begins this long after the sound, and is listened to so long after its last pluck, seconds.
const LEAD_S: f64 = 1.0;
const TAIL_S: f64 = 3.0;

/// What became of the plucks of runs.
#[derive(Default)]
pub(super) struct Tally {
    pub(super) plucks: usize,
    /// Settled as the string that they were.
    pub(super) identified: usize,
    /// Named rightly, with or without a doubt.
    pub(super) named: usize,
    /// Settled as another string.
    pub(super) wrong: usize,
    /// Settled where nothing was plucked.
    pub(super) strangers: usize,
    /// Distance from the truth of those that were identified, cents.
    pub(super) errors: Vec<f64>,
    /// Whether each pluck that was not identified is told.
    pub(super) each: bool,
}

/// Plays one run in a `room`, at `rate_hz` plucks a second, down or up.
pub(super) fn run(
    harp: &Harp,
    room: Room,
    (rate_hz, down): (f64, bool),
    seed: u64,
    tally: &mut Tally,
) -> Result<(), String> {
    let mut chance = Chance::new(seed ^ 0x0072_756e);
    let stage = Stage {
        rate: SampleRate::STUDIO,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room,
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
        at_s += (1.0 + UNEVEN * chance.spread()).max(0.5) / rate_hz;
        place += if chance.is(WRONG) { 2 * chance.below(2) } else { 1 };
    }
    let truth = play(&mut sounding, &score, at_s + TAIL_S, |sound| memory.push(sound));
    memory.finish();
    tally.plucks += truth.len();
    let nearest = |onset_s: f64| {
        let near = truth
            .iter()
            .enumerate()
            .map(|(at, pluck)| (at, (pluck.at_s - onset_s).abs()));
        near.min_by(|a, b| a.1.total_cmp(&b.1))
            .filter(|(_, apart_s)| *apart_s < NEAR_S)
    };
    let mut answered = vec![false; truth.len()];
    let (mut named, mut identified) = (answered.clone(), answered.clone());
    for (reading, doubt) in &memory.answers {
        let Some((at, _)) = nearest(reading.onset.seconds(stage.rate)) else {
            if doubt.is_none() {
                tally.strangers += 1;
                if tally.each {
                    let onset_s = reading.onset.seconds(stage.rate);
                    let own = truth.iter().filter(|pluck| pluck.string.get() == reading.string);
                    let apart = own.map(|pluck| onset_s - pluck.at_s);
                    let apart_s = apart.min_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(f64::NAN);
                    report(&format!(
                        "    {rate_hz} a second, nothing plucked at {onset_s:.2} s: {} settled, {apart_s:+.3} s from its own",
                        reading.string,
                    ));
                }
            }
            continue;
        };
        let pluck = truth[at];
        let right = pluck.string.get() == reading.string;
        named[at] |= right;
        if doubt.is_none() && right {
            identified[at] = true;
            tally
                .errors
                .extend(pluck.hz.map(|hz| reading.hz.cents_above(hz).0.abs()));
        }
        tally.wrong += usize::from(doubt.is_none() && !right);
        if tally.each && !(doubt.is_none() && right) {
            let as_what = doubt.map_or("settled".to_owned(), |doubt| format!("{doubt:?}"));
            let cents = pluck.hz.map_or(f64::NAN, |hz| reading.hz.cents_above(hz).0);
            report(&format!(
                "    {rate_hz} a second, string {}: {} {as_what}, {cents:+.1} cents, sigma {:.2}",
                pluck.string.get(),
                reading.string,
                reading.sigma.0,
            ));
        }
        answered[at] = true;
    }
    if tally.each {
        for (pluck, _) in truth.iter().zip(&answered).filter(|(_, answered)| !**answered) {
            let why = memory
                .refused
                .iter()
                .find(|(onset_s, _)| (onset_s - pluck.at_s).abs() < NEAR_S);
            report(&format!(
                "    {rate_hz} a second, string {}: {}",
                pluck.string.get(),
                why.map_or("no onset".to_owned(), |(_, why)| format!("refused, {why:?}")),
            ));
        }
    }
    tally.named += named.iter().filter(|named| **named).count();
    tally.identified += identified.iter().filter(|identified| **identified).count();
    Ok(())
}
