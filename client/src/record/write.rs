//! What a person writes into the record.

use std::path::{Path, PathBuf};

use consort_proto::{Harp, Material, StringNumber};
use consort_record::{Climate, Concert, Date, Deed, Event, Fitting, Life, Pins, Player, Sheet, entry};
use consort_record_store::{Entry, Imported, Kept, RecordError, Store, Undone, Whose};
use consort_words::Words;
use serde_json::json;

use super::args::{self, RecordOrder};
use super::said::{advice, bad_length, bring_up, earlier_room, in_words, said};
use super::{Form, NotDone, now, shelf};
use crate::choice;

/// Writes down what `order` says.
pub(super) fn carry_out(
    store: &mut Store,
    of: Option<&str>,
    order: &RecordOrder,
    (today, form): (Date, Form),
) -> Result<Vec<String>, NotDone> {
    let kept = store.harp(of)?;
    match order {
        RecordOrder::Fitted {
            string,
            day,
            material,
            gauge,
            length,
        } => {
            let string = args::string(string, &kept.sheet)?;
            let fitting = Fitting {
                string,
                on: day.parse()?,
                material: material_of(material.as_deref(), &kept.sheet, string),
                gauge_mm: *gauge,
                length: length.clone(),
            };
            let fitting = fitting.checked().map_err(RecordError::from)?;
            let mut next = bring_up(&fitting, &kept.sheet, today);
            let set_aside = shelf::set_aside(store, &kept, string, today)?;
            store.write(&kept, &Entry::Fitting(fitting), today)?;
            next.extend(set_aside.as_ref().map(bad_length));
            return Ok(match form {
                Form::Text => next,
                Form::Csv | Form::Json => Vec::new(),
            });
        }
        RecordOrder::Did {
            deed,
            day,
            string,
            note,
        } => {
            let string = string
                .as_deref()
                .map(|word| args::string(word, &kept.sheet))
                .transpose()?;
            let deed = Deed::from_word(deed, string).ok_or_else(|| {
                let shown: String = deed.chars().take(40).collect();
                NotDone::Meaningless(format!(
                    "“{shown}” is nothing that can be done to this: \
                     restrung, moved and regulated name no string, pin-pushed and broke name one, a remark may"
                ))
            })?;
            let note = entry::text(note).map_err(RecordError::from)?;
            let event = Event {
                on: day.parse()?,
                deed,
                note,
            };
            let next = advice(&event, &kept.sheet, today);
            store.write(&kept, &Entry::Event(event), today)?;
            return Ok(match form {
                Form::Text => next,
                Form::Csv | Form::Json => Vec::new(),
            });
        }
        RecordOrder::Concert { day, name } => {
            let name = entry::text(name).map_err(RecordError::from)?;
            if name.is_empty() {
                return Err(NotDone::Meaningless(
                    "the concert’s name is empty: give one, as in “Winter concert”, or leave it out".to_owned(),
                ));
            }
            store.write(&kept, &Entry::Concert(Concert { on: day.parse()?, name }), today)?;
        }
        RecordOrder::Room {
            temperature,
            humidity,
            at,
        } => {
            if temperature.is_none() && humidity.is_none() {
                return Err(NotDone::Meaningless(
                    "nothing is said of the room: give --temperature, --humidity or both".to_owned(),
                ));
            }
            let at = at.unwrap_or_else(now);
            kept.sheet.admits(at.date(), None, today).map_err(RecordError::from)?;
            let climate = Climate::new(at, *temperature, *humidity).map_err(RecordError::from)?;
            store.note_climate(kept.id, &climate)?;
        }
        RecordOrder::Harp {
            pins,
            player,
            made,
            concert_days,
        } => {
            if pins.is_none() && player.is_none() && made.is_none() && concert_days.is_none() {
                return Err(NotDone::Meaningless(
                    "nothing is said of the harp: give --pins, --player, --made or --concert-days".to_owned(),
                ));
            }
            let concert_days = concert_days.map(entry::concert_days).transpose();
            let sheet = Sheet {
                pins: pins.as_deref().and_then(Pins::from_word).unwrap_or(kept.sheet.pins),
                player: player
                    .as_deref()
                    .and_then(Player::from_word)
                    .unwrap_or(kept.sheet.player),
                made: made.as_deref().map(str::parse).transpose()?.or(kept.sheet.made),
                concert_days: concert_days
                    .map_err(RecordError::from)?
                    .unwrap_or(kept.sheet.concert_days),
                ..kept.sheet.clone()
            };
            if let Some(made) = sheet.made {
                sheet.admits(made, None, today).map_err(RecordError::from)?;
            }
            store.change_sheet(kept.id, &sheet)?;
        }
        RecordOrder::TakeOut { entry } => {
            let taken = take_out(store, &kept, entry)?;
            return Ok(vec![said(&taken, &kept.sheet, form)?]);
        }
        RecordOrder::Undo => {
            let undone = store.undo(kept.id)?;
            if let (Undone::Room(noted), Form::Text | Form::Csv) = (&undone, form)
                && store.outline(&kept)?.climates.iter().any(|room| room.at == noted.at)
            {
                return Ok(vec![earlier_room(noted.at)]);
            }
            return Ok(vec![said(&undone, &kept.sheet, form)?]);
        }
        RecordOrder::Begin { .. }
        | RecordOrder::Harps
        | RecordOrder::Findings
        | RecordOrder::Strings { .. }
        | RecordOrder::Written
        | RecordOrder::History { .. }
        | RecordOrder::Plan { .. }
        | RecordOrder::Shelf(_)
        | RecordOrder::Check { .. }
        | RecordOrder::Steps
        | RecordOrder::Allow { .. }
        | RecordOrder::Page { .. }
        | RecordOrder::Export { .. }
        | RecordOrder::Import { .. } => {}
    }
    Ok(Vec::new())
}

