//! Export and import of whole records: a readable backup, and the merge of two laptops' records of one harp.

use consort_proto::Harp;
use consort_record::{Date, NotAnEntry, Pins, Player, Sheet};
use rusqlite::{Connection, Transaction, params};

use crate::entries::{Entry, climate_in, put, removed};
use crate::error::{NotImported, RecordError};
use crate::form::{
    ClimateForm, ConcertForm, EventForm, FittingForm, HarpForm, LengthForm, Meaningless, ReadingForm, SpoiltForm,
    TimbreForm, Whole, exact, strings_of,
};
use crate::harps::{HarpId, Kept, SheetForm, add, called, earliest, harps, no_such_harp};
use crate::readings::{begin, insert, tuning_form};
use crate::store::Store;

/// Which harp here the one in a file is, where its tag is not known here.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Whose<'a> {
    /// A new one, under its own name.
    File,
    /// The one that is called so here: two laptops have begun to record it apart.
    Into(&'a str),
    /// A new one, called so.
    Called(&'a str),
}

/// What an import brought.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub struct Imported {
    /// Harps that were not there.
    pub harps: usize,
    /// Readings that were not there.
    pub readings: usize,
    /// Fittings, events, concerts and figures of the room that were not there.
    pub entries: usize,
}

impl Store {
    /// Everything, in a form that is read again by [`Store::import`].
    pub fn export(&self) -> Result<Whole, RecordError> {
        let harps = self
            .harps()?
            .iter()
            .map(|kept| self.export_harp(kept))
            .collect::<Result<_, _>>()?;
        Ok(Whole {
            consort_record: FORM,
            harps,
        })
    }

    /// One harp, in the same form.
    pub fn export_harp(&self, kept: &Kept) -> Result<HarpForm, RecordError> {
        let sheet = &kept.sheet;
        let mut form = HarpForm {
            tag: kept.tag.clone(),
            name: sheet.harp.name().to_owned(),
            kind: sheet.harp.kind(),
            strings: strings_of(&sheet.harp),
            pins: sheet.pins.word().to_owned(),
            player: sheet.player.word().to_owned(),
            made: sheet.made.map(|day| day.to_string()),
            concert_days: sheet.concert_days,
            allowed: sheet.allowed.to_string(),
            tunings: Vec::new(),
            fittings: Vec::new(),
            events: Vec::new(),
            concerts: Vec::new(),
            climate: self.climates(kept.id)?.iter().map(ClimateForm::of).collect(),
            lengths: Vec::new(),
            spoilt: Vec::new(),
        };
        for (entry, removed) in self.entries(kept.id)? {
            match entry {
                Entry::Fitting(fitting) => form.fittings.push(FittingForm {
                    removed,
                    ..FittingForm::of(&fitting)
                }),
                Entry::Event(event) => form.events.push(EventForm {
                    removed,
                    ..EventForm::of(&event)
                }),
                Entry::Concert(concert) => form.concerts.push(ConcertForm {
                    removed,
                    ..ConcertForm::of(&concert)
                }),
                Entry::Length(length) => form.lengths.push(LengthForm {
                    removed,
                    ..LengthForm::of(&length)
                }),
                Entry::Spoilt(spoilt) => form.spoilt.push(SpoiltForm {
                    removed,
                    ..SpoiltForm::of(&spoilt)
                }),
            }
        }
        let mut tunings = self
            .connection
            .prepare("SELECT * FROM tuning WHERE harp = ?1 ORDER BY begun_unix_s")?;
        let mut readings = self.connection.prepare(
            "SELECT at_unix_ms, string, position, hz, sigma_cents, timbre, tuning FROM reading WHERE harp = ?1 \
             ORDER BY string, at_unix_ms, position",
        )?;
        let mut rows = tunings.query([kept.id.0])?;
        let mut places = std::collections::BTreeMap::new();
        while let Some(row) = rows.next()? {
            places.insert(row.get::<_, i64>("id")?, form.tunings.len());
            form.tunings.push(tuning_form(row)?);
        }
        let mut rows = readings.query([kept.id.0])?;
        while let Some(row) = rows.next()? {
            let timbre: Option<String> = row.get(5)?;
            let reading = ReadingForm {
                at_unix_ms: row.get(0)?,
                string: row.get(1)?,
                position: row.get(2)?,
                hz: exact(row.get(3)?),
                sigma_cents: exact(row.get(4)?),
                timbre: timbre
                    .and_then(|text| serde_json::from_str::<TimbreForm>(&text).ok())
                    .map(TimbreForm::exact),
            };
            if let Some(&place) = places.get(&row.get(6)?) {
                form.tunings[place].readings.push(reading);
            }
        }
        Ok(form)
    }

