//! Ten years of daily tunings on disk: how long the record takes to open, and to give one string's history.

use std::path::Path;
use std::time::Instant;

use consort_proto::{Cents, Reading, StringNumber, Tolerance, Tuning, harp_file};
use consort_record::{Date, Heard, Moment, Partial, Place, Sheet, Timbre};
use consort_record_store::Store;
use consort_tests::process::Folder;

use crate::figures::Figures;
use crate::report;
use crate::statistics::quantile;

/// Daily tunings of ten years, and readings of each string in one: 1.7 million in all.
const TUNINGS: i32 = 3_650;
const PLUCKS: i64 = 10;
/// Goals.
const GOAL_OPEN_MS: f64 = 500.0;
const GOAL_HISTORY_MS: f64 = 50.0;

/// Writes the record, then opens it and asks for histories.
pub(super) fn run(scale: f64, figures: &mut Figures) -> Result<(), String> {
    let said = |why: consort_record_store::RecordError| why.to_string();
    let folder = Folder::new("measure-record");
    let path = folder.path().join("record.sqlite");
    let tunings = ((f64::from(TUNINGS) * scale.min(1.0)) as i32).max(10);
    let harp = harp_file::preset("pedal-47").ok_or("no such harp")?;
    let begun = Instant::now();
    let readings = fill(&path, harp, tunings).map_err(said)?;
    let wrote_s = begun.elapsed().as_secs_f64();
    let size_mb = std::fs::metadata(&path).map_or(0.0, |file| file.len() as f64 / 1e6);
    let (mut opens, mut histories, mut looks) = (Vec::new(), Vec::new(), Vec::new());
    for number in 1..=47 {
        let begun = Instant::now();
        let store = Store::open(&path).map_err(said)?;
        let kept = store.harp(None).map_err(said)?;
        opens.push(begun.elapsed().as_secs_f64());
        let string = StringNumber::new(number).map_err(|why| why.to_string())?;
        let begun = Instant::now();
        let history = store.history(kept.id, string).map_err(said)?;
        histories.push(begun.elapsed().as_secs_f64() * 1_000.0);
        if history.len() != readings / 47 {
            return Err(format!("string {number} has {} readings", history.len()));
        }
        if number % 10 == 1 {
            let begun = Instant::now();
            let life = store.life(&kept, Some(180)).map_err(said)?;
            let chronicle = consort_record::Chronicle::of(&life);
            let today = Date::from_days(FIRST_DAY + tunings);
            let _ = consort_record::look(&chronicle, &life, today);
            looks.push(begun.elapsed().as_secs_f64());
        }
    }
    report(&format!(
        "{readings} readings of {tunings} tunings, {size_mb:.0} MB, written in {wrote_s:.0} s, a transaction for each tuning"
    ));
    figures.tell("open, median", 1_000.0 * quantile(&mut opens, 0.5), "ms");
    figures.at_most(GOAL_OPEN_MS, "open, most", 1_000.0 * quantile(&mut opens, 1.0), "ms");
    figures.tell("one string's history, median", quantile(&mut histories, 0.5), "ms");
    figures.at_most(
        GOAL_HISTORY_MS,
        "one string's history, most",
        quantile(&mut histories, 1.0),
        "ms",
    );
    figures.tell(
        "findings of half a year, median",
        1_000.0 * quantile(&mut looks, 0.5),
        "ms",
    );
    Ok(())
}

/// The day of the first tuning.
const FIRST_DAY: i32 = 16_000;

fn fill(path: &Path, harp: consort_proto::Harp, tunings: i32) -> Result<usize, consort_record_store::RecordError> {
    let mut store = Store::open(path)?;
    let id = store.add_harp("measure", &Sheet::of(harp.clone()))?;
    // What a station writes beside the pitch makes most of a row.
    let partials = (2..=8).map(|number| Partial {
        number,
        above: Cents(0.125 * f64::from(number)),
        sigma: Cents(0.25),
    });
    let timbre = Timbre {
        partials: partials.collect(),
        ..Timbre::default()
    };
    let mut count = 0;
    for day in 0..tunings {
        let begun = Date::from_days(FIRST_DAY + day).noon();
        let tuning = store.begin_tuning(id, begun, &Place::default(), &Tuning::default(), &Tolerance::default())?;
        let mut heard = Vec::new();
        for (number, string) in harp.numbered() {
            let open = Tuning::default().open_target(string);
            for pluck in 0..PLUCKS {
                let at_unix_ms = (begun.0 + i64::from(number.get()) * 15 + pluck) * 1_000;
                let cents = Cents(f64::from((day * 31 + i32::from(number.get()) * 7) % 17) / 4.0 - 2.0);
                let Ok(reading) = Reading::new(number, open.raised_by(cents), Cents(0.2)) else {
                    continue;
                };
                let at = Moment(at_unix_ms / 1_000);
                heard.push((
                    at_unix_ms,
                    Heard {
                        at,
                        position: 0,
                        reading,
                        timbre: Some(timbre.clone()),
                    },
                ));
            }
        }
        store.hear_all(id, tuning, &heard)?;
        count += heard.len();
    }
    Ok(count)
}
