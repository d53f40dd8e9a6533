//! Runs over whole harps built from the recordings: every string once, down or up, none of them damped.

use consort_harp::chance::Chance;
use consort_proto::{Cents, Harp, Hz, SampleRate, StringNumber, Tuning, harp_file};

use super::bed::{Dice, RATE};
use super::harp::{Pluck, RecordedHarp};
use crate::evening::memory::Memory;
use crate::figures::Figures;
use crate::recordings::Recording;
use crate::report;
use crate::runs::{LEAD_S, LOUDNESS_SPREAD, MOVED_CENTS, PACES, Pace, Plucked, TAIL_S, Tally, UNEVEN, WRONG};

/// How long a string sounds that nobody damps, seconds: in a run it should not end before the run does, but what a recording
/// of two seconds tells of the tenth is little.
const RINGS_S: f64 = 12.0;
/// How far the harp stands from its targets as a whole, and its strings from there, cents, one standard deviation.
const DRIFT_CENTS: f64 = 2.0;
const SCATTER_CENTS: f64 = 3.0;
/// The mean loudness of plucks, decibels above the softest.
const LOUDNESS_DB: f64 = 3.0;

/// A harp of recorded strings: of each its voice, and how far it stands from its target.
type Strings = Vec<(usize, Cents)>;

/// Plays runs down and up over so many `harps` at each of the paces; what fails is told if `each` is.
pub(super) fn run(
    recordings: &[Recording],
    harps: u64,
    seed: u64,
    each: bool,
    figures: &mut Figures,
) -> Result<(), String> {
    let harp = harp_file::preset("pedal-47").ok_or("there is no harp of 47 strings")?;
    let recorded = RecordedHarp::new(recordings, RINGS_S)?;
    report(&format!(
        "runs over 47 recorded strings, undamped, {harps} harps, up and down"
    ));
    for (kind, pace) in (1_u64..).zip(PACES) {
        let mut tally = Tally::new(each);
        for number in 0..harps {
            let own_seed = (seed << 32) ^ (kind << 20) ^ number;
            let mut chance = Chance::new(own_seed);
            let strings = strings(&harp, &recorded, &mut Dice(own_seed), &mut chance)?;
            for down in [true, false] {
                let plucks = plucks(&harp, &strings, pace, down, &mut chance)?;
                let way = if down { "down" } else { "up" };
                let name = format!("{}, seed {seed}, harp {number}, {way}", pace.name());
                let memory = hear(&harp, &recorded, &strings, &plucks, pace, &mut chance)?;
                tally.judge(&memory, &truth(&plucks)?, SampleRate::STUDIO, &name);
            }
        }
        tally.tell(pace, figures);
    }
    Ok(())
}

/// What is heard of these plucks who knows where each string was last.
fn hear(
    harp: &Harp,
    recorded: &RecordedHarp,
    strings: &Strings,
    plucks: &[Pluck],
    pace: Pace,
    chance: &mut Chance,
) -> Result<Memory, String> {
    let left: Vec<Cents> = strings
        .iter()
        .map(|(_, stands)| Cents(stands.0 + MOVED_CENTS * chance.spread()))
        .collect();
    let seconds = plucks.last().map_or(0.0, |pluck| pluck.at_s) + TAIL_S;
    let mut dice = Dice(chance.below(usize::MAX) as u64);
    let sound = recorded.play(
        plucks,
        &recorded.sounds(plucks),
        true,
        pace.others_db,
        seconds,
        &mut dice,
    );
    let rate = SampleRate::new(RATE).map_err(|why| why.to_string())?;
    let mut memory = Memory::new(harp, rate, |string| left.get(string.index()).copied())?;
    memory.runs();
    sound.chunks(480).for_each(|block| memory.push(block));
    memory.finish();
    Ok(memory)
}

/// A harp that was tuned some days ago.
fn strings(harp: &Harp, recorded: &RecordedHarp, dice: &mut Dice, chance: &mut Chance) -> Result<Strings, String> {
    let drift = DRIFT_CENTS * chance.spread();
    let string = |(_, own)| {
        let stands = Cents(drift + SCATTER_CENTS * chance.spread());
        let hz = Tuning::default().open_target(own).raised_by(stands);
        Ok((recorded.any_voice(hz.get(), dice), stands))
    };
    harp.numbered().map(string).collect()
}

