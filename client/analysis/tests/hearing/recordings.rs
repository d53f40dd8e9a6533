//! Recorded strings of known truth: the bar that the listener must clear.

use std::collections::BTreeMap;
use std::path::Path;

use consort_analysis::{Context, Doubt, Reading};

use crate::listening::{hear, hertz, readings};

/// One line of the table of recordings.
struct Recording {
    file: String,
    condition: String,
    /// Number of the string from the top of 47.
    string: u8,
    a4: f64,
    hz: f64,
    pluck_s: f64,
    truth_sigma: f64,
}

fn folder() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/recordings"))
}

fn manifest() -> Vec<Recording> {
    let text = std::fs::read_to_string(folder().join("manifest.csv")).expect("the table of recordings");
    let mut lines = text.lines();
    let header: BTreeMap<&str, usize> = lines.next().expect("a header").split(',').zip(0..).collect();
    lines
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let cell = |name: &str| cells[header[name]];
            let number = |name: &str| cell(name).parse::<f64>().expect("a number");
            Recording {
                file: cell("file").to_owned(),
                condition: cell("cond").to_owned(),
                string: 48 - number("string_index") as u8,
                a4: number("a4"),
                hz: number("hz"),
                pluck_s: number("pluck_s"),
                truth_sigma: number("truth_sigma_cents"),
            }
        })
        .collect()
}

/// From here on the pitch of a string is that of its first partial.
const MIDDLE_C_HZ: f64 = 255.0;

/// The reading of a recording's pluck, if its onset was found within 50 ms.
fn reading_of(recording: &Recording) -> Option<Reading> {
    answer_to(recording).map(|(reading, _)| reading)
}

