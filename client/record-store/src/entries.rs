//! Fittings, events, concerts and the room: written by a person, taken out and back by her.

use consort_record::shelf::shelf;
use consort_record::{Climate, Concert, Date, Event, Fitting, Length, Life, Moment, NotAnEntry, Sheet, Spoilt};
use rusqlite::{Connection, OptionalExtension, Transaction, params};
use serde::{Deserialize, Serialize};

use crate::error::RecordError;
use crate::form::{ClimateForm, ConcertForm, EventForm, FittingForm, LengthForm, SpoiltForm};
use crate::harps::{HarpId, Kept, SheetEdit, SheetForm, json};
use crate::said_more::{FittingEdit, SAID_MORE};
use crate::store::Store;

/// Something that a person writes down.
#[derive(Clone, Debug, PartialEq)]
pub enum Entry {
    /// A string was put on.
    Fitting(Fitting),
    /// Something was done.
    Event(Event),
    /// A day on which the harp has to hold; it may lie ahead.
    Concert(Concert),
    /// A length of string was bought.
    Length(Length),
    /// A length is not to be used any more.
    Spoilt(Spoilt),
}

/// What was taken back.
#[derive(Clone, Debug, PartialEq)]
pub enum Undone {
    /// What had been written was taken out.
    Written(Entry),
    /// What had been taken out is back.
    TakenOut(Entry),
    /// What had been noted of the room is no longer noted.
    Room(Climate),
    /// A change of what belongs to the harp for good was taken back; that is now this.
    Sheet(Box<Sheet>),
}

/// What was noted of the room, and what stood there before.
#[derive(Debug, Deserialize, Serialize)]
struct ClimateEdit {
    noted: ClimateForm,
    before: Option<ClimateForm>,
}

/// The kind of an edit that changed the room.
const ROOM: &str = "climate";
/// The kind of an edit that changed the harp's sheet; its content is the sheet before and after.
pub(crate) const SHEET: &str = "harp";

impl Undone {
    /// What was taken back as one line of JSON.
    pub fn json(&self) -> Result<String, RecordError> {
        let (done, kind, content) = match self {
            Self::Written(entry) => ("taken-out", entry.kind(), entry.content()?),
            Self::TakenOut(entry) => ("put-back", entry.kind(), entry.content()?),
            Self::Room(climate) => ("taken-out", ROOM, json(&ClimateForm::of(climate))?),
            Self::Sheet(sheet) => ("put-back", SHEET, json(&SheetForm::of(sheet))?),
        };
        Ok(format!(r#"{{"undone":"{done}","kind":"{kind}","content":{content}}}"#))
    }
}

impl Entry {
    /// Which kind it is, as a word for programs.
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Fitting(_) => "fitting",
            Self::Event(_) => "event",
            Self::Concert(_) => "concert",
            Self::Length(_) => "length",
            Self::Spoilt(_) => "spoilt",
        }
    }

    pub(crate) fn content(&self) -> Result<String, RecordError> {
        match self {
            Self::Fitting(fitting) => json(&FittingForm::of(fitting)),
            Self::Event(event) => json(&EventForm::of(event)),
            Self::Concert(concert) => json(&ConcertForm::of(concert)),
            Self::Length(length) => json(&LengthForm::of(length)),
            Self::Spoilt(spoilt) => json(&SpoiltForm::of(spoilt)),
        }
    }

    /// The day that it is about.
    pub const fn on(&self) -> Date {
        match self {
            Self::Fitting(fitting) => fitting.on,
            Self::Event(event) => event.on,
            Self::Concert(concert) => concert.on,
            Self::Length(length) => length.bought,
            Self::Spoilt(spoilt) => spoilt.on,
        }
    }