/// A run down or up over these strings.
fn plucks(harp: &Harp, strings: &Strings, pace: Pace, down: bool, chance: &mut Chance) -> Result<Vec<Pluck>, String> {
    let mut order: Vec<usize> = (0..harp.len()).collect();
    if !down {
        order.reverse();
    }
    let mut at_s = LEAD_S;
    let mut plucks = Vec::new();
    for at in with_slips(&order, chance) {
        let number = StringNumber::new(at as u32 + 1).map_err(|why| why.to_string())?;
        let own = harp.string(number).ok_or("a string that is not there")?;
        let (voice, cents) = strings[at];
        plucks.push(Pluck {
            string: number.get(),
            cents,
            hz: Tuning::default().open_target(own).raised_by(cents).get(),
            voice,
            at_s,
            louder_db: LOUDNESS_DB + 20.0 * (LOUDNESS_SPREAD * chance.spread()).exp().log10(),
        });
        at_s += (1.0 + UNEVEN * chance.spread()).max(0.5) / pace.rate_hz;
    }
    Ok(plucks)
}

/// What she plucks who means to pluck `order`: now and then one twice, not at all, or after the one that follows it.
fn with_slips(order: &[usize], chance: &mut Chance) -> Vec<usize> {
    let mut plucked = Vec::new();
    for (at, string) in order.iter().enumerate() {
        let slips = chance.is(WRONG);
        match (slips, chance.below(3)) {
            (true, 0) => plucked.extend([*string, *string]),
            (true, 1) => {}
            (true, _) => {
                plucked.extend(order.get(at + 1));
                plucked.push(*string);
            }
            (false, _) => plucked.push(*string),
        }
    }
    plucked
}

/// What is true of these plucks.
fn truth(plucks: &[Pluck]) -> Result<Vec<Plucked>, String> {
    let true_of = |pluck: &Pluck| {
        Ok(Plucked {
            at_s: pluck.at_s,
            string: StringNumber::new(u32::from(pluck.string)).map_err(|why| why.to_string())?,
            hz: Hz::new(pluck.hz).map_err(|why| why.to_string())?,
        })
    };
    plucks.iter().map(true_of).collect()
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::recordings::read_manifest;

    #[test]
    fn slips_are_few_and_of_three_kinds() {
        let order: Vec<usize> = (0..30_000).collect();
        let plucked = with_slips(&order, &mut Chance::new(1));
        let count = |kind: fn(&[usize]) -> bool| plucked.windows(2).filter(|two| kind(two)).count() as f64;
        let (twice, beyond) = (count(|two| two[0] == two[1]), count(|two| two[1] == two[0] + 2));
        let (back, missing) = (count(|two| two[1] < two[0]), 30_000.0 + twice - plucked.len() as f64);
        for slips in [twice, back, beyond - back, missing + back] {
            assert!((200.0..=420.0).contains(&slips), "{twice}, {back}, {beyond}, {missing}");
        }
    }

    /// Strings from the middle of a harp, at two a second: what is heard of them stands or falls with moments and pitches that
    /// are true of their sound.
    #[test]
    fn an_octave_of_recorded_strings_is_told_as_what_was_plucked() {
        let folder = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../recordings"));
        let mut recordings = read_manifest(folder).expect("recordings");
        recordings.retain(|recording| (12..=20).contains(&recording.string));
        let recorded = RecordedHarp::new(&recordings, 2.5).expect("voices");
        let harp = harp_file::preset("pedal-47").expect("a harp");
        let mut chance = Chance::new(3);
        let strings = strings(&harp, &recorded, &mut Dice(3), &mut chance).expect("strings");
        let mut plucks = plucks(&harp, &strings, PACES[0], true, &mut chance).expect("plucks");
        plucks.retain(|pluck| (13..=19).contains(&pluck.string));
        let late_s = plucks[0].at_s - LEAD_S;
        plucks.iter_mut().for_each(|pluck| pluck.at_s -= late_s);
        let memory = hear(&harp, &recorded, &strings, &plucks, PACES[0], &mut chance).expect("sound");
        let mut tally = Tally::new(true);
        tally.judge(
            &memory,
            &truth(&plucks).expect("strings"),
            SampleRate::STUDIO,
            "an octave",
        );
        // The first partial of one of these strings wanders by itself, by more than a cent.
        assert!(plucks.len() > 5 && tally.is_as_played(3.0), "{tally:?}");
    }
}
