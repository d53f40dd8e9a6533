//! What the board said at the end, beside the truth.

use consort_proto::{Cents, ReferencePitch, Tuning, harp_file};
use serde_json::Value;

use super::parts::Part;

/// Every string that was played.
#[derive(Debug)]
pub(crate) struct Outcome {
    rows: Vec<Row>,
}

#[derive(Debug)]
struct Row {
    player: &'static str,
    note: String,
    truth: Cents,
    /// What the coordinator has; `None` when no sure reading reached it.
    heard: Option<Cents>,
    standing: String,
}

/// Beyond this a string was heard wrongly: twice the tolerance of a middle string.
const WRONG_FROM: Cents = Cents(4.0);
/// Of the strings played, so many in a hundred must have been heard for sure.
const HEARD_AT_LEAST_PERCENT: usize = 80;

impl Outcome {
    /// Compares the coordinator's status with the truth of what was played, at the pitch in force.
    pub(crate) fn compare(status: &Value, parts: &[Part]) -> Result<Self, String> {
        let pitch = status["pitch_hz"].as_f64().ok_or("the status has no pitch")?;
        let a4 = ReferencePitch::new(pitch).map_err(|why| why.to_string())?;
        let tuning = Tuning {
            a4,
            ..Tuning::default()
        };
        let harp = harp_file::preset("pedal-47").ok_or("there is no pedal-47")?;
        let mut rows = Vec::new();
        for part in parts {
            let stations = status["stations"].as_array().ok_or("the status has no stations")?;
            let station = stations.iter().find(|station| station["name"] == part.player);
            let station = station.ok_or_else(|| format!("{} is not on the board", part.player))?;
            for recorded in &part.strings {
                let string = harp.string(recorded.string).ok_or("a recording of no string")?;
                let shown = &station["strings"][recorded.string.index()];
                rows.push(Row {
                    player: part.player,
                    note: string.open.to_string(),
                    truth: recorded.true_hz.cents_above(tuning.open_target(string)),
                    heard: shown["cents"].as_f64().map(Cents),
                    standing: shown["standing"].as_str().unwrap_or_default().to_owned(),
                });
            }
        }
        Ok(Self { rows })
    }

    /// Whether nothing was heard wrongly, and enough was heard.
    pub(crate) fn is_right(&self) -> bool {
        let heard = self.rows.iter().filter(|row| row.heard.is_some()).count();
        self.rows.iter().all(|row| !row.is_wrong()) && heard * 100 >= self.rows.len() * HEARD_AT_LEAST_PERCENT
    }

    /// The table, line by line.
    pub(crate) fn table(&self) -> Vec<String> {
        let mut lines = vec![format!(
            "{:<8} {:<5} {:>9} {:>9} {:>6}  board",
            "player", "note", "truth", "heard", "apart"
        )];
        for row in &self.rows {
            let apart = row.apart().map_or_else(String::new, |apart| format!("{:+.2}", apart.0));
            let heard = row
                .heard
                .map_or_else(|| "not sure".to_owned(), |heard| format!("{:+.2}", heard.0));
            let wrong = if row.is_wrong() { "  WRONG" } else { "" };
            lines.push(format!(
                "{:<8} {:<5} {:>9} {heard:>9} {apart:>6}  {}{wrong}",
                row.player,
                row.note,
                format!("{:+.2}", row.truth.0),
                row.standing,
            ));
        }
        let mut apart: Vec<f64> = self
            .rows
            .iter()
            .filter_map(Row::apart)
            .map(|apart| apart.0.abs())
            .collect();
        apart.sort_by(f64::total_cmp);
        let wrong = self.rows.iter().filter(|row| row.is_wrong()).count();
        lines.push(format!(
            "{} strings played, {} heard for sure, {wrong} wrong; heard and true lie {:.2} cents apart in the median, {:.2} at most.",
            self.rows.len(),
            apart.len(),
            apart.get(apart.len() / 2).copied().unwrap_or_default(),
            apart.last().copied().unwrap_or_default(),
        ));
        lines
    }
}

impl Row {
    fn apart(&self) -> Option<Cents> {
        self.heard.map(|heard| heard - self.truth)
    }

    fn is_wrong(&self) -> bool {
        self.apart().is_some_and(|apart| !apart.is_within(WRONG_FROM))
    }
}