/// Takes out the entry that a person reads as `wanted`.
fn take_out(store: &mut Store, kept: &Kept, wanted: &str) -> Result<Undone, NotDone> {
    let (words, life) = (Words::english(), store.outline(kept)?);
    let mut alike = entries(&life)
        .into_iter()
        .filter(|entry| in_words(entry, &kept.sheet, &words) == wanted.trim());
    let shown = || wanted.chars().take(60).collect::<String>();
    let entry = alike.next().ok_or_else(|| {
        NotDone::Meaningless(format!(
            "nothing that is written down reads “{}”: name it as “record written” lists it",
            shown()
        ))
    })?;
    if alike.next().is_some() {
        return Err(NotDone::Meaningless(format!(
            "more than one entry reads “{}”, and which one is meant cannot be told: \
             “record undo” takes back the newest first",
            shown()
        )));
    }
    store.take_out(kept, &entry)?;
    Ok(Undone::Written(entry))
}

/// What a person wrote down, the newest day first.
pub(super) fn entries(life: &Life) -> Vec<Entry> {
    let mut entries: Vec<Entry> = life.fittings.iter().cloned().map(Entry::Fitting).collect();
    entries.extend(life.events.iter().cloned().map(Entry::Event));
    entries.extend(life.concerts.iter().cloned().map(Entry::Concert));
    entries.extend(life.lengths.iter().cloned().map(Entry::Length));
    entries.extend(life.spoilt.iter().cloned().map(Entry::Spoilt));
    entries.sort_by_key(|entry| std::cmp::Reverse(entry.on()));
    entries
}

/// Begins the record of `harp`, called `name` if it is given; gives the harp by the name that it has there.
pub(super) fn begin(store: &mut Store, harp: Harp, name: Option<&str>) -> Result<Harp, NotDone> {
    let named = match name {
        Some(name) => Harp::new(name.trim().to_owned(), harp.kind(), harp.strings().to_vec())
            .map_err(|why| NotDone::Meaningless(why.to_string()))?,
        None => harp,
    };
    if choice::is_taken(named.name()) {
        let shown: String = named.name().chars().take(60).collect();
        return Err(NotDone::Meaningless(format!(
            "a harp of the record cannot be called “{shown}”, which is how --harp names a usual harp or a harp file: \
             give it another name"
        )));
    }
    let random = ring::rand::generate::<[u8; 16]>(&ring::rand::SystemRandom::new())
        .map_err(|_| NotDone::Meaningless("the system gives no random numbers".to_owned()))?;
    let tag: String = random.expose().iter().map(|byte| format!("{byte:02x}")).collect();
    store.add_harp(&tag, &Sheet::of(named.clone()))?;
    Ok(named)
}

/// Takes in the `text` of `file`: JSON, or a list as CSV.
pub(super) fn import(
    store: &mut Store,
    of: Option<&str>,
    (file, text): (&PathBuf, &str),
    whose: Whose<'_>,
    (today, form): (Date, Form),
) -> Result<Vec<String>, NotDone> {
    let refused = |cause| NotDone::Import {
        file: file.clone(),
        cause,
    };
    let is_csv = Path::new(file)
        .extension()
        .is_some_and(|end| end.eq_ignore_ascii_case("csv"));
    let imported = if is_csv {
        let into = match whose {
            Whose::Into(name) => Some(name),
            Whose::Called(_) => {
                return Err(NotDone::Meaningless(
                    "a list is of a harp that is here: say which one with --of, not with --as".to_owned(),
                ));
            }
            Whose::File => of,
        };
        let kept = store.harp(into)?;
        store.import_csv(&kept, text, today).map_err(refused)?
    } else {
        store.import(text, whose, today).map_err(refused)?
    };
    let Imported {
        harps,
        readings,
        entries,
    } = imported;
    Ok(match form {
        Form::Text => vec![format!("new harps: {harps}, readings: {readings}, entries: {entries}")],
        Form::Csv => vec![
            "harps,readings,entries".to_owned(),
            format!("{harps},{readings},{entries}"),
        ],
        Form::Json => vec![json!({ "harps": harps, "readings": readings, "entries": entries }).to_string()],
    })
}

/// The material called `word`; where none is said, that of the harp's `string`.
pub(super) fn material_of(word: Option<&str>, sheet: &Sheet, string: StringNumber) -> Material {
    match word {
        Some("nylon") => Material::Nylon,
        Some("fluorocarbon") => Material::Fluorocarbon,
        Some("wire") => Material::Wire,
        Some(_) => Material::Gut,
        None => sheet
            .harp
            .string(string)
            .map_or(Material::Gut, |string| string.material),
    }
}
