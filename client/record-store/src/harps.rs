//! The harps of a record.

use consort_record::{Date, Moment, NotAnEntry, Pins, Player, Sheet};
use rusqlite::{Connection, Row, params};
use serde::{Deserialize, Serialize};

use crate::entries::{SHEET, note_edit};
use crate::error::RecordError;
use crate::form::{HarpForm, StringForm, is_usual, strings_of, usual_concert_days};
use crate::store::Store;

/// A harp in this file.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub struct HarpId(pub(crate) i64);

/// A harp as the record keeps it.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    /// Its place in this file.
    pub id: HarpId,
    /// What tells it from all others, on every laptop.
    pub tag: String,
    /// What belongs to it for good.
    pub sheet: Sheet,
}

impl Store {
    /// All harps, by name.
    pub fn harps(&self) -> Result<Vec<Kept>, RecordError> {
        harps(&self.connection)
    }

    /// The harp called `name`, in small or large letters; without a name the only one there is.
    pub fn harp(&self, name: Option<&str>) -> Result<Kept, RecordError> {
        let mut harps = self.harps()?;
        let place = match name {
            Some(name) => called(&harps, name),
            None => (harps.len() == 1).then_some(0),
        };
        if let Some(place) = place {
            return Ok(harps.swap_remove(place));
        }
        Err(match (name, harps.first()) {
            (Some(name), Some(_)) => no_such_harp(&harps, name),
            (None, Some(first)) => RecordError::WhichHarp {
                first: first.sheet.harp.name().to_owned(),
                known: names(&harps),
            },
            (_, None) => RecordError::NoHarpYet,
        })
    }

    /// Adds the harp of `sheet`; `tag` tells it from all others and is made of random numbers.
    pub fn add_harp(&mut self, tag: &str, sheet: &Sheet) -> Result<HarpId, RecordError> {
        let transaction = self.change()?;
        let id = add(&transaction, tag, sheet)?;
        transaction.commit()?;
        Ok(id)
    }

    /// Changes what belongs to a harp for good; its strings stay.
    pub fn change_sheet(&mut self, harp: HarpId, sheet: &Sheet) -> Result<(), RecordError> {
        let transaction = self.change()?;
        let before = SheetForm::of(&sheet_of(&transaction, harp)?);
        let after = SheetForm::of(sheet);
        if let (Some(made), Some(on)) = (sheet.made, earliest(&transaction, harp)?)
            && after.made != before.made
            && on < made
        {
            return Err(NotAnEntry::MadeLater { made, on }.into());
        }
        if after != before {
            after.write(&transaction, harp)?;
            let edit = SheetEdit {
                before,
                after: Some(after),
            };
            note_edit(&transaction, harp, SHEET, &json(&edit)?, None)?;
        }
        transaction.commit()?;
        Ok(())
    }
}

/// All harps, by name.
pub(crate) fn harps(connection: &Connection) -> Result<Vec<Kept>, RecordError> {
    let mut statement = connection.prepare("SELECT * FROM harp ORDER BY name")?;
    let rows = statement.query_map([], columns)?;
    rows.map(|row| kept(row?)).collect()
}

/// Where in `harps` the one called `name` is: written so, or else in other letters.
pub fn called(harps: &[Kept], name: &str) -> Option<usize> {
    let exactly = harps.iter().position(|kept| kept.sheet.harp.name() == name);
    exactly.or_else(|| harps.iter().position(|kept| same_name(kept.sheet.harp.name(), name)))
}

fn names(harps: &[Kept]) -> String {
    let names = harps.iter().map(|kept| format!("“{}”", kept.sheet.harp.name()));
    names.collect::<Vec<_>>().join(", ")
}

/// Why none of `harps` is the one called `name`.
pub(crate) fn no_such_harp(harps: &[Kept], name: &str) -> RecordError {
    if harps.is_empty() {
        return RecordError::NoHarpYet;
    }
    RecordError::NoSuchHarp {
        name: name.chars().take(60).collect(),
        known: names(harps),
    }
}

/// Whether people would take two names for one.
pub(crate) fn same_name(one: &str, other: &str) -> bool {
    one.to_lowercase() == other.to_lowercase()
}

/// Adds the harp of `sheet` under a name that no other has.
pub(crate) fn add(connection: &Connection, tag: &str, sheet: &Sheet) -> Result<HarpId, RecordError> {
    let name = sheet.harp.name();
    let taken = harps(connection)?
        .into_iter()
        .find(|kept| same_name(kept.sheet.harp.name(), name));
    if let Some(kept) = taken {
        return Err(RecordError::NameTaken(kept.sheet.harp.name().to_owned()));
    }
    connection.execute(
        "INSERT INTO harp (tag, name, kind, strings, pins, player, made, concert_days, allowed) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        params![
            tag,
            name,
            json(&sheet.harp.kind())?,
            json(&strings_of(&sheet.harp))?,
            sheet.pins.word(),
            sheet.player.word(),
            sheet.made.map(Date::days),
            sheet.concert_days,
            sheet.allowed.to_string(),
        ],
    )?;
    Ok(HarpId(connection.last_insert_rowid()))
}

/// What can be changed of a sheet.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
pub(crate) struct SheetForm {
    pins: String,
    player: String,
    made: Option<String>,
    #[serde(default = "usual_concert_days", skip_serializing_if = "is_usual")]
    concert_days: u8,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    allowed: String,
}

impl SheetForm {
    pub(crate) fn of(sheet: &Sheet) -> Self {
        Self {
            pins: sheet.pins.word().to_owned(),
            player: sheet.player.word().to_owned(),
            made: sheet.made.map(|day| day.to_string()),
            concert_days: sheet.concert_days,
            allowed: sheet.allowed.to_string(),
        }
    }

