//! The tables of hearing: by condition, register and raw recording, beside what general-purpose estimators do.

use std::collections::BTreeMap;

use serde::Serialize;

use super::outcome::Outcome;
use super::peers::{PEERS, PEERS_FROM};
use crate::report;
use crate::statistics::{percent, quantile};

/// Strings are judged as identified only in the sets whose offsets leave pitch a say, within ±60 cents.
const WIDE: &str = "wide";
/// Truths less certain than this, cents, say nothing about errors.
const TRUTH_SIGMA_MAX: f64 = 0.8;
/// Conditions in which what surrounds the string is less than 20 dB below it; locks are judged in the others.
const LOUD: [&str; 3] = ["bed10", "bed3", "wide10"];

/// A raw recording has an own error only if it was heard this often.
const OWN_FILES: usize = 3;

/// A line of a table. Shares are in percent.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Row {
    pub(super) name: String,
    files: usize,
    onset_missed: usize,
    gross: f64,
    pub(super) silent_gross: f64,
    /// Strings named rightly, and what the true frequency's nearest target would score.
    identified: Option<f64>,
    nearest: Option<f64>,
    /// Errors in cents where the string is right and the truth known.
    pub(super) median_cents: f64,
    pub(super) p95_cents: f64,
    /// The same after the median error of each raw recording is taken away; NaN when nothing is known of raw recordings.
    pub(super) own_median_cents: f64,
    pub(super) own_p95_cents: f64,
    /// How many truths lie within one and two standard deviations.
    within_1_sigma: f64,
    within_2_sigma: f64,
    pub(super) unsure: f64,
    extra_readings: usize,
    extra_settled: usize,
    lock3: f64,
    lock3_ms: f64,
    lock1: f64,
    lock1_ms: f64,
}

/// One table: what its rows are, and the rows.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Table {
    by: &'static str,
    pub(super) rows: Vec<Row>,
}

/// Octave number of a string from the top of 47, as in scientific names: C-flat 1 and its octave are 1.
pub(super) fn octave(string: u8) -> u8 {
    (47 - string.min(47)) / 7 + 1
}

fn register(outcome: &Outcome) -> &'static str {
    match octave(outcome.true_string) {
        0..=2 => "octaves 1-2",
        3..=4 => "octaves 3-4",
        _ => "octaves 5-7",
    }
}

/// All tables of these outcomes.
pub(super) fn tabulate(outcomes: &[Outcome]) -> Vec<Table> {
    let own = own_errors(outcomes);
    let all: Vec<&Outcome> = outcomes.iter().collect();
    let quiet: Vec<&Outcome> = all
        .iter()
        .copied()
        .filter(|o| !LOUD.contains(&o.condition.as_str()))
        .collect();
    let mut conditions = by("condition", &all, &own, |o| o.condition.clone());
    conditions.rows.push(row("all", &all, &own));
    vec![
        conditions,
        by("register, 20 dB and better", &quiet, &own, |o| register(o).to_owned()),
        by("condition and register", &all, &own, |o| {
            format!("{} {}", o.condition, &register(o)[8..])
        }),
        by("raw recording", &all, &own, |o| o.raw.clone()),
    ]
}

/// The table of what was heard with order and last offsets told, if anything was.
pub(super) fn tabulate_told(outcomes: &[Outcome]) -> Option<Table> {
    let all: Vec<&Outcome> = outcomes.iter().collect();
    let own = own_errors(outcomes);
    (!all.is_empty()).then(|| {
        by("condition, order and last offsets told", &all, &own, |o| {
            o.condition.clone()
        })
    })
}

fn by(
    name: &'static str,
    outcomes: &[&Outcome],
    own: &BTreeMap<String, f64>,
    key: impl Fn(&Outcome) -> String,
) -> Table {
    let mut groups: BTreeMap<String, Vec<&Outcome>> = BTreeMap::new();
    for outcome in outcomes {
        groups.entry(key(outcome)).or_default().push(outcome);
    }
    let rows = groups.iter().map(|(name, outcomes)| row(name, outcomes, own)).collect();
    Table { by: name, rows }
}

/// The median error of each raw recording, over all its files that are not grossly wrong.
fn own_errors(outcomes: &[Outcome]) -> BTreeMap<String, f64> {
    let mut errors: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for outcome in outcomes.iter().filter(|outcome| !outcome.gross()) {
        errors.entry(outcome.raw.clone()).or_default().extend(outcome.cents);
    }
    errors
        .into_iter()
        .filter(|(_, errors)| errors.len() >= OWN_FILES)
        .map(|(raw, mut errors)| (raw, quantile(&mut errors, 0.5)))
        .collect()
}

