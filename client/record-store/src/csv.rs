//! Lists as comma-separated values: readings, fittings, events, concerts and the room, out and in.
//!
//! The first line names the columns and so tells which list it is; fields with a comma or a quote stand in quotes.
//! Empty fields are values that are not known.

use consort_proto::{Cents, Hz, Material, Note, Reading, StringNumber, Tolerance, Tuning};
use consort_record::{Climate, Concert, Date, Deed, Event, Fitting, Heard, Moment, Place};

use crate::entries::{Entry, climate_in, put, removed};
use crate::error::{NotImported, RecordError};
use crate::harps::Kept;
use crate::readings::{begin, insert};
use crate::store::Store;
use crate::transfer::{Imported, has_climate};

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
}

impl List {
    /// All lists.
    pub const ALL: [Self; 5] = [
        Self::Readings,
        Self::Fittings,
        Self::Events,
        Self::Concerts,
        Self::Climate,
    ];

    /// The word that orders use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Readings => "readings",
            Self::Fittings => "fittings",
            Self::Events => "events",
            Self::Concerts => "concerts",
            Self::Climate => "climate",
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
        }
    }
}

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
                _ => {}
            }
        }
        Ok(lines)
    }

    /// Takes in the lines of any list, all of them or none; a second time changes nothing.
    pub fn import_csv(&mut self, kept: &Kept, text: &str, today: Date) -> Result<Imported, RecordError> {
        let rows = rows(text);
        let Some((_, first)) = rows.first() else {
            return Err(unknown_columns().into());
        };
        let header = first.join(",");
        let list = List::ALL
            .into_iter()
            .find(|list| list.columns() == header)
            .ok_or_else(unknown_columns)?;
        let names: Vec<&str> = list.columns().split(',').collect();
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
        let transaction = self.writable()?.transaction()?;
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

/// One line, read.
enum Row {
    Entry(Entry),
    Climate(Climate),
    Reading(Box<InTuning>),
}

/// A reading with what its tuning was.
struct InTuning {
    begun: Moment,
    place: Place,
    tuning: Tuning,
    at_unix_ms: i64,
    heard: Heard,
}

/// The fields of one line.
struct Fields<'a> {
    line: usize,
    names: &'a [&'a str],
    fields: &'a [String],
}