    /// Writes it as the sheet of `harp`, and gives the whole sheet that now stands.
    pub(crate) fn write(&self, connection: &Connection, harp: HarpId) -> Result<Sheet, RecordError> {
        let unreadable = |what: &str| RecordError::Harp(format!("“{what}” in its sheet"));
        let sheet = Sheet {
            pins: Pins::from_word(&self.pins).ok_or_else(|| unreadable(&self.pins))?,
            player: Player::from_word(&self.player).ok_or_else(|| unreadable(&self.player))?,
            made: self
                .made
                .as_deref()
                .map(|day| day.parse().map_err(|_| unreadable(day)))
                .transpose()?,
            concert_days: self.concert_days,
            allowed: self.allowed.parse().map_err(|_| unreadable(&self.allowed))?,
            ..sheet_of(connection, harp)?
        };
        connection.execute(
            "UPDATE harp SET pins = ?2, player = ?3, made = ?4, concert_days = ?5, allowed = ?6 WHERE id = ?1",
            params![
                harp.0,
                sheet.pins.word(),
                sheet.player.word(),
                sheet.made.map(Date::days),
                sheet.concert_days,
                sheet.allowed.to_string(),
            ],
        )?;
        Ok(sheet)
    }
}

/// What a change of a sheet was; programs that know only of `before` read that.
#[derive(Debug, Deserialize, Serialize)]
pub(crate) struct SheetEdit {
    #[serde(flatten)]
    before: SheetForm,
    /// What the change made of it; absent where an earlier program wrote it down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    after: Option<SheetForm>,
}

impl SheetEdit {
    /// Takes back what the change made and nothing else: what an import or a later change has said since then stays.
    pub(crate) fn take_back(self, connection: &Connection, harp: HarpId) -> Result<Sheet, RecordError> {
        fn back<T: PartialEq>(now: T, after: &T, before: T) -> T {
            if now == *after { before } else { now }
        }
        let now = SheetForm::of(&sheet_of(connection, harp)?);
        let Self { before, after } = self;
        let after = after.unwrap_or_else(|| SheetForm {
            // Who said that the pins are threaded is not known here, and pushing those does harm.
            pins: before.pins.clone(),
            ..now.clone()
        });
        let mut made = back(now.made, &after.made, before.made);
        // What has come in since may speak of days before: then nobody knows when the harp was made.
        if let (Some(Ok(day)), Some(on)) = (made.as_deref().map(str::parse::<Date>), earliest(connection, harp)?)
            && on < day
        {
            made = None;
        }
        let sheet = SheetForm {
            pins: back(now.pins, &after.pins, before.pins),
            player: back(now.player, &after.player, before.player),
            made,
            concert_days: back(now.concert_days, &after.concert_days, before.concert_days),
            allowed: back(now.allowed, &after.allowed, before.allowed),
        };
        sheet.write(connection, harp)
    }
}

/// The first day of which the record of `harp` speaks; concerts and bought lengths say nothing of when it was there.
pub(crate) fn earliest(connection: &Connection, harp: HarpId) -> Result<Option<Date>, RecordError> {
    let written: Option<i32> = connection.query_row(
        "SELECT min(on_day) FROM entry WHERE harp = ?1 AND removed = 0 AND kind IN ('fitting', 'event')",
        [harp.0],
        |row| row.get(0),
    )?;
    let tuned: Option<i64> = connection.query_row(
        "SELECT min(begun_unix_s) FROM tuning WHERE harp = ?1",
        [harp.0],
        |row| row.get(0),
    )?;
    let tuned = tuned.map(|begun| Moment(begun).date());
    Ok(written.map(Date::from_days).into_iter().chain(tuned).min())
}

fn sheet_of(connection: &Connection, harp: HarpId) -> Result<Sheet, RecordError> {
    let row = connection.query_row("SELECT * FROM harp WHERE id = ?1", [harp.0], columns)?;
    Ok(kept(row)?.sheet)
}

type Columns = (i64, HarpForm, String, String, Option<i32>);

fn columns(row: &Row<'_>) -> rusqlite::Result<Columns> {
    let form = HarpForm {
        tag: row.get("tag")?,
        name: row.get("name")?,
        kind: consort_proto::Kind::Other,
        strings: Vec::new(),
        pins: row.get("pins")?,
        player: row.get("player")?,
        made: None,
        concert_days: row.get("concert_days")?,
        allowed: row.get("allowed")?,
        tunings: Vec::new(),
        fittings: Vec::new(),
        events: Vec::new(),
        concerts: Vec::new(),
        climate: Vec::new(),
        lengths: Vec::new(),
        spoilt: Vec::new(),
    };
    Ok((
        row.get("id")?,
        form,
        row.get("kind")?,
        row.get("strings")?,
        row.get("made")?,
    ))
}

fn kept((id, form, kind, strings, made): Columns) -> Result<Kept, RecordError> {
    let unreadable = |why: String| RecordError::Harp(why);
    let strings: Vec<StringForm> = serde_json::from_str(&strings).map_err(|why| unreadable(why.to_string()))?;
    let kind = serde_json::from_str(&kind).map_err(|why| unreadable(why.to_string()))?;
    let form = HarpForm {
        kind,
        strings,
        made: made.map(|days| Date::from_days(days).to_string()),
        ..form
    };
    let sheet = form
        .sheet()
        .map_err(|(field, why)| unreadable(format!("{field}: {why}")))?;
    Ok(Kept {
        id: HarpId(id),
        tag: form.tag,
        sheet,
    })
}

/// JSON of a plain value; only infinite numbers have none, and checked values hold none.
pub(crate) fn json<T: serde::Serialize>(value: &T) -> Result<String, RecordError> {
    serde_json::to_string(value).map_err(|why| RecordError::Harp(why.to_string()))
}