/// The same, with what speaks against it.
fn answer_to(recording: &Recording) -> Option<(Reading, Option<Doubt>)> {
    let mut reader = claxon::FlacReader::open(folder().join(&recording.file)).expect("a recording");
    let rate = reader.streaminfo().sample_rate;
    let sound: Vec<f32> = reader
        .samples()
        .map(|sample| sample.expect("a sample") as f32 / 32_768.0)
        .collect();
    let heard = hear(&sound, rate, &Context::concert_harp(hertz(recording.a4)), 480);
    let distance = |reading: &Reading| (reading.onset.0 as f64 / f64::from(rate) - recording.pluck_s).abs();
    let all = readings(&heard).into_iter();
    all.filter(|(reading, _)| distance(reading) < 0.05)
        .min_by(|(a, _), (b, _)| distance(a).total_cmp(&distance(b)))
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

#[test]
fn clean_strings_are_found_told_apart_and_measured() {
    let mut right = 0;
    let mut errors = Vec::new();
    let mut covered = 0;
    let clean: Vec<Recording> = manifest()
        .into_iter()
        .filter(|recording| recording.condition == "clean")
        .collect();
    for recording in &clean {
        let reading = reading_of(recording).unwrap_or_else(|| panic!("no onset in {}", recording.file));
        right += usize::from(reading.string == recording.string);
        let error = reading.hz.cents_above(hertz(recording.hz)).0;
        errors.push(error.abs());
        covered += usize::from(error.abs() <= 2.0 * reading.sigma.0.hypot(recording.truth_sigma));
    }
    assert_eq!(clean.len(), 46);
    let share = right as f64 / clean.len() as f64;
    assert!(share >= 0.95, "{right} of {} strings identified", clean.len());
    assert!(errors.iter().all(|error| *error < 10.0), "a gross error: {errors:?}");
    let median = median(errors);
    assert!(median <= 1.0, "median error {median} cents");
    // Two standard deviations hold 95 of 100; a few more may fall out among 46.
    assert!(covered >= 40, "sigma holds in {covered} of {}", clean.len());
}

/// Another harp than the one by whose recordings the listener was made: its first partials lie up to 15 cents off the law of the
/// others, and hard plucks of it fall by ten cents and more.
#[test]
fn strings_of_another_harp_are_found_and_relied_on() {
    let lever: Vec<Recording> = manifest()
        .into_iter()
        .filter(|recording| recording.condition == "lever")
        .collect();
    assert_eq!(lever.len(), 22);
    let (mut high, mut low) = (Vec::new(), Vec::new());
    for recording in &lever {
        let (reading, doubt) = answer_to(recording).unwrap_or_else(|| panic!("no onset in {}", recording.file));
        assert_eq!(doubt, None, "{}", recording.file);
        let error = reading.hz.cents_above(hertz(recording.hz)).0.abs();
        let errors = if recording.hz > MIDDLE_C_HZ {
            &mut high
        } else {
            &mut low
        };
        errors.push(error);
    }
    // From middle C up the pitch is that of the first partial; below, the partials of such a harp agree to a few cents only.
    assert!(high.iter().all(|error| *error < 2.0), "{high:?}");
    assert!(low.iter().all(|error| *error < 5.0), "{low:?}");
    let median = median(high);
    assert!(median < 0.2, "{median}");
}

/// Noise, ringing strings, hum, weak pickups: largest number of strings missed or misread by more than 50 cents.
#[test]
#[rustfmt::skip]
fn disturbed_strings_are_found_too() {
    for (condition, misses, cents) in [
        // set        gross  median/cents
        ("ring",        0,     1.0),
        ("weak",        0,     1.0),
        ("hum",         0,     1.0),
        ("contact",     0,     1.0),
        ("wide",        0,     1.0),
        ("bed20",       0,     1.0),
        ("bed10",       0,     1.0),
        ("wide10",      0,     1.0),
        ("bed3",        2,     2.0),
        ("harp2",       2,     1.0),
    ] {
        let set: Vec<Recording> = manifest().into_iter().filter(|recording| recording.condition == condition).collect();
        let error = |recording: &Recording| {
            reading_of(recording).map_or(1e3, |reading| reading.hz.cents_above(hertz(recording.hz)).0.abs())
        };
        let errors: Vec<f64> = set.iter().map(error).collect();
        assert!(errors.len() >= 6, "{condition}");
        let gross = errors.iter().filter(|error| **error > 50.0).count();
        assert!(gross <= misses, "{condition}: {gross} gross errors in {errors:?}");
        let median = median(errors);
        assert!(median <= cents, "{condition}: median {median} cents");
    }
}

/// Beside an estimator that knows nothing of harps: pYIN (M. Mauch, S. Dixon, ICASSP 2014) as librosa has it, told the moment
/// of the pluck; `reference/pyin.py` made the table.
///
/// It goes by periods, and so reads low strings sharp by some cents, since their partials are. Readings have to lie near its
/// own, which know nothing of this project, and nearer to the truth.
#[test]
fn readings_lie_near_those_of_a_general_estimator_and_nearer_to_the_truth() {
    let text = std::fs::read_to_string(folder().join("reference/pyin.csv")).expect("the estimator's table");
    let estimated: BTreeMap<&str, f64> = text
        .lines()
        .skip(1)
        .filter_map(|line| line.split_once(','))
        .map(|(file, hz)| (file, hz.parse().expect("hertz")))
        .collect();
    let (mut nearer, mut ours, mut theirs) = (0, Vec::new(), Vec::new());
    for recording in manifest().iter().filter(|recording| recording.condition == "clean") {
        let reading = reading_of(recording).unwrap_or_else(|| panic!("no onset in {}", recording.file));
        let (truth, estimate) = (hertz(recording.hz), hertz(estimated[recording.file.as_str()]));
        let apart = reading.hz.cents_above(estimate).0;
        assert!(apart.abs() < 10.0, "{}: {apart} cents apart", recording.file);
        let errors = [reading.hz, estimate].map(|hz| hz.cents_above(truth).0.abs());
        nearer += usize::from(errors[0] < errors[1]);
        ours.push(errors[0]);
        theirs.push(errors[1]);
    }
    assert_eq!(ours.len(), 46);
    assert!(nearer >= 40, "nearer to the truth in {nearer} of 46");
    let (ours, theirs) = (median(ours), median(theirs));
    assert!(5.0 * ours < theirs, "medians {ours} and {theirs} cents");
}