    /// Whether it can have happened to the harp of `sheet`, seen from `today`.
    pub(crate) fn admitted(&self, sheet: &Sheet, today: Date) -> Result<(), NotAnEntry> {
        match self {
            Self::Fitting(fitting) => sheet.admits(fitting.on, Some(fitting.string), today),
            Self::Event(event) => sheet.admits(event.on, event.deed.string(), today),
            Self::Length(length) => sheet.admits_bought(length.bought, Some(length.string), today),
            Self::Spoilt(spoilt) => sheet.admits_bought(spoilt.on, None, today),
            // A concert is meant to lie ahead.
            Self::Concert(_) => Ok(()),
        }
    }
}

impl Store {
    /// Writes `entry` down; writing it twice changes nothing.
    pub fn write(&mut self, kept: &Kept, entry: &Entry, today: Date) -> Result<(), RecordError> {
        entry.admitted(&kept.sheet, today)?;
        self.on_the_shelf(kept, entry)?;
        match entry {
            Entry::Fitting(fitting) => match self.plainly(kept, fitting)? {
                Some(plain) => self.say_more(kept.id, &plain, fitting),
                None => self.set(kept.id, entry, false),
            },
            _ => self.set(kept.id, entry, false),
        }
    }

    /// Refuses what the shelf cannot give: two lengths of one name, a string from a length that is used up or bad, a
    /// mark on a length that nobody has.
    fn on_the_shelf(&self, kept: &Kept, entry: &Entry) -> Result<(), RecordError> {
        if matches!(entry, Entry::Event(_) | Entry::Concert(_))
            || removed(&self.connection, kept.id, entry)? == Some(false)
        {
            return Ok(());
        }
        let mut life = Life::new(kept.sheet.clone());
        self.read_entries(kept.id, &mut life)?;
        let shelf = shelf(&life, &[]);
        let named = |name: &str| shelf.iter().find(|one| one.length.name == name);
        match entry {
            Entry::Length(length) if named(&length.name).is_some() => {
                Err(RecordError::LengthTaken(length.name.clone()))
            }
            Entry::Spoilt(spoilt) if named(&spoilt.length).is_none() => {
                Err(RecordError::NoSuchLength(spoilt.length.clone()))
            }
            // A length that is not on the shelf is only a name, as it was before there were shelves.
            Entry::Fitting(fitting) => match fitting.length.as_deref().and_then(named) {
                Some(one) if one.rest == 0 => Err(RecordError::UsedUp {
                    length: one.length.name.clone(),
                    yields: one.length.yields,
                }),
                _ => Ok(()),
            },
            Entry::Length(_) | Entry::Spoilt(_) | Entry::Event(_) | Entry::Concert(_) => Ok(()),
        }
    }

    /// Takes `entry` out of the record.
    pub fn take_out(&mut self, kept: &Kept, entry: &Entry) -> Result<(), RecordError> {
        match removed(&self.connection, kept.id, entry)? {
            Some(false) => self.set(kept.id, entry, true),
            Some(true) | None => Err(RecordError::NoSuchEntry),
        }
    }

    /// Takes back the newest change of a person's entries; again and again, the ones before it.
    pub fn undo(&mut self, harp: HarpId) -> Result<Undone, RecordError> {
        let transaction = self.change()?;
        let newest: Option<(i64, String, String, Option<bool>)> = transaction
            .query_row(
                "SELECT id, kind, content, before FROM edit WHERE harp = ?1 AND undone = 0 ORDER BY id DESC LIMIT 1",
                [harp.0],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
            )
            .optional()?;
        let Some((id, kind, content, before)) = newest else {
            return Err(RecordError::NothingToUndo);
        };
        let unreadable = |why: serde_json::Error| RecordError::Harp(format!("{kind}: {why}"));
        let undone = match kind.as_str() {
            ROOM => {
                let edit: ClimateEdit = serde_json::from_str(&content).map_err(unreadable)?;
                Undone::Room(take_back_climate(&transaction, harp, &edit)?)
            }
            SAID_MORE => {
                let edit: FittingEdit = serde_json::from_str(&content).map_err(unreadable)?;
                Undone::Written(edit.take_back(&transaction, harp)?)
            }
            SHEET => {
                let edit: SheetEdit = serde_json::from_str(&content).map_err(unreadable)?;
                Undone::Sheet(Box::new(edit.take_back(&transaction, harp)?))
            }
            _ => {
                let entry = entry(&kind, &content)?;
                put(&transaction, harp, &entry, before.unwrap_or(true))?;
                if before == Some(false) {
                    Undone::TakenOut(entry)
                } else {
                    Undone::Written(entry)
                }
            }
        };
        transaction.execute("UPDATE edit SET undone = 1 WHERE id = ?1", [id])?;
        transaction.commit()?;
        Ok(undone)
    }

