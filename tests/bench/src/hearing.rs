//! How well strings are heard: errors against recordings of known truth, and what that costs.

mod bed;
mod generate;
mod goals;
mod harp;
mod holds;
mod outcome;
mod peers;
mod plot;
mod resample;
mod ring_on;
mod runs;
mod tables;
mod told;
mod tunings;

use std::path::PathBuf;

use consort_analysis::Context;
use consort_proto::Hz;
use serde::Serialize;

use self::bed::Dice;
use self::generate::{CONDITIONS, Generator, PLAYED};
use self::goals::{Compared, compare, compare_told};
use self::outcome::{Outcome, hear};
use self::tables::{Table, print_peers, print_table, tabulate, tabulate_told};
use self::told::TOLD;
use crate::figures::Figures;
use crate::recordings::{Recording, read_manifest, read_samples};
use crate::report;

/// One line about this measure.
pub(crate) const ABOUT: &str = "errors on recorded strings by condition, register and raw recording, the cost and the memory [--recordings DIR] \
     [--generate N] [--tunings N] [--runs N] [--seed S] [--only CONDITION] [--json FILE] [--files] [--plots DIR]";

/// What a listener may hold, bytes.
const HOLDS_AT_MOST: f64 = 20e6;

#[derive(Serialize)]
struct Report<'a> {
    tables: &'a [Table],
    goals: &'a [Compared],
    outcomes: &'a [Outcome],
    told: &'a [Outcome],
    cost_percent_of_a_core: f64,
    /// What a listener and its context hold, bytes; absent where the system does not tell.
    holds_bytes: Option<f64>,
}

/// What was typed.
struct Options {
    folder: PathBuf,
    json: Option<PathBuf>,
    /// Where pictures of the failures go.
    plots: Option<PathBuf>,
    /// Whether every file is listed, not only the failures; and of runs whether the failures are.
    each: bool,
    /// How many cases to make from the recordings instead of hearing the files themselves.
    generate: Option<usize>,
    /// How many whole harps to build from them and to tune, instead.
    tunings: Option<u64>,
    /// How many such harps to play runs over, instead.
    runs: Option<u64>,
    seed: u64,
    /// The one condition that is heard, if not all are.
    only: Option<String>,
}

/// Runs the measure with the words after its name.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let options = parse(words)?;
    // First of all, while nothing is left of what others have set aside.
    let holds = holds::bytes();
    let recordings = read_manifest(&options.folder)?;
    if options.runs.is_some() && (options.tunings.is_some() || options.only.is_some()) {
        return Err("--runs goes with neither --tunings nor --only: ask for one of them".into());
    }
    if let Some(harps) = options.tunings {
        let mut figures = Figures::kept_in("hearing", options.json);
        tunings::run(&recordings, harps, options.seed, options.only.as_deref(), &mut figures)?;
        return figures.close();
    }
    if let Some(harps) = options.runs {
        let mut figures = Figures::kept_in("hearing", options.json);
        runs::run(&recordings, harps, options.seed, options.each, &mut figures)?;
        return figures.close();
    }
    let (mut outcomes, mut told) = (Vec::new(), Vec::new());
    // Of its own, so that no case that is made depends on what is told of it.
    let mut dice = Dice(!options.seed);
    let (mut busy_s, mut sound_s) = (0.0, 0.0);
    if let Some(folder) = &options.plots {
        std::fs::create_dir_all(folder).map_err(|why| format!("cannot make {}: {why}", folder.display()))?;
    }
    let mut take = |recording: &Recording, samples: &[f32], rate: u32| -> Result<(), String> {
        let alone = Context::concert_harp(Hz::new(recording.a4).map_err(|why| why.to_string())?);
        let (outcome, busy) = hear(recording, samples, rate, &alone)?;
        if let Some(folder) = options.plots.as_ref().filter(|_| outcome.failed()) {
            plot::write(folder, &outcome, samples, rate, recording.pluck_s)?;
        }
        outcomes.push(outcome);
        busy_s += busy;
        sound_s += samples.len() as f64 / f64::from(rate);
        if told::is_wide(recording) {
            let expected = told::expected(recording, &mut dice)?;
            let recording = Recording {
                condition: format!("{TOLD}{}", recording.condition),
                ..recording.clone()
            };
            told.push(hear(&recording, samples, rate, &expected)?.0);
        }
        Ok(())
    };
    if let Some(cases) = options.generate {
        let mut generator = Generator::new(&recordings, options.seed)?;
        for number in 0..cases {
            let (recording, samples, rate) = generator.next_case(number, options.only.as_deref());
            take(&recording, &samples, rate)?;
        }
        // As many of each as of each surroundings.
        let played = if options.only.is_some() {
            0
        } else {
            PLAYED.len() * cases / CONDITIONS.len()
        };
        for number in 0..played {
            let condition = PLAYED[number % PLAYED.len()];
            let (recording, samples, rate) = generator.next_case(cases + number, Some(condition));
            take(&recording, &samples, rate)?;
        }
    } else {
        let wanted = |recording: &&Recording| options.only.as_ref().is_none_or(|only| recording.condition == *only);
        for recording in recordings.iter().filter(wanted) {
            let (samples, rate) = read_samples(&recording.path)?;
            take(recording, &samples, rate)?;
        }
    }
    let mut tables = tabulate(&outcomes);
    tables.extend(tabulate_told(&told));
    if options.each {
        outcomes.iter().chain(&told).for_each(|outcome| report(&line(outcome)));
    }
    tables.iter().for_each(print_table);
    if options.generate.is_none() {
        print_peers();
    }
    let mut goals: Vec<Compared> = tables.first().map(compare).unwrap_or_default();
    goals.extend(compare_told(&told));
    let met = goals.iter().filter(|compared| compared.met).count();
    report(&format!("goals met: {met} of {}; missed:", goals.len()));
    for missed in goals.iter().filter(|compared| !compared.met) {
        report(&format!(
            "  {:11} {:38} {:6.2}, at most {:.2}",
            missed.condition, missed.figure, missed.is, missed.at_most
        ));
    }
    report("grossly wrong, or set without a pluck:");
    for outcome in &outcomes {
        if outcome.gross() || outcome.extra.iter().any(|extra| extra.settled) {
            report(&line(outcome));
        }
    }
    report("not identified, though order and last offsets were told:");
    for outcome in told.iter().filter(|outcome| !outcome.identified()) {
        report(&line(outcome));
    }
    let cost = 100.0 * busy_s / sound_s;
    report(&format!(
        "cost: {cost:.2} % of one core ({busy_s:.2} s for {sound_s:.0} s of sound)"
    ));
    if let Some(bytes) = holds {
        let verdict = if bytes <= HOLDS_AT_MOST { "met" } else { "missed" };
        report(&format!(
            "memory: {:.2} MB for a listener at 48 kHz and what it knows of 47 strings, at most {:.0} MB: {verdict}",
            bytes / 1e6,
            HOLDS_AT_MOST / 1e6
        ));
    }
    if let Some(path) = options.json {
        let whole = Report {
            tables: &tables,
            goals: &goals,
            outcomes: &outcomes,
            told: &told,
            cost_percent_of_a_core: cost,
            holds_bytes: holds,
        };
        let text = serde_json::to_string_pretty(&whole).map_err(|why| why.to_string())?;
        std::fs::write(&path, text).map_err(|why| format!("cannot write {}: {why}", path.display()))?;
    }
    Ok(())
}

