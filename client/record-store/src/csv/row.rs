//! One line of a list, read and checked, each refusal with its line and column.

use consort_proto::{Cents, Hz, Material, Note, Reading, StringNumber, Tuning};
use consort_record::{Climate, Concert, Date, Deed, Event, Fitting, Heard, Length, Moment, Place};

use super::List;
use crate::entries::Entry;
use crate::error::NotImported;
use crate::harps::Kept;

/// One line, read.
pub(super) enum Row {
    Entry(Entry),
    Climate(Climate),
    Reading(Box<InTuning>),
}

/// A reading with what its tuning was.
pub(super) struct InTuning {
    pub(super) begun: Moment,
    pub(super) place: Place,
    pub(super) tuning: Tuning,
    pub(super) at_unix_ms: i64,
    pub(super) heard: Heard,
}

/// The fields of one line.
pub(super) struct Fields<'a> {
    pub(super) line: usize,
    pub(super) names: &'a [&'a str],
    pub(super) fields: &'a [String],
}

impl Fields<'_> {
    pub(super) fn row(&self, list: List, kept: &Kept, today: Date) -> Result<Row, NotImported> {
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
                let position: u8 = self.number("position")?;
                if position > 2 {
                    return Err(self.bad("position", consort_record::NotAnEntry::Position(position)));
                }
                let hz = Hz::new(self.number("hz")?).map_err(|why| self.bad("hz", why))?;
                let sigma = Cents(self.number("sigma_cents")?);
                let reading = Reading::new(string, hz, sigma).map_err(|why| self.bad("hz", why))?;
                let at_unix_ms: i64 = self.number("at_unix_ms")?;
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
                    material: self.material()?,
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
                        "it is restrung, moved, regulated, remark, or pin-pushed or broke with a string",
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
            List::Lengths => {
                let string = self.string("string")?;
                let bought = self.parsed("bought")?;
                let sheet = &kept.sheet;
                for (column, string) in [("bought", None), ("string", string)] {
                    sheet
                        .admits_bought(bought, string, today)
                        .map_err(|why| self.bad(column, why))?;
                }
                let length = Length {
                    name: self.get("name").to_owned(),
                    bought,
                    string: string.ok_or_else(|| self.bad("string", "a length names the string that it is for"))?,
                    material: self.material()?,
                    gauge_mm: self.figure("gauge_mm")?,
                    yields: self.number("yields")?,
                };
                let length = length.checked().map_err(|why| self.bad("yields", why))?;
                Ok(Row::Entry(Entry::Length(length)))
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

    fn material(&self) -> Result<Material, NotImported> {
        material(self.get("material")).ok_or_else(|| self.bad("material", "it is nylon, gut, fluorocarbon or wire"))
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

    fn number<T: std::str::FromStr>(&self, column: &str) -> Result<T, NotImported> {
        let found = self.get(column);
        found.parse().map_err(|_| {
            let shown: String = found.chars().take(40).collect();
            self.bad(column, format!("“{shown}” is no number that can stand there"))
        })
    }

    fn figure(&self, column: &str) -> Result<Option<f64>, NotImported> {
        if self.get(column).is_empty() {
            Ok(None)
        } else {
            self.number(column).map(Some)
        }
    }

    fn string(&self, column: &str) -> Result<Option<StringNumber>, NotImported> {
        if self.get(column).is_empty() {
            return Ok(None);
        }
        let number: u32 = self.number(column)?;
        StringNumber::new(number).map(Some).map_err(|why| self.bad(column, why))
    }
}

/// Why `found` are the columns of no list.
pub(super) fn unknown_columns(found: &[String]) -> NotImported {
    let shared = |list: &List| {
        let columns = list.columns().split(',');
        columns
            .filter(|column| found.iter().any(|found| found == column))
            .count()
    };
    // Where some columns are a list's own, that list was meant.
    let meant = List::ALL.into_iter().max_by_key(shared);
    if let Some(list) = meant.filter(|list| shared(list) >= COLUMNS_SHARED) {
        let expected: Vec<&str> = list.columns().split(',').collect();
        let differs = (0..found.len().max(expected.len()))
            .find(|&place| found.get(place).map(String::as_str) != expected.get(place).copied())
            .unwrap_or(0);
        let quoted = |name: Option<&str>| name.map_or_else(|| "nothing".to_owned(), |name| format!("“{name}”"));
        return NotImported::Column {
            column: differs + 1,
            found: quoted(found.get(differs).map(String::as_str)),
            list: list.word(),
            expected: quoted(expected.get(differs).copied()),
            columns: list.columns(),
        };
    }
    let lists: Vec<&str> = List::ALL.iter().map(|list| list.columns()).collect();
    NotImported::Columns {
        expected: lists.join("; or "),
    }
}

/// Fewer columns in common do not tell which list was meant.
const COLUMNS_SHARED: usize = 2;

pub(super) const fn material_word(material: Material) -> &'static str {
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