    /// Notes the room; a second figure for the same moment replaces the first.
    pub fn note_climate(&mut self, harp: HarpId, climate: &Climate) -> Result<(), RecordError> {
        let transaction = self.change()?;
        let before = climate_at(&transaction, harp, climate.at)?;
        climate_in(&transaction, harp, climate)?;
        if climate_at(&transaction, harp, climate.at)? != before {
            let edit = ClimateEdit {
                noted: ClimateForm::of(climate),
                before: before.as_ref().map(ClimateForm::of),
            };
            note_edit(&transaction, harp, ROOM, &json(&edit)?, None)?;
        }
        transaction.commit()?;
        Ok(())
    }

    fn set(&mut self, harp: HarpId, entry: &Entry, out: bool) -> Result<(), RecordError> {
        let transaction = self.change()?;
        let before = removed(&transaction, harp, entry)?;
        if before != Some(out) {
            put(&transaction, harp, entry, out)?;
            note_edit(&transaction, harp, entry.kind(), &entry.content()?, before)?;
        }
        transaction.commit()?;
        Ok(())
    }

    pub(crate) fn read_entries(&self, harp: HarpId, life: &mut Life) -> Result<(), RecordError> {
        for (entry, removed) in self.entries(harp)? {
            if removed {
                continue;
            }
            match entry {
                Entry::Fitting(fitting) => life.fittings.push(fitting),
                Entry::Event(event) => life.events.push(event),
                Entry::Concert(concert) => life.concerts.push(concert),
                Entry::Length(length) => life.lengths.push(length),
                Entry::Spoilt(spoilt) => life.spoilt.push(spoilt),
            }
        }
        life.climates = self.climates(harp)?;
        Ok(())
    }

    /// All entries in the order of days, and whether each was taken out.
    pub(crate) fn entries(&self, harp: HarpId) -> Result<Vec<(Entry, bool)>, RecordError> {
        let mut statement = self
            .connection
            .prepare("SELECT kind, content, removed FROM entry WHERE harp = ?1 ORDER BY on_day, kind, content")?;
        let rows = statement.query_map([harp.0], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get::<_, String>(1)?,
                row.get::<_, bool>(2)?,
            ))
        })?;
        rows.map(|row| {
            let (kind, content, removed) = row?;
            Ok((entry(&kind, &content)?, removed))
        })
        .collect()
    }

    pub(crate) fn climates(&self, harp: HarpId) -> Result<Vec<Climate>, RecordError> {
        let mut statement = self.connection.prepare(
            "SELECT at_unix_s, temperature_c, humidity_percent FROM climate WHERE harp = ?1 ORDER BY at_unix_s",
        )?;
        let rows = statement.query_map([harp.0], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
        rows.map(|row| {
            let (at, temperature_c, humidity_percent) = row?;
            Ok(Climate::new(Moment(at), temperature_c, humidity_percent)?)
        })
        .collect()
    }
}

/// Writes an entry, or marks it as taken out.
pub(crate) fn put(transaction: &Transaction<'_>, harp: HarpId, entry: &Entry, out: bool) -> Result<(), RecordError> {
    transaction.execute(
        "INSERT INTO entry (harp, kind, content, on_day, removed) VALUES (?1, ?2, ?3, ?4, ?5) \
         ON CONFLICT DO UPDATE SET removed = excluded.removed",
        params![harp.0, entry.kind(), entry.content()?, entry.on().days(), out],
    )?;
    Ok(())
}