fn parse(words: &[String]) -> Result<Options, String> {
    let mut options = Options {
        folder: PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../recordings")),
        json: None,
        plots: None,
        each: false,
        generate: None,
        tunings: None,
        runs: None,
        seed: 1,
        only: None,
    };
    let mut words = words.iter();
    while let Some(word) = words.next() {
        let mut value = || words.next().ok_or_else(|| format!("{word} needs a value"));
        let number = |text: &String| text.parse().map_err(|_| format!("{text} is not a number"));
        match word.as_str() {
            "--recordings" => options.folder = PathBuf::from(value()?),
            "--json" => options.json = Some(PathBuf::from(value()?)),
            "--plots" => options.plots = Some(PathBuf::from(value()?)),
            "--files" => options.each = true,
            "--generate" => options.generate = Some(number(value()?)? as usize),
            "--tunings" => options.tunings = Some(number(value()?)?),
            "--runs" => options.runs = Some(number(value()?)?),
            "--only" => options.only = Some(condition(value()?)?),
            "--seed" => options.seed = number(value()?)?,
            _ => return Err(format!("{word} is not an option: {ABOUT}")),
        }
    }
    Ok(options)
}

/// A condition that there is.
fn condition(name: &str) -> Result<String, String> {
    let all = [&CONDITIONS[..], &PLAYED[..]].concat();
    all.contains(&name)
        .then(|| name.to_owned())
        .ok_or_else(|| format!("{name} is no condition; there are {}", all.join(", ")))
}

/// What was heard of one recording, in one line.
fn line(outcome: &Outcome) -> String {
    let number =
        |value: Option<f64>, decimals: usize| value.map_or("-".to_owned(), |value| format!("{value:.decimals$}"));
    let extra: Vec<String> = outcome
        .extra
        .iter()
        .map(|extra| {
            let verdict = if extra.settled { "set" } else { "unsure" };
            format!("{} {verdict} {:+.2} s", extra.string, extra.at_s)
        })
        .collect();
    format!(
        "{} {:11} {:6} {:2}->{:2} {:9.3} Hz  error {:>9} sigma {:>6} (truth {:.2}) glide {:>6} B {:>8} onset {:>5} ms  lock {:>5} \
         {:>5} {}{} [{}]",
        outcome.file,
        outcome.condition,
        outcome.raw,
        outcome.true_string,
        outcome.string.map_or("-".to_owned(), |string| string.to_string()),
        outcome.true_hz,
        number(outcome.cents, 3),
        number(outcome.sigma, 3),
        outcome.truth_sigma,
        number(outcome.glide, 2),
        number(outcome.inharmonicity, 6),
        number(outcome.onset_error_ms, 1),
        number(outcome.lock3_ms, 0),
        number(outcome.lock1_ms, 0),
        outcome.why,
        if outcome.gross() { " GROSS" } else { "" },
        extra.join(", "),
    )
}
