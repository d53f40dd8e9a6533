//! A whole evening in figures: her own plucks, strong ones, runs over the harp, rooms without it, music on it, strings that turn, a new string, the A.

mod hers;
pub(crate) mod memory;
mod music;
mod reference;
mod rooms;
mod runs;
mod score;
mod strong;
mod turning;

use consort_harp::Room;
use consort_proto::{Harp, StringNumber, harp_file};

use self::hers::{Counts, While};
use self::music::Music;
use self::reference::Gives;
use self::rooms::Sounds;
use self::score::Untrue;
use self::strong::Strong;
use self::turning::Tracks;
use crate::figures::Figures;
use crate::report;
use crate::runs::{PACES, Tally};
use crate::statistics::{percent, quantile};

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str = "her own plucks, strong ones, runs, rooms without a harp, music, strings that turn, the A that is given [--hours H] [--cases N] \
     [--seed S] [--only hers|strong|runs|rooms|music|turning|reference] [--each] [--json FILE]";

/// How much is heard where nothing else is asked for: sound of each kind, hours, and harps, strings or tones.
const HOURS: f64 = 0.1;
const CASES: u64 = 4;
/// Nothing was chosen by what this seed makes: it is for judging.
const SEED: u64 = 2;

/// What was typed.
struct Options {
    hours: f64,
    cases: u64,
    seed: u64,
    only: Option<String>,
    /// Whether every failure of runs, rooms and music is told.
    each: bool,
}

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let (options, rest) = parse(words)?;
    let mut figures = Figures::new("evening", &rest)?;
    let harp = harp_file::preset("pedal-47").ok_or("there is no harp of 47 strings")?;
    let wants = |part: &str| options.only.as_deref().is_none_or(|only| only == part);
    if wants("hers") {
        hers(&harp, &options, &mut figures)?;
    }
    if wants("strong") {
        strong(&harp, &options, &mut figures)?;
    }
    if wants("runs") {
        runs(&harp, &options, &mut figures)?;
    }
    if wants("rooms") {
        rooms(&harp, &options, &mut figures)?;
    }
    if wants("music") {
        music(&harp, &options, &mut figures)?;
    }
    if wants("turning") {
        turning(&harp, &options, &mut figures)?;
    }
    if wants("reference") {
        references(&harp, &options, &mut figures)?;
    }
    figures.close()
}

impl Options {
    /// A seed of its own for the piece `number` of the kind `kind`.
    fn seed(&self, kind: u64, number: u64) -> u64 {
        (self.seed << 32) ^ (kind << 20) ^ number
    }

    /// How many pieces of so many seconds are heard.
    fn pieces(&self, seconds: f64) -> u64 {
        (self.hours * 3600.0 / seconds).ceil() as u64
    }
}

fn hers(harp: &Harp, options: &Options, figures: &mut Figures) -> Result<(), String> {
    report(&format!(
        "her own plucks while she tunes string by string, {} harps",
        options.cases
    ));
    for (kind, (name, during)) in (51..).zip([
        ("alone", While::Alone),
        ("after music", While::Music),
        ("6 dB softer from a third on", While::Softer),
        ("beside another harp, 10 dB softer", While::Another),
    ]) {
        let mut counts = Counts {
            heard: Untrue {
                each: options.each,
                ..Untrue::default()
            },
            ..Counts::default()
        };
        for case in 0..options.cases {
            hers::tune(harp, during, options.seed(kind, case), &mut counts)?;
        }
        let share = |some: usize| percent(some, counts.meant);
        figures.tell(format!("{name}: not at once"), share(counts.not_at_once), "%");
        figures.at_most(
            1.0,
            format!("{name}: not at the second pluck"),
            share(counts.not_at_second),
            "%",
        );
        let untrue = counts.heard.per_hour(counts.heard.counted);
        figures.tell(format!("{name}: false readings"), untrue, "an hour");
    }
    Ok(())
}

fn strong(harp: &Harp, options: &Options, figures: &mut Figures) -> Result<(), String> {
    for (kind, (factor, name)) in (61..).zip([(2.0, "twice"), (3.0, "three times")]) {
        report(&format!(
            "plucks {name} as strong as she plucks that string else, {} harps",
            options.cases
        ));
        let mut found = Strong::default();
        for case in 0..options.cases {
            strong::tune(harp, factor, options.seed(kind, case), &mut found)?;
        }
        let mut apart: Vec<f64> = found.apart.iter().map(|apart| apart.abs()).collect();
        let held = found.plucked - found.counted;
        figures.tell("from her other plucks, median", quantile(&mut apart, 0.5), "cents");
        figures.tell("from her other plucks, 95 %", quantile(&mut apart, 0.95), "cents");
        figures.tell("count at once", percent(found.counted, found.plucked), "%");
        figures.at_most(
            1.0,
            "count at once and lie beyond their tolerance",
            percent(found.untrue, found.plucked),
            "%",
        );
        figures.at_most(
            1.0,
            "of the others, do not count when they are plucked again",
            percent(held - found.again, held),
            "%",
        );
        figures.at_most(
            1.0,
            "ordinary ones that are held for strong",
            percent(found.mistaken, found.ordinary),
            "%",
        );
    }
    Ok(())
}

