//! `targets`: the pitch that each open string of a harp is tuned to.

use consort_proto::{Harp, Tuning};
use serde::Serialize;

use crate::pluck::{json, rounded};

/// One string's target.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TargetRow {
    /// Number from 1 at the top.
    pub string: u8,
    /// The harpist's name, as in `4C`.
    pub harp_name: String,
    /// The note of the open string, as in `Cb4`.
    pub note: String,
    /// The number on the string's packet.
    pub packet: String,
    /// The note that the string sounds in the setting served.
    pub playing_note: String,
    /// The pitch to which the open string is tuned.
    pub target_hz: f64,
    /// How far that lies above the open note in equal temperament from the same A.
    pub cents_from_equal: f64,
}

/// How a table is written.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Form {
    /// For people.
    Table,
    /// Comma-separated values with a head.
    Csv,
    /// One JSON object per line.
    Json,
}

/// The targets of `harp` under `tuning`, from the top.
pub fn rows(harp: &Harp, tuning: &Tuning) -> Vec<TargetRow> {
    harp.numbered()
        .map(|(number, string)| {
            let target = tuning.open_target(string);
            let equal = tuning.a4.hz().raised_by(string.open.cents_above_a4());
            TargetRow {
                string: number.get(),
                harp_name: string.open.harp_name(),
                note: string.open.to_string(),
                packet: string.open.packet_number(),
                playing_note: tuning.playing_note(string).to_string(),
                target_hz: rounded(target.get(), 4),
                cents_from_equal: rounded(target.cents_above(equal).0, 3),
            }
        })
        .collect()
}

/// The lines of the table.
pub fn lines(rows: &[TargetRow], form: Form) -> Vec<String> {
    let head = match form {
        Form::Table => Some("string  name  note  packet  plays  target/Hz  cents from equal"),
        Form::Csv => Some("string,harp_name,note,packet,playing_note,target_hz,cents_from_equal"),
        Form::Json => None,
    };
    head.map(str::to_owned)
        .into_iter()
        .chain(rows.iter().map(|row| row.line(form)))
        .collect()
}

impl TargetRow {
    fn line(&self, form: Form) -> String {
        let Self {
            string,
            harp_name,
            note,
            packet,
            playing_note,
            target_hz,
            cents_from_equal,
        } = self;
        match form {
            Form::Table => format!(
                "{string:>6}  {harp_name:<4}  {note:<4}  {packet:>6}  {playing_note:<5}  {target_hz:>9.3}  \
                 {cents_from_equal:>+16.2}"
            ),
            Form::Csv => {
                format!("{string},{harp_name},{note},{packet},{playing_note},{target_hz:.4},{cents_from_equal:.3}")
            }
            Form::Json => json(self),
        }
    }
}
