//! The board: how soon a reading is on it, what its script costs a browser, and what its viewers cost the coordinator.

mod arrival;
mod pictures;

use std::path::Path;

use crate::figures::Figures;
use crate::report;
use crate::script::{self, Page};
use crate::statistics::quantile;

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str =
    "a reading on its way to the board, the page's size and script, and what viewers cost [--json FILE]";

/// Goals: a settled reading is on the board, 99 of 100; script of one picture of 60 and of 1,000 harps; the page; viewers.
const GOAL_ARRIVES_MS: f64 = 500.0;
const GOAL_SCRIPT_MS: [(usize, f64); 2] = [(60, 16.0), (1_000, 100.0)];
const GOAL_PAGE_KB: f64 = 150.0;
const GOAL_VIEWERS_PERCENT: f64 = 5.0;

/// Pictures that are drawn.
const TURNS: usize = 120;

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut figures = Figures::new("board", words)?;
    report("the page and its script");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../proto/pages/page");
    let files = [
        "board.html",
        "board.css",
        "board.js",
        "rows.js",
        "beside.js",
        "section.js",
        "page.css",
        "follow.js",
        "strings.js",
    ];
    let mut bytes = 0;
    for file in files {
        bytes += std::fs::metadata(folder.join(file))
            .map_err(|why| format!("{file}: {why}"))?
            .len();
    }
    figures.at_most(GOAL_PAGE_KB, "the page with all its files", bytes as f64 / 1e3, "kB");
    let series = GOAL_SCRIPT_MS.map(|(harps, _)| (harps.to_string(), pictures::pictures(harps).to_vec()));
    let told = script::times(Page::Board, TURNS, &series)?;
    for ((harps, goal), times) in GOAL_SCRIPT_MS.into_iter().zip(told) {
        // The first picture makes the page, the others change it.
        let (first, others) = times.split_first().ok_or("the browser tells no times")?;
        let mut others = others.to_vec();
        let what = format!("script of {harps} harps");
        figures.tell(format!("{what}: the first picture"), *first, "ms");
        figures.tell(format!("{what}: a change, median"), quantile(&mut others, 0.5), "ms");
        figures.at_most(
            goal,
            format!("{what}: a change, 99 of 100"),
            quantile(&mut others, 0.99),
            "ms",
        );
    }
    let arrivals = arrival::measure()?;
    report(&format!(
        "{} settled readings of {} stations that count as they settle, from the station's line to a viewer of the board",
        arrivals.delays_ms.len(),
        arrival::STATIONS
    ));
    let mut delays = arrivals.delays_ms;
    figures.tell("on the board, median", quantile(&mut delays, 0.5), "ms");
    figures.at_most(
        GOAL_ARRIVES_MS,
        "on the board, 99 of 100",
        quantile(&mut delays, 0.99),
        "ms",
    );
    figures.tell("readings that did not arrive", arrivals.lost as f64, "");
    figures.tell("second readings that the station let wait", arrivals.left as f64, "");
    figures.tell(
        "the coordinator with one viewer",
        arrivals.one_viewer_percent,
        "% of a core",
    );
    figures.at_most(
        GOAL_VIEWERS_PERCENT,
        format!("{} viewers more", arrival::VIEWERS - 1),
        arrivals.all_viewers_percent - arrivals.one_viewer_percent,
        "% of a core",
    );
    figures.close()
}