fn row(name: &str, outcomes: &[&Outcome], own: &BTreeMap<String, f64>) -> Row {
    let files = outcomes.len();
    let share = |test: &dyn Fn(&Outcome) -> bool| percent(outcomes.iter().filter(|o| test(o)).count(), files);
    let judged: Vec<&&Outcome> = outcomes
        .iter()
        .filter(|o| !o.gross() && o.truth_sigma <= TRUTH_SIGMA_MAX)
        .collect();
    let mut errors: Vec<f64> = judged.iter().filter_map(|o| Some(o.cents?.abs())).collect();
    let own_error = |o: &&&Outcome| Some((o.cents? - own.get(&o.raw)?).abs());
    let mut own_errors: Vec<f64> = judged.iter().filter_map(own_error).collect();
    let within = |sigmas: f64| {
        let within = |o: &&&&Outcome| {
            // The truth is uncertain, too.
            let sigma = o.sigma.unwrap_or(0.0).hypot(o.truth_sigma);
            o.cents.is_some_and(|cents| cents.abs() <= sigmas * sigma)
        };
        percent(judged.iter().filter(within).count(), judged.len())
    };
    let narrow: Vec<&&Outcome> = outcomes.iter().filter(|o| !o.condition.starts_with(WIDE)).collect();
    let of_narrow = |test: &dyn Fn(&Outcome) -> bool| {
        (!narrow.is_empty()).then(|| percent(narrow.iter().filter(|o| test(o)).count(), narrow.len()))
    };
    let mut lock3: Vec<f64> = outcomes.iter().filter_map(|o| o.lock3_ms).collect();
    let mut lock1: Vec<f64> = outcomes.iter().filter_map(|o| o.lock1_ms).collect();
    let extra = || outcomes.iter().flat_map(|o| &o.extra);
    Row {
        name: name.to_owned(),
        files,
        onset_missed: outcomes.iter().filter(|o| o.onset_error_ms.is_none()).count(),
        gross: share(&Outcome::gross),
        silent_gross: share(&Outcome::silent_gross),
        identified: of_narrow(&Outcome::identified),
        nearest: of_narrow(&|o| o.nearest_is_right),
        median_cents: quantile(&mut errors, 0.5),
        p95_cents: quantile(&mut errors, 0.95),
        own_median_cents: quantile(&mut own_errors, 0.5),
        own_p95_cents: quantile(&mut own_errors, 0.95),
        within_1_sigma: within(1.0),
        within_2_sigma: within(2.0),
        unsure: share(&|o| o.unsure),
        extra_readings: extra().count(),
        extra_settled: extra().filter(|extra| extra.settled).count(),
        lock3: percent(lock3.len(), files),
        lock3_ms: quantile(&mut lock3, 0.5),
        lock1: percent(lock1.len(), files),
        lock1_ms: quantile(&mut lock1, 0.5),
    }
}

/// Prints one table.
pub(super) fn print_table(table: &Table) {
    report(&format!("by {}", table.by));
    report(
        "                       onset  gross silent   string nearest  error/cents   own removed  within sigma  unsure  \
         extra   3 cents    1 cent",
    );
    report(
        "                files missed   %      %        %       %     median  95 %  median  95 %    1     2      %     \
         (set)   %    ms    %    ms",
    );
    for row in &table.rows {
        let share = |share: Option<f64>| share.map_or("-".to_owned(), |share| format!("{share:.1}"));
        report(&format!(
            "{:15} {:5} {:5} {:6.1} {:6.1} {:>8} {:>7} {:8.3} {:6.3} {:6.3} {:6.3} {:5.1} {:5.1} {:6.1} {:5} {:>3} {:6.1} {:4.0} \
             {:5.1} {:4.0}",
            row.name,
            row.files,
            row.onset_missed,
            row.gross,
            row.silent_gross,
            share(row.identified),
            share(row.nearest),
            row.median_cents,
            row.p95_cents,
            row.own_median_cents,
            row.own_p95_cents,
            row.within_1_sigma,
            row.within_2_sigma,
            row.unsure,
            row.extra_readings,
            format!("({})", row.extra_settled),
            row.lock3,
            row.lock3_ms,
            row.lock1,
            row.lock1_ms,
        ));
    }
}

/// Prints what general-purpose estimators do with recordings of the same conditions.
pub(super) fn print_peers() {
    report(PEERS_FROM);
    report("                              gross  string  median   95 %   3 cents    1 cent   cost");
    for peer in PEERS {
        report(&format!(
            "{:28} {:6.1} {:7.1} {:7.2} {:6.1} {:5.1} {:5.0} {:5.1} {:4.0} {:6.1}",
            peer.name,
            peer.gross,
            peer.identified,
            peer.median_cents,
            peer.p95_cents,
            peer.lock3,
            peer.lock3_ms,
            peer.lock1,
            peer.lock1_ms,
            peer.cost,
        ));
    }
}