impl Fields<'_> {
    fn row(&self, list: List, kept: &Kept, today: Date) -> Result<Row, NotImported> {
        let admitted = |column: &str, on: Date, string| {
            kept.sheet
                .admits(on, string, today)
                .map_err(|why| self.bad(column, why))
        };
        match list {
            List::Readings => {
                let begun: Moment = self.parsed("tuning")?;
                let string = self.string("string")?;
                admitted("tuning", begun.date(), string)?;
                let string = string.ok_or_else(|| self.bad("string", "a reading names its string"))?;
                let note: Note = self.parsed("note")?;
                let open = kept.sheet.harp.string(string).map(|string| string.open);
                if open != Some(note) {
                    return Err(self.bad("note", format!("string {string} of this harp is not {note}")));
                }
                let position: u8 = self.parsed("position")?;
                if position > 2 {
                    return Err(self.bad("position", consort_record::NotAnEntry::Position(position)));
                }
                let hz = Hz::new(self.parsed("hz")?).map_err(|why| self.bad("hz", why))?;
                let sigma = Cents(self.parsed("sigma_cents")?);
                let reading = Reading::new(string, hz, sigma).map_err(|why| self.bad("hz", why))?;
                let at_unix_ms: i64 = self.parsed("at_unix_ms")?;
                let at = Moment(at_unix_ms.div_euclid(1_000));
                admitted("at_unix_ms", at.date(), None)?;
                Ok(Row::Reading(Box::new(InTuning {
                    begun,
                    place: Place::new(self.get("place")).map_err(|why| self.bad("place", why))?,
                    tuning: Tuning {
                        a4: self.parsed("a4_hz")?,
                        temperament: self.parsed("temperament")?,
                        setting: self.parsed("setting")?,
                    },
                    at_unix_ms,
                    heard: Heard {
                        at,
                        position,
                        reading,
                        timbre: None,
                    },
                })))
            }
            List::Fittings => {
                let string = self.string("string")?;
                let on = self.parsed("on")?;
                admitted("on", on, None)?;
                admitted("string", on, string)?;
                let fitting = Fitting {
                    string: string.ok_or_else(|| self.bad("string", "a fitting names its string"))?,
                    on,
                    material: material(self.get("material"))
                        .ok_or_else(|| self.bad("material", "it is nylon, gut, fluorocarbon or wire"))?,
                    gauge_mm: self.figure("gauge_mm")?,
                    length: Some(self.get("length").to_owned()).filter(|length| !length.is_empty()),
                };
                Ok(Row::Entry(Entry::Fitting(
                    fitting.checked().map_err(|why| self.bad("gauge_mm", why))?,
                )))
            }
            List::Events => {
                let string = self.string("string")?;
                let on = self.parsed("on")?;
                admitted("on", on, None)?;
                admitted("string", on, string)?;
                let deed = Deed::from_word(self.get("deed"), string).ok_or_else(|| {
                    self.bad(
                        "deed",
                        "it is restrung, moved, regulated, remark, or pin-pushed with a string",
                    )
                })?;
                let note = consort_record::entry::text(self.get("note")).map_err(|why| self.bad("note", why))?;
                Ok(Row::Entry(Entry::Event(Event { on, deed, note })))
            }
            List::Concerts => {
                let name = consort_record::entry::text(self.get("name")).map_err(|why| self.bad("name", why))?;
                Ok(Row::Entry(Entry::Concert(Concert {
                    on: self.parsed("on")?,
                    name,
                })))
            }
            List::Climate => {
                let at: Moment = self.parsed("at")?;
                admitted("at", at.date(), None)?;
                let (warm, damp) = (self.figure("temperature_c")?, self.figure("humidity_percent")?);
                Climate::new(at, warm, None).map_err(|why| self.bad("temperature_c", why))?;
                Climate::new(at, warm, damp)
                    .map(Row::Climate)
                    .map_err(|why| self.bad("humidity_percent", why))
            }
        }
    }

    fn get(&self, column: &str) -> &str {
        let place = self.names.iter().position(|name| *name == column);
        place
            .and_then(|place| self.fields.get(place))
            .map_or("", String::as_str)
    }

    fn bad(&self, column: &str, why: impl std::fmt::Display) -> NotImported {
        NotImported::Field {
            line: self.line,
            column: column.to_owned(),
            why: why.to_string(),
        }
    }

    fn parsed<T: std::str::FromStr<Err: std::fmt::Display>>(&self, column: &str) -> Result<T, NotImported> {
        self.get(column).parse().map_err(|why| self.bad(column, why))
    }

    fn figure(&self, column: &str) -> Result<Option<f64>, NotImported> {
        if self.get(column).is_empty() {
            Ok(None)
        } else {
            self.parsed(column).map(Some)
        }
    }

    fn string(&self, column: &str) -> Result<Option<StringNumber>, NotImported> {
        if self.get(column).is_empty() {
            return Ok(None);
        }
        let number: u32 = self.parsed(column)?;
        StringNumber::new(number).map(Some).map_err(|why| self.bad(column, why))
    }
}

fn unknown_columns() -> NotImported {
    let lists: Vec<&str> = List::ALL.iter().map(|list| list.columns()).collect();
    NotImported::Columns {
        expected: lists.join("; or "),
    }
}

const fn material_word(material: Material) -> &'static str {
    match material {
        Material::Nylon => "nylon",
        Material::Gut => "gut",
        Material::Fluorocarbon => "fluorocarbon",
        Material::Wire => "wire",
    }
}

fn material(word: &str) -> Option<Material> {
    [Material::Nylon, Material::Gut, Material::Fluorocarbon, Material::Wire]
        .into_iter()
        .find(|&material| material_word(material) == word)
}

/// One line of fields.
pub fn line(fields: &[&str]) -> String {
    let quoted: Vec<String> = fields
        .iter()
        .map(|field| {
            if field.contains(['"', ',', '\n', '\r']) {
                format!("\"{}\"", field.replace('"', "\"\""))
            } else {
                (*field).to_owned()
            }
        })
        .collect();
    quoted.join(",")
}

/// The lines of `text` that are not empty, each with its number from 1 and its fields.
fn rows(text: &str) -> Vec<(usize, Vec<String>)> {
    let mut rows = Vec::new();
    let (mut number, mut begun) = (1, 1);
    let (mut fields, mut field) = (Vec::new(), String::new());
    let (mut quoted, mut any) = (false, false);
    let mut chars = text.trim_start_matches('\u{feff}').chars().peekable();
    while let Some(c) = chars.next() {
        if c == '\n' {
            number += 1;
        }
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => {
                chars.next();
                field.push('"');
            }
            '"' => {
                quoted = !quoted;
                any = true;
            }
            ',' if !quoted => {
                fields.push(std::mem::take(&mut field));
                any = true;
            }
            '\n' if !quoted => {
                if any || !field.is_empty() {
                    fields.push(std::mem::take(&mut field));
                    rows.push((begun, std::mem::take(&mut fields)));
                }
                begun = number;
                any = false;
            }
            '\r' if !quoted => {}
            other => field.push(other),
        }
    }
    if any || !field.is_empty() {
        fields.push(field);
        rows.push((begun, fields));
    }
    rows
}
