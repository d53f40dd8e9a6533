//! Tunings of a whole harp built from the recordings: every string plucked where it is found, half-way and when it is set, in
//! the usual order, heard by a listener that knows where each was last, or that has never heard the harp.

use std::collections::BTreeMap;

use consort_analysis::{Doubt, Reading};
use consort_proto::{Cents, Harp, SampleRate, StringNumber, Tolerance, Tuning, harp_file};

use super::bed::{Dice, RATE};
use super::harp::{Pluck, RecordedHarp};
use super::tables::octave;
use crate::evening::memory::Memory;
use crate::figures::Figures;
use crate::recordings::Recording;
use crate::report;
use crate::statistics::{percent, quantile};

/// What surrounds the strings, and what is known of them.
struct Surroundings {
    name: &'static str,
    /// Whether they ring on until they are plucked again; each is damped before the next one else.
    rings: bool,
    /// How far the room is below them, decibels.
    room_db: Option<f64>,
    /// Whether the listener knows where each was last.
    knows: bool,
}

const SURROUNDINGS: [Surroundings; 5] = [
    surroundings("clean", false, None, true),
    surroundings("ring", true, None, true),
    surroundings("bed20", true, Some(20.0), true),
    surroundings("bed10", true, Some(10.0), true),
    surroundings("first10", true, Some(10.0), false),
];

const fn surroundings(name: &'static str, rings: bool, room_db: Option<f64>, knows: bool) -> Surroundings {
    Surroundings {
        name,
        rings,
        room_db,
        knows,
    }
}

/// Strings are found up to this far from their targets, and have moved by up to so much since they were heard last, cents.
const FOUND_CENTS: f64 = 60.0;
const MOVED_CENTS: f64 = 8.0;
/// What is left of that once the pin was turned, as shares of it, and what is still in tune, cents.
const HALF_WAY: (f64, f64) = (-0.2, 0.4);
const SET_CENTS: f64 = 1.5;
/// How long a string sounds that nobody damps, seconds.
const RINGS_S: f64 = 6.0;
/// From one pluck to the next, seconds.
const PACE_S: (f64, f64) = (2.0, 3.0);
const LEAD_S: f64 = 1.0;
const TAIL_S: f64 = 3.0;
/// A reading belongs to the pluck whose moment lies this near, seconds; one that names the string that was plucked then, so near:
/// recorded low strings take a tenth of a second to rise.
const NEAR_S: f64 = 0.1;
const NEAR_OWN_S: f64 = 0.12;
/// Of a hundred plucks so many are to be identified.
const GOAL_IDENTIFIED: f64 = 99.5;

/// What became of the plucks of one octave, or of all.
#[derive(Default)]
struct Tally {
    plucks: usize,
    /// Named rightly, and of those the ones without a doubt.
    identified: usize,
    settled: usize,
    /// Settled as another string; and as one that was in tune, whether or not anything was plucked.
    wrong: usize,
    wrong_in_tune: usize,
    /// Settled where nothing was plucked.
    strangers: usize,
    /// Distances from the truth of those that were settled rightly, cents.
    errors: Vec<f64>,
}

