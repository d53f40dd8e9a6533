//! Strings whose pins turn while they sound: how far the live track is behind, and whether a new string is followed.

use consort_harp::{Condition, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Cents, Harp, SampleRate, StringNumber, Tolerance, Tuning};

use super::memory::Memory;

/// The key turns so fast, cents in a second.
const TURNS_PER_S: f64 = 40.0;
/// It begins this long after the pluck, turns for so long, and the string is then left alone for as long again, seconds.
const TURNS_FROM_S: f64 = 0.4;
const TURNS_FOR_S: f64 = 1.0;
const RESTS_S: f64 = 0.6;
/// A track less certain than this, cents, is not shown.
const VAGUE_CENTS: f64 = 4.0;
/// While the turn begins and ends, no lag can be told, seconds.
const EDGE_S: f64 = 0.15;
/// Sound is made in pieces of this length, seconds.
const STEP_S: f64 = 0.01;
/// A new string begins so far below its target and rises by so much with each pluck, cents; so fast, in a second.
const NEW_FROM: f64 = -1200.0;
const NEW_STEP: f64 = 100.0;
const NEW_PER_S: f64 = 100.0;
const NEW_EVERY_S: f64 = 1.6;
/// A pluck of it is lost when nothing heard of it in its last part, seconds, lies this near its truth, cents.
const NEW_LAST_S: f64 = 0.5;
const NEW_NEAR: f64 = 30.0;

/// Where tracks were against the truth.
#[derive(Default)]
pub(super) struct Tracks {
    /// How far behind a turning string, seconds.
    pub(super) lags_s: Vec<f64>,
    /// Distance from the truth of a string at rest again, cents.
    pub(super) errors: Vec<f64>,
    /// From one track to the next while the key turns, seconds.
    pub(super) gaps_s: Vec<f64>,
    /// Strings of which nothing was shown while they turned.
    pub(super) unseen: usize,
}

fn stage() -> Stage<'static> {
    Stage {
        rate: SampleRate::STUDIO,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room::default(),
    }
}

/// How far `string` truly stands from its target.
fn stands(harp: &VirtualHarp, string: StringNumber) -> f64 {
    harp.standing(&Tuning::default(), &Tolerance::default())[string.index()].cents
}

/// Turns `string` while it sounds.
pub(super) fn turn(harp: &Harp, string: StringNumber, seed: u64, up: bool, tracks: &mut Tracks) -> Result<(), String> {
    let stage = stage();
    let way = if up { 1.0 } else { -1.0 };
    let condition = Condition {
        far_off: vec![(string, -30.0 * way)],
        ..Condition::sound(seed)
    };
    let mut sounding = VirtualHarp::new(harp, &condition, stage);
    let mut memory = Memory::new(harp, stage.rate, |number| {
        Some(Cents(if number == string { -30.0 * way } else { 0.0 }))
    })?;
    let target = Tuning::default().open_target(harp.string(string).ok_or("no such string")?);
    let degrees = way * TURNS_PER_S * STEP_S / sounding.cents_per_degree(string);
    let mut piece = vec![0.0; (STEP_S * sounding.rate()) as usize];
    let lead = (0.5 / STEP_S) as usize;
    let (from, to) = (TURNS_FROM_S, TURNS_FROM_S + TURNS_FOR_S);
    let (mut last_s, mut seen) = (None, 0);
    for step in 0..lead + ((to + RESTS_S) / STEP_S) as usize {
        let since_s = (step as f64 - lead as f64) * STEP_S;
        if step == lead {
            sounding.pluck(string, Pluck::ORDINARY);
        }
        if since_s >= from - 1e-9 && since_s < to - 1e-9 {
            sounding.turn(string, degrees);
        }
        sounding.render(&mut piece);
        memory.push(&piece);
        let now_s = since_s + STEP_S;
        for track in memory.tracks.drain(..) {
            if track.string != string.get() || track.sigma.0 > VAGUE_CENTS {
                continue;
            }
            let behind = way * (stands(&sounding, string) - track.hz.cents_above(target).0);
            if now_s > from + EDGE_S && now_s < to {
                tracks.lags_s.push(behind / TURNS_PER_S);
                tracks.gaps_s.extend(last_s.map(|last_s| now_s - last_s));
                last_s = Some(now_s);
                seen += 1;
            } else if now_s > to + EDGE_S {
                tracks.errors.push(behind.abs());
            }
        }
    }
    tracks.unseen += usize::from(seen == 0);
    Ok(())
}