/// Whether `entry` was taken out; `None` when it was never there.
pub(crate) fn removed(connection: &Connection, harp: HarpId, entry: &Entry) -> Result<Option<bool>, RecordError> {
    Ok(connection
        .query_row(
            "SELECT removed FROM entry WHERE harp = ?1 AND kind = ?2 AND content = ?3",
            params![harp.0, entry.kind(), entry.content()?],
            |row| row.get(0),
        )
        .optional()?)
}

pub(crate) fn climate_in(connection: &Connection, harp: HarpId, climate: &Climate) -> Result<(), RecordError> {
    let form = ClimateForm::of(climate);
    connection.execute(
        "INSERT INTO climate VALUES (?1, ?2, ?3, ?4) ON CONFLICT DO UPDATE SET \
         temperature_c = coalesce(excluded.temperature_c, temperature_c), \
         humidity_percent = coalesce(excluded.humidity_percent, humidity_percent)",
        params![harp.0, climate.at.0, form.temperature_c, form.humidity_percent],
    )?;
    Ok(())
}

/// Remembers that a person changed something, so that it can be taken back.
pub(crate) fn note_edit(
    connection: &Connection,
    harp: HarpId,
    kind: &str,
    content: &str,
    before: Option<bool>,
) -> Result<(), RecordError> {
    connection.execute(
        "INSERT INTO edit (harp, kind, content, before) VALUES (?1, ?2, ?3, ?4)",
        params![harp.0, kind, content, before],
    )?;
    Ok(())
}

/// What is noted of the room at that moment.
fn climate_at(connection: &Connection, harp: HarpId, at: Moment) -> Result<Option<Climate>, RecordError> {
    let figures: Option<(Option<f64>, Option<f64>)> = connection
        .query_row(
            "SELECT temperature_c, humidity_percent FROM climate WHERE harp = ?1 AND at_unix_s = ?2",
            params![harp.0, at.0],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .optional()?;
    Ok(figures
        .map(|(temperature_c, humidity_percent)| Climate::new(at, temperature_c, humidity_percent))
        .transpose()?)
}

/// Makes the room what it was before `edit`, and gives what had been noted.
fn take_back_climate(connection: &Connection, harp: HarpId, edit: &ClimateEdit) -> Result<Climate, RecordError> {
    let read = |form: &ClimateForm| {
        form.climate()
            .map_err(|(field, why)| RecordError::Harp(format!("{ROOM}: {field}: {why}")))
    };
    let noted = read(&edit.noted)?;
    connection.execute(
        "DELETE FROM climate WHERE harp = ?1 AND at_unix_s = ?2",
        params![harp.0, noted.at.0],
    )?;
    if let Some(before) = &edit.before {
        climate_in(connection, harp, &read(before)?)?;
    }
    Ok(noted)
}

fn entry(kind: &str, content: &str) -> Result<Entry, RecordError> {
    let unreadable = |why: String| RecordError::Harp(format!("{kind}: {why}"));
    let said = |(field, why): (&str, String)| unreadable(format!("{field}: {why}"));
    match kind {
        "fitting" => serde_json::from_str::<FittingForm>(content)
            .map_err(|why| unreadable(why.to_string()))?
            .fitting()
            .map(Entry::Fitting)
            .map_err(said),
        "event" => serde_json::from_str::<EventForm>(content)
            .map_err(|why| unreadable(why.to_string()))?
            .event()
            .map(Entry::Event)
            .map_err(said),
        "concert" => serde_json::from_str::<ConcertForm>(content)
            .map_err(|why| unreadable(why.to_string()))?
            .concert()
            .map(Entry::Concert)
            .map_err(said),
        "length" => serde_json::from_str::<LengthForm>(content)
            .map_err(|why| unreadable(why.to_string()))?
            .length()
            .map(Entry::Length)
            .map_err(said),
        "spoilt" => serde_json::from_str::<SpoiltForm>(content)
            .map_err(|why| unreadable(why.to_string()))?
            .spoilt()
            .map(Entry::Spoilt)
            .map_err(said),
        other => Err(unreadable(format!("“{other}” is no kind of entry"))),
    }
}
