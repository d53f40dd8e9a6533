//! How well strings are heard: errors against recordings of known truth, and what that costs.

use std::path::PathBuf;

use consort_analysis::{Config, Context, Doubt, Heard, Listener, Reading};
use consort_proto::{Hz, SampleRate};
use serde::Serialize;

use crate::recordings::{Recording, read_manifest, read_samples};
use crate::report;
use crate::statistics::{cpu_seconds, percent, quantile};

/// One line about this measure.
pub(crate) const ABOUT: &str =
    "errors on recorded strings by condition, and the cost [--recordings DIR] [--json FILE] [--files]";

/// More than this off, cents, is a gross error: another string than the one that sounded.
const GROSS_CENTS: f64 = 50.0;
/// A reading belongs to the pluck if its onset lies this near, seconds; an onset counts as found within half of it.
const NEAR_S: f64 = 0.1;
/// Strings are judged as identified only in the sets whose offsets leave pitch a say, within ±60 cents.
const WIDE: &str = "wide";
/// Truths less certain than this, cents, say nothing about errors.
const TRUTH_SIGMA_MAX: f64 = 0.8;

/// What was heard of one recording.
#[derive(Clone, Debug, Serialize)]
struct Outcome {
    file: String,
    condition: String,
    true_string: u8,
    true_hz: f64,
    truth_sigma: f64,
    onset_error_ms: Option<f64>,
    string: Option<u8>,
    hz: Option<f64>,
    cents: Option<f64>,
    sigma: Option<f64>,
    glide: Option<f64>,
    inharmonicity: Option<f64>,
    unsure: bool,
    why: String,
    readings: usize,
    nearest_is_right: bool,
    lock3_ms: Option<f64>,
    lock1_ms: Option<f64>,
}

/// A line of the table.
#[derive(Clone, Debug, Serialize)]
struct Row {
    condition: String,
    files: usize,
    onset_missed: usize,
    gross_percent: f64,
    silent_gross_percent: f64,
    identified_percent: Option<f64>,
    nearest_percent: Option<f64>,
    median_cents: f64,
    p95_cents: f64,
    covered_percent: f64,
    unsure_percent: f64,
    extra_readings: usize,
    lock3_percent: f64,
    lock3_ms: f64,
    lock1_percent: f64,
    lock1_ms: f64,
}

#[derive(Serialize)]
struct Report<'a> {
    rows: &'a [Row],
    outcomes: &'a [Outcome],
    cost_percent_of_a_core: f64,
}

/// Runs the measure with the words after its name.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut folder = PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../recordings"));
    let mut json = None;
    let mut each = false;
    let mut words = words.iter();
    while let Some(word) = words.next() {
        let mut value = || words.next().ok_or_else(|| format!("{word} needs a value"));
        match word.as_str() {
            "--recordings" => folder = PathBuf::from(value()?),
            "--json" => json = Some(PathBuf::from(value()?)),
            "--files" => each = true,
            _ => return Err(format!("{word} is not an option: {ABOUT}")),
        }
    }
    let recordings = read_manifest(&folder)?;
    let mut outcomes = Vec::new();
    let (mut busy_s, mut sound_s) = (0.0, 0.0);
    for recording in &recordings {
        let (samples, rate) = read_samples(&recording.path)?;
        let (outcome, busy) = hear(recording, &samples, rate)?;
        busy_s += busy;
        sound_s += samples.len() as f64 / f64::from(rate);
        outcomes.push(outcome);
    }
    let rows = tabulate(&outcomes);
    if each {
        outcomes.iter().for_each(print_outcome);
    }
    print_table(&rows);
    print_registers(&outcomes);
    let cost = 100.0 * busy_s / sound_s;
    report(&format!(
        "cost: {cost:.2} % of one core ({busy_s:.2} s for {sound_s:.0} s of sound)"
    ));
    if let Some(path) = json {
        let whole = Report {
            rows: &rows,
            outcomes: &outcomes,
            cost_percent_of_a_core: cost,
        };
        let text = serde_json::to_string_pretty(&whole).map_err(|why| why.to_string())?;
        std::fs::write(&path, text).map_err(|why| format!("cannot write {}: {why}", path.display()))?;
    }
    Ok(())
}