fn runs(harp: &Harp, options: &Options, figures: &mut Figures) -> Result<(), String> {
    report(&format!(
        "runs over 47 strings, undamped, {} harps, up and down",
        options.cases
    ));
    for (kind, pace) in (1..).zip(PACES) {
        let mut tally = Tally::new(options.each);
        for case in 0..options.cases {
            for down in [true, false] {
                runs::run(harp, pace, down, options.seed(kind, case), &mut tally)?;
            }
        }
        tally.tell(pace, figures);
    }
    Ok(())
}

fn rooms(harp: &Harp, options: &Options, figures: &mut Figures) -> Result<(), String> {
    report(&format!(
        "false readings in an hour in which nothing of hers is plucked, by {} hours each",
        options.hours
    ));
    let room = |warm_up_db, talk_db, harp_db| {
        Sounds::Room(Room {
            warm_up_db,
            talk_db,
            harp_db,
        })
    };
    for (kind, (name, sounds)) in (11..).zip([
        (
            "players and talk, 10 dB below a pluck",
            room(Some(-12.0), Some(-15.0), None),
        ),
        (
            "players and talk, as loud as a pluck",
            room(Some(-2.0), Some(-5.0), None),
        ),
        ("talk as loud as a pluck", room(None, Some(0.0), None)),
        ("knocks", Sounds::Knocks),
        ("another harp, 20 dB softer", room(None, None, Some(-20.0))),
        ("another harp, 10 dB softer", room(None, None, Some(-10.0))),
    ]) {
        let mut heard = Untrue {
            each: options.each,
            ..Untrue::default()
        };
        for piece in 0..options.pieces(rooms::PIECE_S) {
            rooms::listen(harp, sounds, options.seed(kind, piece), &mut heard)?;
        }
        figures.at_most(1.0, name, heard.per_hour(heard.counted), "an hour");
        figures.tell(
            format!("{name}: kept in the record besides"),
            heard.per_hour(heard.kept),
            "an hour",
        );
        figures.tell(format!("{name}: heard"), heard.per_hour(heard.settled), "an hour");
        figures.tell(format!("{name}: unsure"), heard.per_hour(heard.unsure), "an hour");
    }
    Ok(())
}

fn music(harp: &Harp, options: &Options, figures: &mut Figures) -> Result<(), String> {
    report(&format!(
        "false readings in an hour of music on her own harp, by {} hours each",
        options.hours
    ));
    for (kind, (name, music)) in (21..).zip([
        ("chords", Music::Chords),
        ("passages", Music::Passages),
        ("glissandi", Music::Glissandi),
        ("harmonics", Music::Harmonics),
        ("music with pedals that move", Music::Pedals),
    ]) {
        let mut heard = Untrue {
            each: options.each,
            ..Untrue::default()
        };
        for piece in 0..options.pieces(music::PIECE_S) {
            music::listen(harp, music, options.seed(kind, piece), &mut heard)?;
        }
        figures.at_most(5.0, name, heard.per_hour(heard.counted), "an hour");
        figures.tell(
            format!("{name}: kept in the record besides"),
            heard.per_hour(heard.kept),
            "an hour",
        );
        figures.tell(format!("{name}: heard"), heard.per_hour(heard.settled), "an hour");
        figures.tell(format!("{name}: unsure"), heard.per_hour(heard.unsure), "an hour");
    }
    Ok(())
}