/// Plays `harps` tunings in each of the surroundings, or only in those called `only`.
pub(super) fn run(
    recordings: &[Recording],
    harps: u64,
    seed: u64,
    only: Option<&str>,
    figures: &mut Figures,
) -> Result<(), String> {
    if let Some(only) = only.filter(|only| SURROUNDINGS.iter().all(|around| around.name != *only)) {
        let names = SURROUNDINGS.map(|around| around.name).join(", ");
        return Err(format!("no harp is tuned in {only}; there are {names}"));
    }
    let harp = harp_file::preset("pedal-47").ok_or("there is no harp of 47 strings")?;
    let recorded = RecordedHarp::new(recordings, RINGS_S)?;
    let mut tallies: BTreeMap<&str, BTreeMap<u8, Tally>> = BTreeMap::new();
    for number in 0..harps {
        let own_seed = (seed << 20) ^ number;
        let mut dice = Dice(own_seed);
        let (plucks, last) = tuning(&harp, &recorded, &mut dice)?;
        let sounds = recorded.sounds(&plucks);
        for around in SURROUNDINGS {
            let name = around.name;
            // The same room whichever others are heard.
            let mut dice = Dice(!own_seed);
            if only.is_some_and(|only| only != name) {
                continue;
            }
            let seconds = plucks.last().map_or(0.0, |pluck| pluck.at_s) + TAIL_S;
            let sound = recorded.play(&plucks, &sounds, around.rings, around.room_db, seconds, &mut dice);
            let rate = SampleRate::new(RATE).map_err(|why| why.to_string())?;
            let known = |string: StringNumber| last.get(string.index()).copied().filter(|_| around.knows);
            let mut memory = Memory::new(&harp, rate, known)?;
            sound.chunks(480).for_each(|block| memory.push(block));
            memory.finish();
            judge(&memory, &plucks, &harp, tallies.entry(name).or_default(), &|what| {
                report(&format!("  {name}, seed {seed}, harp {number}: {what}"));
            });
        }
    }
    for around in SURROUNDINGS {
        let Some(tallies) = tallies.get_mut(around.name) else {
            continue;
        };
        let ringing = if around.rings { "ringing on" } else { "damped" };
        let room = around
            .room_db
            .map_or(String::new(), |db| format!(", a room {db} dB softer"));
        let heard = if around.knows { "" } else { ", for the first time" };
        report(&format!(
            "{}: {harps} tunings of 47 strings, {ringing}{room}{heard}",
            around.name
        ));
        tell(around.name, tallies, figures);
    }
    Ok(())
}

/// The plucks of one tuning, and where each string was when it was heard last.
fn tuning(harp: &Harp, recorded: &RecordedHarp, dice: &mut Dice) -> Result<(Vec<Pluck>, Vec<Cents>), String> {
    let targets = Tuning::default();
    let mut last = vec![Cents(0.0); harp.len()];
    let mut plucks = Vec::new();
    let mut at_s = LEAD_S;
    for string in consort_proto::order::usual_order(harp) {
        let own = harp.string(string).ok_or("a string that is not there")?;
        let found = dice.within(-FOUND_CENTS, FOUND_CENTS);
        last[string.index()] = Cents(found + dice.within(-MOVED_CENTS, MOVED_CENTS));
        let target = targets.open_target(own);
        let voice = recorded.any_voice(target.raised_by(Cents(found)).get(), dice);
        let half_way = found * dice.within(HALF_WAY.0, HALF_WAY.1);
        for cents in [found, half_way, dice.within(-SET_CENTS, SET_CENTS)] {
            plucks.push(Pluck {
                string: string.get(),
                cents: Cents(cents),
                hz: target.raised_by(Cents(cents)).get(),
                voice,
                at_s,
                louder_db: dice.within(0.0, 3.0),
            });
            at_s += dice.within(PACE_S.0, PACE_S.1);
        }
    }
    Ok((plucks, last))
}