/// Hears one recording; gives the CPU time it took beside the outcome.
fn hear(recording: &Recording, samples: &[f32], rate: u32) -> Result<(Outcome, f64), String> {
    let rate = SampleRate::new(rate).map_err(|why| why.to_string())?;
    let a4 = Hz::new(recording.a4).map_err(|why| why.to_string())?;
    let truth = Hz::new(recording.hz).map_err(|why| why.to_string())?;
    let context = Context::concert_harp(a4);
    let mut listener = Listener::new(Config {
        rate,
        ..Config::default()
    });
    listener.set_context(&context);
    let mut heard = Vec::new();
    let before = cpu_seconds();
    let clock = std::time::Instant::now();
    for block in samples.chunks(480) {
        listener.push(block);
        while let Some(item) = listener.poll() {
            heard.push(item);
        }
    }
    listener.finish();
    while let Some(item) = listener.poll() {
        heard.push(item);
    }
    let busy = match (before, cpu_seconds()) {
        (Some(before), Some(after)) => after - before,
        _ => clock.elapsed().as_secs_f64(),
    };

    let distance = |onset: consort_analysis::SampleTime| (onset.seconds(rate) - recording.pluck_s).abs();
    let onset = heard
        .iter()
        .filter_map(|item| {
            if let Heard::Onset(onset) = item {
                Some(onset.onset)
            } else {
                None
            }
        })
        .min_by(|a, b| distance(*a).total_cmp(&distance(*b)))
        .filter(|&onset| distance(onset) < NEAR_S / 2.0);
    let finals: Vec<(Reading, Option<Doubt>)> = heard
        .iter()
        .filter_map(|item| match item {
            Heard::Settled(reading) => Some((*reading, None)),
            Heard::Unsure(reading, doubt) => Some((*reading, Some(*doubt))),
            _ => None,
        })
        .collect();
    let last = finals
        .iter()
        .filter(|(reading, _)| distance(reading.onset) < NEAR_S)
        .min_by(|a, b| distance(a.0.onset).total_cmp(&distance(b.0.onset)));
    let refused = heard.iter().find_map(|item| match item {
        Heard::Refused(refused) if distance(refused.onset) < NEAR_S => Some(format!("{:?}", refused.why)),
        _ => None,
    });
    let nearest = context
        .strings()
        .min_by(|a, b| {
            let off = |string: &consort_analysis::ExpectedString| truth.cents_above(string.target).abs().0;
            off(a.1).total_cmp(&off(b.1))
        })
        .map(|(number, _)| number);
    let track: Vec<(f64, f64)> = heard
        .iter()
        .filter_map(|item| match item {
            Heard::Provisional(reading) | Heard::Settled(reading) | Heard::Unsure(reading, _) => Some(reading),
            _ => None,
        })
        .filter(|reading| last.is_some_and(|(last, _)| last.onset == reading.onset))
        .map(|reading| {
            (
                reading.time.seconds(rate) - recording.pluck_s,
                reading.hz.cents_above(truth).0,
            )
        })
        .collect();
    let lock = |within: f64| {
        let held = track
            .iter()
            .rev()
            .take_while(|(_, cents)| cents.abs() <= within)
            .count();
        track
            .len()
            .checked_sub(held)
            .and_then(|at| track.get(at))
            .map(|(time, _)| 1000.0 * time)
    };
    let outcome = Outcome {
        file: recording.file.clone(),
        condition: recording.condition.clone(),
        true_string: recording.string,
        true_hz: recording.hz,
        truth_sigma: recording.truth_sigma,
        onset_error_ms: onset.map(|onset| 1000.0 * (onset.seconds(rate) - recording.pluck_s)),
        string: last.map(|(reading, _)| reading.string),
        hz: last.map(|(reading, _)| reading.hz.get()),
        cents: last.map(|(reading, _)| reading.hz.cents_above(truth).0),
        sigma: last.map(|(reading, _)| reading.sigma.0),
        glide: last.map(|(reading, _)| reading.glide.0),
        inharmonicity: last.map(|(reading, _)| reading.inharmonicity),
        unsure: last.is_some_and(|(_, doubt)| doubt.is_some()),
        why: match last {
            Some((_, Some(doubt))) => format!("{doubt:?}"),
            Some((_, None)) => String::new(),
            None => refused.unwrap_or_else(|| "no onset".to_owned()),
        },
        readings: finals.len(),
        nearest_is_right: nearest == Some(recording.string),
        lock3_ms: lock(3.0),
        lock1_ms: lock(1.0),
    };
    Ok((outcome, busy))
}

impl Outcome {
    fn gross(&self) -> bool {
        self.cents.is_none_or(|cents| cents.abs() > GROSS_CENTS)
    }
}

fn tabulate(outcomes: &[Outcome]) -> Vec<Row> {
    let mut conditions: Vec<&str> = outcomes.iter().map(|outcome| outcome.condition.as_str()).collect();
    conditions.sort_unstable();
    conditions.dedup();
    let mut rows: Vec<Row> = conditions
        .iter()
        .map(|name| {
            row(
                name,
                &outcomes
                    .iter()
                    .filter(|outcome| outcome.condition == *name)
                    .collect::<Vec<_>>(),
            )
        })
        .collect();
    rows.push(row("all", &outcomes.iter().collect::<Vec<_>>()));
    rows
}