    /// Takes in the JSON of a record, all of it or nothing; a second time changes nothing.
    ///
    /// A harp with the tag of one that is here is the same harp; `whose` says what is to be done with another.
    pub fn import(&mut self, text: &str, whose: Whose<'_>, today: Date) -> Result<Imported, RecordError> {
        let whole: Whole = serde_json::from_str(text).map_err(|why| NotImported::Json {
            line: why.line(),
            column: why.column(),
            why: why.to_string().split(" at line").next().unwrap_or_default().to_owned(),
        })?;
        if whole.consort_record != FORM {
            return Err(NotImported::Value {
                place: "consort_record".to_owned(),
                why: format!(
                    "form {} is not known here, only {FORM}: update this program",
                    whole.consort_record
                ),
            }
            .into());
        }
        if let (Whose::Into(_) | Whose::Called(_), [_, other, ..]) = (whose, whole.harps.as_slice()) {
            return Err(NotImported::Value {
                place: format!("harps[1] “{}”", other.name),
                why: "only a record of one harp can be joined to another or given another name".to_owned(),
            }
            .into());
        }
        let mut imported = Imported::default();
        let transaction = self.change()?;
        for (number, form) in whole.harps.iter().enumerate() {
            let place = format!("harps[{number}]");
            let sheet = form.sheet().map_err(|meaningless| value(&place, meaningless))?;
            let kept = find_or_add(&transaction, form, &sheet, whose, &place, &mut imported)?;
            let both = Sheet {
                made: earlier(kept.sheet.made, sheet.made),
                ..kept.sheet.clone()
            };
            form.check(&place, &both, today)?;
            import_harp(&transaction, &kept, form, &place, &mut imported)?;
            // What the file takes out has to be out before that.
            join(&transaction, &kept, &sheet, &mut imported)?;
        }
        transaction.commit()?;
        Ok(imported)
    }
}

/// The harp here that `form` is of; one that is not here yet is added.
fn find_or_add(
    connection: &Connection,
    form: &HarpForm,
    sheet: &Sheet,
    whose: Whose<'_>,
    place: &str,
    imported: &mut Imported,
) -> Result<Kept, RecordError> {
    let mut harps = harps(connection)?;
    let said = |meaningless| value(place, meaningless);
    let known = match whose {
        Whose::Into(name) => Some(called(&harps, name).ok_or_else(|| no_such_harp(&harps, name))?),
        Whose::File | Whose::Called(_) => harps.iter().position(|kept| kept.tag == form.tag),
    };
    if let Some(known) = known {
        let kept = harps.swap_remove(known);
        if strings_of(&kept.sheet.harp) != strings_of(&sheet.harp) {
            let name = kept.sheet.harp.name();
            return Err(said(("strings", format!("they are not the strings of “{name}”"))).into());
        }
        return Ok(kept);
    }
    let sheet = match whose {
        Whose::Called(name) => Sheet {
            harp: Harp::new(name.trim().to_owned(), sheet.harp.kind(), sheet.harp.strings().to_vec())
                .map_err(|why| said(("name", why.to_string())))?,
            ..sheet.clone()
        },
        Whose::File | Whose::Into(_) => sheet.clone(),
    };
    let id = add(connection, &form.tag, &sheet)?;
    imported.harps += 1;
    Ok(Kept {
        id,
        tag: form.tag.clone(),
        sheet,
    })
}

/// Adds to the sheet of `kept` what the `other` laptop knows of the harp for good; both come to the same, whichever takes in
/// the other's file first.
///
/// Threaded pins, since those are never to be pushed; the earlier day it was made, unless the record speaks of one before;
/// and of what somebody has said, the more days before a concert and the player whose strings serve the shorter time.
/// Which discs are allowed for stays as it was chosen here: it moves targets, which no file may do by itself.
fn join(connection: &Connection, kept: &Kept, other: &Sheet, imported: &mut Imported) -> Result<(), RecordError> {
    let own = &kept.sheet;
    let usual = Sheet::of(own.harp.clone());
    let earliest = earliest(connection, kept.id)?;
    let possible = |made: &Date| earliest.is_none_or(|on| on >= *made);
    let said = |days: u8| (days != usual.concert_days).then_some(days);
    let first = |player: Player| match player {
        Player::Professional => 1,
        Player::Amateur => 2,
        // So is one of whom nobody has said anything.
        Player::Student => 3,
    };
    let sheet = Sheet {
        pins: if other.pins == Pins::Threaded {
            Pins::Threaded
        } else {
            own.pins
        },
        player: if first(other.player) < first(own.player) {
            other.player
        } else {
            own.player
        },
        made: earlier(own.made, other.made.filter(possible)),
        concert_days: said(own.concert_days)
            .max(said(other.concert_days))
            .unwrap_or(usual.concert_days),
        ..own.clone()
    };
    if sheet != *own {
        SheetForm::of(&sheet).write(connection, kept.id)?;
        imported.entries += 1;
    }
    Ok(())
}

/// The earlier of two days of which either may not be known.
fn earlier(one: Option<Date>, other: Option<Date>) -> Option<Date> {
    one.into_iter().chain(other).min()
}