/// Brings up a new string that was chosen by hand; how many plucks there were, and of how many nothing right was heard.
pub(super) fn bring_up(harp: &Harp, string: StringNumber, seed: u64) -> Result<(usize, usize), String> {
    let stage = stage();
    let condition = Condition {
        far_off: vec![(string, NEW_FROM)],
        ..Condition::sound(seed)
    };
    let mut sounding = VirtualHarp::new(harp, &condition, stage);
    let mut memory = Memory::new(harp, stage.rate, |number| (number != string).then_some(Cents(0.0)))?;
    memory.choose(string);
    let target = Tuning::default().open_target(harp.string(string).ok_or("no such string")?);
    let mut piece = vec![0.0; (STEP_S * sounding.rate()) as usize];
    let (mut plucks, mut lost) = (0, 0);
    let mut turned = 0.0;
    memory.push(&vec![0.0; sounding.rate() as usize]);
    while NEW_FROM + turned < -NEW_STEP {
        sounding.pluck(string, Pluck::ORDINARY);
        plucks += 1;
        let (mut near, mut by) = (false, 0.0);
        for step in 0..(NEW_EVERY_S / STEP_S) as usize {
            let since_s = step as f64 * STEP_S;
            if since_s >= 0.25 && by < NEW_STEP {
                let cents = NEW_PER_S * STEP_S;
                sounding.turn(string, cents / sounding.cents_per_degree(string));
                by += cents;
            }
            sounding.render(&mut piece);
            memory.push(&piece);
            let truth = stands(&sounding, string);
            let is_near = |number: u8, hz: consort_proto::Hz| {
                number == string.get() && (hz.cents_above(target).0 - truth).abs() < NEW_NEAR
            };
            let live = memory.tracks.drain(..).any(|track| is_near(track.string, track.hz));
            let told = memory
                .provisional
                .drain(..)
                .any(|reading| is_near(reading.string, reading.hz));
            near |= (live || told) && since_s > NEW_EVERY_S - NEW_LAST_S;
        }
        turned += by;
        lost += usize::from(!near);
    }
    Ok((plucks, lost))
}

/// How loud others warm up and talk beside a pluck, decibels.
const FADES_AMONG: Room = Room {
    warm_up_db: Some(-30.0),
    talk_db: Some(-35.0),
    harp_db: None,
};
/// When a string in tune is plucked, plucked again while it rings, and damped if it is; until when it is heard, seconds.
const FADES_FROM_S: [f64; 2] = [0.5, 2.5];
const DAMPED_S: f64 = 5.0;
const FADES_UNTIL_S: f64 = 14.0;
/// A track further than this, cents, from a string that nobody turned is untrue.
pub(super) const UNTRUE_CENTS: f64 = 5.0;

/// Lets `string`, in tune, fade while others warm up and talk; how many tracks there were, and how many were untrue.
pub(super) fn fade(harp: &Harp, string: StringNumber, seed: u64, damped: bool) -> Result<(usize, usize), String> {
    let stage = Stage {
        room: FADES_AMONG,
        ..stage()
    };
    let mut sounding = VirtualHarp::new(harp, &Condition::sound(seed), stage);
    let mut memory = Memory::new(harp, stage.rate, |_| Some(Cents(0.0)))?;
    let target = Tuning::default().open_target(harp.string(string).ok_or("no such string")?);
    let mut piece = vec![0.0; (STEP_S * sounding.rate()) as usize];
    let at = |time_s: f64| (time_s / STEP_S).round() as usize;
    let (mut heard, mut untrue) = (0, 0);
    for step in 0..at(FADES_UNTIL_S) {
        if FADES_FROM_S.map(at).contains(&step) {
            sounding.pluck(string, Pluck::ORDINARY);
        }
        if damped && step == at(DAMPED_S) {
            sounding.damp(string);
        }
        sounding.render(&mut piece);
        memory.push(&piece);
        let truth = stands(&sounding, string);
        for track in memory.tracks.drain(..) {
            if track.string == string.get() && track.sigma.0 <= VAGUE_CENTS {
                heard += 1;
                untrue += usize::from((track.hz.cents_above(target).0 - truth).abs() > UNTRUE_CENTS);
            }
        }
    }
    Ok((heard, untrue))
}