fn row(name: &str, outcomes: &[&Outcome]) -> Row {
    let count = |test: &dyn Fn(&Outcome) -> bool| outcomes.iter().filter(|outcome| test(outcome)).count();
    let files = outcomes.len();
    let judged: Vec<&&Outcome> = outcomes
        .iter()
        .filter(|outcome| !outcome.gross() && outcome.truth_sigma <= TRUTH_SIGMA_MAX)
        .collect();
    let mut errors: Vec<f64> = judged.iter().filter_map(|outcome| Some(outcome.cents?.abs())).collect();
    let covered = judged.iter().filter(|outcome| {
        // The truth is uncertain, too.
        let sigma = outcome.sigma.unwrap_or(0.0).hypot(outcome.truth_sigma);
        outcome.cents.is_some_and(|cents| cents.abs() <= 2.0 * sigma)
    });
    let narrow: Vec<&&Outcome> = outcomes
        .iter()
        .filter(|outcome| !outcome.condition.starts_with(WIDE))
        .collect();
    let share = |test: &dyn Fn(&Outcome) -> bool| {
        (!narrow.is_empty()).then(|| percent(narrow.iter().filter(|outcome| test(outcome)).count(), narrow.len()))
    };
    let mut lock3: Vec<f64> = outcomes.iter().filter_map(|outcome| outcome.lock3_ms).collect();
    let mut lock1: Vec<f64> = outcomes.iter().filter_map(|outcome| outcome.lock1_ms).collect();
    Row {
        condition: name.to_owned(),
        files,
        onset_missed: count(&|outcome| outcome.onset_error_ms.is_none()),
        gross_percent: percent(count(&|outcome| outcome.gross()), files),
        silent_gross_percent: percent(
            count(&|outcome| !outcome.unsure && outcome.cents.is_some_and(|cents| cents.abs() > GROSS_CENTS)),
            files,
        ),
        identified_percent: share(&|outcome| outcome.string == Some(outcome.true_string)),
        nearest_percent: share(&|outcome| outcome.nearest_is_right),
        covered_percent: percent(covered.count(), judged.len()),
        median_cents: quantile(&mut errors, 0.5),
        p95_cents: quantile(&mut errors, 0.95),
        unsure_percent: percent(count(&|outcome| outcome.unsure), files),
        extra_readings: outcomes.iter().map(|outcome| outcome.readings.saturating_sub(1)).sum(),
        lock3_percent: percent(lock3.len(), files),
        lock3_ms: quantile(&mut lock3, 0.5),
        lock1_percent: percent(lock1.len(), files),
        lock1_ms: quantile(&mut lock1, 0.5),
    }
}

fn print_table(rows: &[Row]) {
    report(
        "condition  files  onset   gross  silent  identified  nearest  median    95 %  within  unsure  extra  \
         lock 3 cents     lock 1 cent",
    );
    report(
        "                 missed    %      %         %          %      cents   cents  2 sigma    %             \
         %      ms        %      ms",
    );
    for row in rows {
        let share = |share: Option<f64>| share.map_or("-".to_owned(), |share| format!("{share:.1}"));
        report(&format!(
            "{:9} {:6} {:6} {:7.1} {:7.1} {:>11} {:>8} {:7.3} {:7.3} {:8.1} {:7.1} {:6} {:7.1} {:7.0} {:8.1} {:7.0}",
            row.condition,
            row.files,
            row.onset_missed,
            row.gross_percent,
            row.silent_gross_percent,
            share(row.identified_percent),
            share(row.nearest_percent),
            row.median_cents,
            row.p95_cents,
            row.covered_percent,
            row.unsure_percent,
            row.extra_readings,
            row.lock3_percent,
            row.lock3_ms,
            row.lock1_percent,
            row.lock1_ms,
        ));
    }
}

/// Octave number of a string from the top of 47, as in scientific names: C-flat 1 and its octave are 1.
fn octave(string: u8) -> u8 {
    (47 - string) / 7 + 1
}

fn print_registers(outcomes: &[Outcome]) {
    for (name, octaves) in [("octaves 1-2", 1..=2), ("octaves 3-4", 3..=4), ("octaves 5-7", 5..=7)] {
        // Locks are judged where the string stands at least 20 dB above what surrounds it.
        let quiet = |outcome: &&Outcome| !["bed10", "bed3", "wide10"].contains(&outcome.condition.as_str());
        let some: Vec<&Outcome> = outcomes
            .iter()
            .filter(|o| octaves.contains(&octave(o.true_string)))
            .filter(quiet)
            .collect();
        if some.is_empty() {
            continue;
        }
        let row = row(name, &some);
        report(&format!(
            "{name} (20 dB and better): median {:.3}, 95 % {:.3} cents; within 3 cents {:.1} % after {:.0} ms, within 1 cent \
             {:.1} % after {:.0} ms",
            row.median_cents, row.p95_cents, row.lock3_percent, row.lock3_ms, row.lock1_percent, row.lock1_ms
        ));
    }
}

fn print_outcome(outcome: &Outcome) {
    let number =
        |value: Option<f64>, decimals: usize| value.map_or("-".to_owned(), |value| format!("{value:.decimals$}"));
    report(&format!(
        "{} {:8} {:2}->{:2} {:9.3} Hz  error {:>9} sigma {:>6} (truth {:.2}) glide {:>6} B {:>8} onset {:>5} ms  lock {:>5} \
         {:>5} n {} {}{}",
        outcome.file,
        outcome.condition,
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
        outcome.readings,
        outcome.why,
        if outcome.gross() { " GROSS" } else { "" },
    ));
}