fn import_harp(
    transaction: &Transaction<'_>,
    kept: &Kept,
    form: &HarpForm,
    place: &str,
    imported: &mut Imported,
) -> Result<(), RecordError> {
    for tuning in &form.tunings {
        let said = |meaningless| value(place, meaningless);
        let id = begin(
            transaction,
            kept.id,
            tuning.begun().map_err(said)?,
            &tuning.place().map_err(said)?,
            &tuning.tuning().map_err(said)?,
            &tuning.tolerance().map_err(said)?,
        )?;
        for reading in &tuning.readings {
            let heard = reading.heard().map_err(said)?;
            imported.readings += usize::from(insert(transaction, kept.id, id, reading.at_unix_ms, &heard)?);
        }
    }
    for (entry, out) in form.entries(place)? {
        let before = removed(transaction, kept.id, &entry)?;
        // Taken out on either laptop is taken out.
        if before.is_none() || (before == Some(false) && out) {
            put(transaction, kept.id, &entry, out)?;
            imported.entries += 1;
        }
    }
    for climate in &form.climate {
        let climate = climate.climate().map_err(|meaningless| value(place, meaningless))?;
        let known = has_climate(transaction, kept.id, climate.at.0)?;
        climate_in(transaction, kept.id, &climate)?;
        imported.entries += usize::from(!known);
    }
    Ok(())
}

/// The version of the JSON form.
const FORM: u32 = 1;

pub(crate) fn has_climate(connection: &rusqlite::Connection, harp: HarpId, at: i64) -> Result<bool, RecordError> {
    let count: i64 = connection.query_row(
        "SELECT count(*) FROM climate WHERE harp = ?1 AND at_unix_s = ?2",
        params![harp.0, at],
        |row| row.get(0),
    )?;
    Ok(count > 0)
}

fn value(place: &str, (field, why): Meaningless) -> NotImported {
    NotImported::Value {
        place: format!("{place}.{field}"),
        why,
    }
}

impl HarpForm {
    fn entries(&self, place: &str) -> Result<Vec<(Entry, bool)>, NotImported> {
        let mut entries = Vec::new();
        for (number, form) in self.fittings.iter().enumerate() {
            let fitting = form
                .fitting()
                .map_err(|why| value(&format!("{place}.fittings[{number}]"), why))?;
            entries.push((Entry::Fitting(fitting), form.removed));
        }
        for (number, form) in self.events.iter().enumerate() {
            let event = form
                .event()
                .map_err(|why| value(&format!("{place}.events[{number}]"), why))?;
            entries.push((Entry::Event(event), form.removed));
        }
        for (number, form) in self.concerts.iter().enumerate() {
            let concert = form
                .concert()
                .map_err(|why| value(&format!("{place}.concerts[{number}]"), why))?;
            entries.push((Entry::Concert(concert), form.removed));
        }
        for (number, form) in self.lengths.iter().enumerate() {
            let length = form
                .length()
                .map_err(|why| value(&format!("{place}.lengths[{number}]"), why))?;
            entries.push((Entry::Length(length), form.removed));
        }
        for (number, form) in self.spoilt.iter().enumerate() {
            let spoilt = form
                .spoilt()
                .map_err(|why| value(&format!("{place}.spoilt[{number}]"), why))?;
            entries.push((Entry::Spoilt(spoilt), form.removed));
        }
        Ok(entries)
    }

    /// Everything that can be wrong with it, told as something of the harp of `sheet`.
    fn check(&self, place: &str, sheet: &Sheet, today: Date) -> Result<(), NotImported> {
        let admits = |at: String, on: Date, string| -> Result<(), NotImported> {
            sheet
                .admits(on, string, today)
                .map_err(|why: NotAnEntry| value(&at, ("on", why.to_string())))
        };
        for (number, tuning) in self.tunings.iter().enumerate() {
            let at = format!("{place}.tunings[{number}]");
            let said = |why| value(&at, why);
            let begun = tuning.begun().map_err(said)?;
            tuning.place().map_err(said)?;
            tuning.tuning().map_err(said)?;
            tuning.tolerance().map_err(said)?;
            admits(at.clone(), begun.date(), None)?;
            for (number, reading) in tuning.readings.iter().enumerate() {
                let at = format!("{at}.readings[{number}]");
                let heard = reading.heard().map_err(|why| value(&at, why))?;
                admits(at, heard.at.date(), Some(heard.reading.string))?;
            }
        }
        for (number, (entry, out)) in self.entries(place)?.iter().enumerate() {
            // What was taken out claims nothing.
            if *out {
                continue;
            }
            let at = format!("{place}.{}s[{number}]", entry.kind());
            entry
                .admitted(sheet, today)
                .map_err(|why| value(&at, ("on", why.to_string())))?;
        }
        for (number, climate) in self.climate.iter().enumerate() {
            let at = format!("{place}.climate[{number}]");
            let climate = climate.climate().map_err(|why| value(&at, why))?;
            if climate.at.date() > today {
                admits(at, climate.at.date(), None)?;
            }
        }
        Ok(())
    }
}
