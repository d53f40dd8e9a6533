//! Lists as comma-separated values: readings, fittings, events, concerts, the room and the shelf, out and in.
//!
//! The first line names the columns and so tells which list it is; fields with a comma or a quote stand in quotes.
//! Empty fields are values that are not known.
//! What a spreadsheet has saved with semicolons between the fields, and then often with commas in its numbers, is read as
//! well.

mod row;
mod text;

use consort_proto::{StringNumber, Tolerance};
use consort_record::Date;

pub use text::line;

use crate::entries::{Entry, climate_in, put, removed};
use crate::error::{NotImported, RecordError};
use crate::harps::Kept;
use crate::readings::{begin, insert};
use crate::store::Store;
use crate::transfer::{Imported, has_climate};
use row::{Fields, Row, material_word, unknown_columns};
use text::{rows, separator};

/// A list that can be written and read.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum List {
    /// Every reading.
    Readings,
    /// Strings put on.
    Fittings,
    /// What was done to the harp.
    Events,
    /// Concerts.
    Concerts,
    /// Temperature and humidity.
    Climate,
    /// Strings in stock.
    Lengths,
}

impl List {
    /// All lists.
    pub const ALL: [Self; 6] = [
        Self::Readings,
        Self::Fittings,
        Self::Events,
        Self::Concerts,
        Self::Climate,
        Self::Lengths,
    ];

    /// The word that orders use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Readings => "readings",
            Self::Fittings => "fittings",
            Self::Events => "events",
            Self::Concerts => "concerts",
            Self::Climate => "climate",
            Self::Lengths => "lengths",
        }
    }

    /// The first line.
    pub const fn columns(self) -> &'static str {
        match self {
            Self::Readings => "tuning,place,a4_hz,temperament,setting,at_unix_ms,string,note,position,hz,sigma_cents",
            Self::Fittings => "string,on,material,gauge_mm,length",
            Self::Events => "on,deed,string,note",
            Self::Concerts => "on,name",
            Self::Climate => "at,temperature_c,humidity_percent",
            Self::Lengths => "name,bought,string,material,gauge_mm,yields",
        }
    }
}

/// Columns of numbers that may have a fraction.
const FIGURES: [&str; 6] = [
    "a4_hz",
    "hz",
    "sigma_cents",
    "gauge_mm",
    "temperature_c",
    "humidity_percent",
];

impl Store {
    /// `list` of `kept`, line by line, the columns' names first.
    pub fn export_csv(&self, kept: &Kept, list: List) -> Result<Vec<String>, RecordError> {
        let mut lines = vec![list.columns().to_owned()];
        let number = |figure: Option<f64>| figure.map_or_else(String::new, |figure| figure.to_string());
        if list == List::Readings {
            let form = self.export_harp(kept)?;
            for tuning in &form.tunings {
                for reading in &tuning.readings {
                    let note = StringNumber::new(u32::from(reading.string))
                        .ok()
                        .and_then(|string| kept.sheet.harp.string(string))
                        .map_or_else(String::new, |string| string.open.to_string());
                    lines.push(line(&[
                        &tuning.begun,
                        &tuning.place,
                        &tuning.a4_hz.to_string(),
                        &tuning.temperament,
                        &tuning.setting,
                        &reading.at_unix_ms.to_string(),
                        &reading.string.to_string(),
                        &note,
                        &reading.position.to_string(),
                        &reading.hz.to_string(),
                        &reading.sigma_cents.to_string(),
                    ]));
                }
            }
            return Ok(lines);
        }
        if list == List::Climate {
            lines.extend(self.climates(kept.id)?.iter().map(|climate| {
                line(&[
                    &climate.at.to_string(),
                    &number(climate.temperature_c),
                    &number(climate.humidity_percent),
                ])
            }));
            return Ok(lines);
        }
        for (entry, removed) in self.entries(kept.id)? {
            if removed {
                continue;
            }
            match (entry, list) {
                (Entry::Fitting(fitting), List::Fittings) => lines.push(line(&[
                    &fitting.string.to_string(),
                    &fitting.on.to_string(),
                    material_word(fitting.material),
                    &number(fitting.gauge_mm),
                    fitting.length.as_deref().unwrap_or_default(),
                ])),
                (Entry::Event(event), List::Events) => lines.push(line(&[
                    &event.on.to_string(),
                    event.deed.word(),
                    &event
                        .deed
                        .string()
                        .map_or_else(String::new, |string| string.to_string()),
                    &event.note,
                ])),
                (Entry::Concert(concert), List::Concerts) => {
                    lines.push(line(&[&concert.on.to_string(), &concert.name]));
                }
                (Entry::Length(length), List::Lengths) => lines.push(line(&[
                    &length.name,
                    &length.bought.to_string(),
                    &length.string.to_string(),
                    material_word(length.material),
                    &number(length.gauge_mm),
                    &length.yields.to_string(),
                ])),
                _ => {}
            }
        }
        Ok(lines)
    }

    /// Takes in the lines of any list, all of them or none; a second time changes nothing.
    pub fn import_csv(&mut self, kept: &Kept, text: &str, today: Date) -> Result<Imported, RecordError> {
        let separator = separator(text);
        let mut rows = rows(text, separator)?;
        let Some((_, first)) = rows.first() else {
            return Err(unknown_columns(&[]).into());
        };
        let header = first.join(",");
        let list = List::ALL
            .into_iter()
            .find(|list| list.columns() == header)
            .ok_or_else(|| unknown_columns(first))?;
        let names: Vec<&str> = list.columns().split(',').collect();
        if separator == ';' {
            for (_, fields) in &mut rows[1..] {
                let figures = fields.iter_mut().zip(&names).filter(|(_, name)| FIGURES.contains(name));
                figures.for_each(|(field, _)| *field = field.replace(',', "."));
            }
        }
        let mut read = Vec::new();
        for (number, fields) in &rows[1..] {
            if fields.len() != names.len() {
                return Err(NotImported::Shape {
                    line: *number,
                    found: fields.len(),
                    expected: names.len(),
                }
                .into());
            }
            read.push(
                Fields {
                    line: *number,
                    names: &names,
                    fields,
                }
                .row(list, kept, today)?,
            );
        }
        let mut imported = Imported::default();
        let transaction = self.change()?;
        for row in read {
            match row {
                Row::Entry(entry) => {
                    if removed(&transaction, kept.id, &entry)?.is_none() {
                        put(&transaction, kept.id, &entry, false)?;
                        imported.entries += 1;
                    }
                }
                Row::Climate(climate) => {
                    imported.entries += usize::from(!has_climate(&transaction, kept.id, climate.at.0)?);
                    climate_in(&transaction, kept.id, &climate)?;
                }
                Row::Reading(tuning) => {
                    let tolerance = Tolerance::default();
                    let id = begin(
                        &transaction,
                        kept.id,
                        tuning.begun,
                        &tuning.place,
                        &tuning.tuning,
                        &tolerance,
                    )?;
                    let new = insert(&transaction, kept.id, id, tuning.at_unix_ms, &tuning.heard)?;
                    imported.readings += usize::from(new);
                }
            }
        }
        transaction.commit()?;
        Ok(imported)
    }
}
