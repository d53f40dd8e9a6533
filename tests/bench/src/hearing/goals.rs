//! What the figures of hearing are meant to be, and which of them are missed.

use serde::Serialize;

use super::outcome::Outcome;
use super::tables::{Row, Table};
use super::told::TOLD;
use crate::statistics::percent;

/// The most that a condition may show: shares in percent, errors in cents.
struct Goal {
    condition: &'static str,
    silent_gross: f64,
    unsure: f64,
    /// Median and 95 % error.
    cents: (f64, f64),
    /// The same after the median error of each raw recording is taken away.
    own_cents: Option<(f64, f64)>,
}

#[rustfmt::skip]
const GOALS: [Goal; 12] = [
    goal("clean",   0.0,  2.0, (0.15, 0.6), Some((0.05, 0.3))),
    goal("lever",   0.0,  2.0, (0.15, 0.6), None),
    goal("weak",    0.0,  2.0, (0.15, 0.6), Some((0.05, 0.3))),
    goal("hum",     0.5,  3.0, (0.15, 0.6), Some((0.08, 0.4))),
    goal("ring",    0.0,  2.0, (0.20, 1.0), Some((0.10, 0.6))),
    goal("bed20",   0.0,  3.0, (0.25, 1.0), Some((0.15, 0.8))),
    goal("contact", 0.0,  2.0, (0.25, 1.0), Some((0.15, 0.8))),
    goal("bed10",   0.5,  5.0, (0.40, 1.5), Some((0.30, 1.2))),
    goal("bed3",    1.0, 15.0, (0.80, 3.0), Some((0.70, 3.0))),
    goal("harp2",   2.0, 10.0, (0.20, 1.0), Some((0.15, 0.8))),
    goal("wide",    0.0,  5.0, (0.20, 0.8), None),
    goal("wide10",  1.0, 10.0, (0.50, 2.0), None),
];

const fn goal(
    condition: &'static str,
    silent_gross: f64,
    unsure: f64,
    cents: (f64, f64),
    own_cents: Option<(f64, f64)>,
) -> Goal {
    Goal {
        condition,
        silent_gross,
        unsure,
        cents,
        own_cents,
    }
}

/// A figure beside what it is meant to be at most.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(super) struct Compared {
    pub(super) condition: String,
    pub(super) figure: &'static str,
    pub(super) is: f64,
    pub(super) at_most: f64,
    pub(super) met: bool,
}

/// Every figure of the table by condition for which there is a goal.
pub(super) fn compare(by_condition: &Table) -> Vec<Compared> {
    let mut all = Vec::new();
    for row in &by_condition.rows {
        if let Some(goal) = GOALS.iter().find(|goal| goal.condition == row.name) {
            all.extend(figures(row, goal));
        }
    }
    all
}

/// How many strings that are up to 180 cents off may be named wrongly or not at all, percent, when order and last offsets
/// are told.
const LOST_WHEN_TOLD: f64 = 1.0;

/// What is meant to be of strings that are far off, once order and last offsets are told.
pub(super) fn compare_told(told: &[Outcome]) -> Vec<Compared> {
    let conditions = GOALS.iter().filter_map(|goal| {
        let condition = format!("{TOLD}{}", goal.condition);
        let of_it: Vec<&Outcome> = told.iter().filter(|outcome| outcome.condition == condition).collect();
        (!of_it.is_empty()).then_some((condition, of_it, goal.silent_gross))
    });
    let compared = conditions.flat_map(|(condition, of_it, silent_most)| {
        let share = |test: &dyn Fn(&Outcome) -> bool| percent(of_it.iter().filter(|o| test(o)).count(), of_it.len());
        let lost = share(&|outcome| !outcome.identified());
        let silent = share(&Outcome::silent_gross);
        [
            ("not identified, %", lost, LOST_WHEN_TOLD),
            ("silently wrong, %", silent, silent_most),
        ]
        .map(|(figure, is, at_most)| Compared {
            condition: condition.clone(),
            figure,
            is,
            at_most,
            met: is <= at_most,
        })
    });
    compared.collect()
}

fn figures(row: &Row, goal: &Goal) -> Vec<Compared> {
    let compared = |figure, is: f64, at_most: f64| Compared {
        condition: row.name.clone(),
        figure,
        is,
        at_most,
        met: is <= at_most,
    };
    let mut all = vec![
        compared("silently wrong, %", row.silent_gross, goal.silent_gross),
        compared("unsure, %", row.unsure, goal.unsure),
        compared("median error, cents", row.median_cents, goal.cents.0),
        compared("95 % error, cents", row.p95_cents, goal.cents.1),
    ];
    if let Some((median, most)) = goal.own_cents.filter(|_| !row.own_median_cents.is_nan()) {
        all.push(compared(
            "median error, own bias removed, cents",
            row.own_median_cents,
            median,
        ));
        all.push(compared("95 % error, own bias removed, cents", row.own_p95_cents, most));
    }
    all
}