/// Counts what was heard, by octave, and tells what failed.
fn judge(memory: &Memory, plucks: &[Pluck], harp: &Harp, tallies: &mut BTreeMap<u8, Tally>, failed: &dyn Fn(&str)) {
    let onset_s = |reading: &Reading| reading.onset.seconds(SampleRate::STUDIO);
    let in_tune = |reading: &Reading| {
        let number = StringNumber::new(u32::from(reading.string)).ok();
        let own = number.and_then(|number| harp.string(number));
        own.is_some_and(|own| {
            let offset = reading.hz.cents_above(Tuning::default().open_target(own));
            offset.is_within(Tolerance::default().of(own))
        })
    };
    let nearest = |reading: &Reading| {
        let apart = |at: &usize| (plucks[*at].at_s - onset_s(reading)).abs();
        let at = (0..plucks.len()).min_by(|a, b| apart(a).total_cmp(&apart(b)))?;
        let near_s = if plucks[at].string == reading.string {
            NEAR_OWN_S
        } else {
            NEAR_S
        };
        (apart(&at) < near_s).then_some(at)
    };
    let mut answered: Vec<Option<(Reading, Option<Doubt>)>> = vec![None; plucks.len()];
    for (reading, doubt) in &memory.answers {
        let at = nearest(reading);
        let string = at.map(|at| plucks[at].string);
        let tally = tallies.entry(octave(string.unwrap_or(reading.string))).or_default();
        let settled_wrong = doubt.is_none() && string != Some(reading.string);
        tally.wrong_in_tune += usize::from(settled_wrong && in_tune(reading));
        match at {
            Some(at) => {
                tally.wrong += usize::from(settled_wrong);
                // Of two answers to one pluck the right one counts as heard, the wrong one as wrong; of two right ones the
                // settled one.
                let worth = |string: u8, doubt: Option<Doubt>| (string == plucks[at].string, doubt.is_none());
                let before = answered[at].map(|(before, doubt)| worth(before.string, doubt));
                if before.is_none_or(|before| before < worth(reading.string, *doubt)) {
                    answered[at] = Some((*reading, *doubt));
                }
            }
            None => tally.strangers += usize::from(doubt.is_none()),
        }
        if settled_wrong {
            failed(&format!(
                "{} settled at {:.2} Hz, {:.2} s{}; plucked then: {}",
                reading.string,
                reading.hz.get(),
                onset_s(reading),
                if in_tune(reading) { ", IN TUNE" } else { "" },
                at.map_or("nothing".to_owned(), |at| plucks[at].to_string()),
            ));
        }
    }
    for (pluck, answer) in plucks.iter().zip(&answered) {
        let tally = tallies.entry(octave(pluck.string)).or_default();
        tally.plucks += 1;
        let Some((reading, doubt)) = answer else {
            let refused = memory
                .refused
                .iter()
                .find(|(onset_s, _)| (onset_s - pluck.at_s).abs() < NEAR_S);
            let why = refused.map_or("no onset".to_owned(), |(_, why)| format!("refused, {why:?}"));
            failed(&format!("{pluck}: {why}"));
            continue;
        };
        let error = 1200.0 * (reading.hz.get() / pluck.hz).log2();
        if reading.string == pluck.string {
            tally.identified += 1;
            if doubt.is_none() {
                tally.settled += 1;
                tally.errors.push(error.abs());
            }
        } else if let Some(doubt) = doubt {
            failed(&format!(
                "{pluck}: {} unsure, {doubt:?}, {error:+.1} cents off",
                reading.string
            ));
        }
    }
}

/// Tells one of the surroundings, octave by octave, and its figures.
fn tell(name: &str, tallies: &mut BTreeMap<u8, Tally>, figures: &mut Figures) {
    report("  octave plucks identified/% settled/%  wrong in tune strangers   error/cents, median  95 %");
    let mut all = Tally::default();
    for (octave, tally) in &mut *tallies {
        tell_line(&octave.to_string(), tally);
        all.plucks += tally.plucks;
        all.identified += tally.identified;
        all.settled += tally.settled;
        all.wrong += tally.wrong;
        all.wrong_in_tune += tally.wrong_in_tune;
        all.strangers += tally.strangers;
        all.errors.extend(&tally.errors);
    }
    tell_line("all", &mut all);
    let share = |some: usize| percent(some, all.plucks);
    figures.at_least(
        GOAL_IDENTIFIED,
        format!("{name}: plucks identified"),
        share(all.identified),
        "%",
    );
    figures.tell(format!("{name}: settled as what they were"), share(all.settled), "%");
    let wrong_in_tune = all.wrong_in_tune as f64;
    figures.at_most(
        0.0,
        format!("{name}: a wrong string in tune"),
        wrong_in_tune,
        "readings",
    );
    figures.tell(
        format!("{name}: settled as a wrong string"),
        (all.wrong + all.strangers) as f64,
        "readings",
    );
}

fn tell_line(octave: &str, tally: &mut Tally) {
    report(&format!(
        "  {octave:>6} {:6} {:12.2} {:9.2} {:6} {:7} {:9} {:21.3} {:5.2}",
        tally.plucks,
        percent(tally.identified, tally.plucks),
        percent(tally.settled, tally.plucks),
        tally.wrong,
        tally.wrong_in_tune,
        tally.strangers,
        quantile(&mut tally.errors, 0.5),
        quantile(&mut tally.errors, 0.95),
    ));
}