fn turning(harp: &Harp, options: &Options, figures: &mut Figures) -> Result<(), String> {
    // The top strings are gone before the key has turned.
    let strings = [10, 13, 17, 21, 24, 28, 31, 35, 38, 42, 46].map(StringNumber::new);
    let mut tracks = Tracks::default();
    let (mut plucks, mut lost) = (0, 0);
    let (mut faded, mut untrue) = (0, 0);
    for case in 0..options.cases {
        for (at, string) in (0_u64..).zip(strings) {
            let string = string.map_err(|why| why.to_string())?;
            let seed = options.seed(31, 64 * case + at);
            turning::turn(harp, string, seed, (case + at).is_multiple_of(2), &mut tracks)?;
        }
        for (at, string) in (0_u64..).zip(strings) {
            let string = string.map_err(|why| why.to_string())?;
            let damped = (case + at).is_multiple_of(2);
            let (of, false_ones) = turning::fade(harp, string, options.seed(33, 64 * case + at), damped)?;
            (faded, untrue) = (faded + of, untrue + false_ones);
        }
        let new = StringNumber::new(8 + (7 * case as u32 + options.seed as u32) % 36).map_err(|why| why.to_string())?;
        let (of, missed) = turning::bring_up(harp, new, options.seed(32, case))?;
        (plucks, lost) = (plucks + of, lost + missed);
    }
    let turns = options.cases as usize * strings.len();
    report(&format!(
        "{turns} strings that turn by 40 cents in a second while they sound"
    ));
    let mut ms: Vec<f64> = tracks.lags_s.iter().map(|lag_s| 1000.0 * lag_s).collect();
    figures.tell("the live track is behind, median", quantile(&mut ms, 0.5), "ms");
    figures.at_most(80.0, "the live track is behind, 95 %", quantile(&mut ms, 0.95), "ms");
    figures.at_most(
        3.0,
        "its error once the string rests, 95 %",
        quantile(&mut tracks.errors, 0.95),
        "cents",
    );
    let mut gaps: Vec<f64> = tracks.gaps_s.iter().map(|gap_s| 1000.0 * gap_s).collect();
    figures.at_most(
        50.0,
        "from one track to the next, 95 %",
        quantile(&mut gaps, 0.95),
        "ms",
    );
    figures.tell("strings of which nothing was shown", percent(tracks.unseen, turns), "%");
    report(&format!(
        "{turns} strings in tune that fade while others warm up and talk"
    ));
    figures.at_most(
        2.0,
        format!("tracks more than {} cents off", turning::UNTRUE_CENTS),
        percent(untrue, faded),
        "%",
    );
    report(&format!(
        "{} new strings, chosen by hand, from an octave below",
        options.cases
    ));
    figures.at_most(
        1.0,
        "plucks of which nothing right was heard",
        percent(lost, plucks),
        "%",
    );
    Ok(())
}

fn references(harp: &Harp, options: &Options, figures: &mut Figures) -> Result<(), String> {
    report(&format!(
        "the A over a room 10 dB below it, {} of each",
        2 * options.cases
    ));
    let (mut all, mut nothing, mut tones) = (Vec::new(), 0, 0);
    for (kind, (name, gives)) in (41..).zip([
        ("an oboe", Gives::Oboe),
        ("violins", Gives::Violins),
        ("an organ", Gives::Organ),
        ("a piano", Gives::Piano),
        ("a fork", Gives::Fork),
    ]) {
        let mut errors = Vec::new();
        for case in 0..2 * options.cases {
            tones += 1;
            match reference::measure(harp, gives, options.seed(kind, case))? {
                Some(apart) => errors.push(apart.0.abs()),
                None => nothing += 1,
            }
        }
        figures.at_most(
            0.5,
            format!("{name}: median error"),
            quantile(&mut errors, 0.5),
            "cents",
        );
        all.append(&mut errors);
    }
    let wrong = all.iter().filter(|apart| **apart > reference::WRONG_CENTS).count();
    figures.at_most(1.5, "all of them: 95 % error", quantile(&mut all, 0.95), "cents");
    figures.at_most(
        0.0,
        format!("more than {} cents off", reference::WRONG_CENTS),
        percent(wrong, tones),
        "%",
    );
    figures.tell("not measured at all", percent(nothing, tones), "%");
    let mut told = 0;
    for case in 0..tones as u64 {
        let heard = reference::measure(harp, Gives::Nobody, options.seed(46, case))?;
        told += usize::from(heard.is_some());
    }
    figures.at_most(0.0, "an A told that nobody gave", percent(told, tones), "%");
    Ok(())
}

/// Takes what is this measure's own out of `words`; the rest is everybody's.
fn parse(words: &[String]) -> Result<(Options, Vec<String>), String> {
    let mut options = Options {
        hours: HOURS,
        cases: CASES,
        seed: SEED,
        only: None,
        each: false,
    };
    let mut rest = Vec::new();
    let mut words = words.iter();
    while let Some(word) = words.next() {
        let mut value = || words.next().ok_or_else(|| format!("{word} needs a value"));
        let whole = |text: &String| text.parse::<u64>().map_err(|_| format!("{text} is not a whole number"));
        match word.as_str() {
            "--hours" => {
                let text = value()?;
                let hours = text
                    .parse::<f64>()
                    .ok()
                    .filter(|hours| (0.001..=1000.0).contains(hours));
                options.hours = hours.ok_or_else(|| format!("{text} is not from 0.001 to 1000 hours"))?;
            }
            "--cases" => options.cases = whole(value()?)?.max(1),
            "--seed" => options.seed = whole(value()?)?,
            "--each" => options.each = true,
            "--only" => {
                let part = value()?;
                if !["hers", "strong", "runs", "rooms", "music", "turning", "reference"].contains(&part.as_str()) {
                    return Err(format!("{part} is no part of an evening: {ABOUT}"));
                }
                options.only = Some(part.clone());
            }
            _ => rest.push(word.clone()),
        }
    }
    Ok((options, rest))
}
