//! The string shelf on the command line: what lies there, what is needed, what to buy.

use std::collections::BTreeMap;

use clap::Subcommand;
use consort_proto::{Material, StringNumber};
use consort_record::shelf::{Bad, Need, OnShelf, needs, shelf};
use consort_record::telling::string_name;
use consort_record::{Chronicle, Date, Length, Rules, Sheet, Spoilt, entry, look, plan};
use consort_record_store::csv::line;
use consort_record_store::{Entry, Kept, RecordError, Store};
use consort_words::{Arg, Key, Words};
use serde_json::json;

use super::{Form, LOOKED_AT, NotDone, Read, args, told, write};

/// What can be done with the string shelf.
#[derive(Clone, Debug, Subcommand)]
pub enum ShelfOrder {
    /// What lies there: what is left of each length, what was cut from it, what is bad.
    List,
    /// Put a bought length on the shelf.
    Add {
        /// A name of your own, as in 3E-2026-a; write it on the packet.
        name: String,
        /// The string that it is for, as in 3E, or its number from the top.
        string: String,
        /// How many strings it yields.
        #[arg(long, value_name = "STRINGS", default_value_t = 1)]
        yields: u32,
        /// nylon, gut, fluorocarbon or wire [default: what the harp has there].
        #[arg(long, value_name = "MATERIAL", value_parser = ["nylon", "gut", "fluorocarbon", "wire"])]
        material: Option<String>,
        /// Diameter in millimetres.
        #[arg(long, value_name = "MM")]
        gauge: Option<f64>,
        /// The day, as in 2026-11-25 [default: today].
        #[arg(long, value_name = "DAY")]
        bought: Option<String>,
    },
    /// Mark a length as bad: nothing more is planned from it.
    Spoilt {
        /// The length's name.
        name: String,
        /// Why, in your own words.
        #[arg(long, value_name = "TEXT", default_value = "")]
        note: String,
    },
    /// What the restring plan needs: which length has it, and what is missing.
    Needs {
        /// The day of a technician's appointment, as in 2026-12-01.
        #[arg(long, value_name = "DAY")]
        regulation: Option<String>,
    },
    /// What to buy, as a list for the shop (CSV).
    Shopping {
        /// The day of a technician's appointment, as in 2026-12-01.
        #[arg(long, value_name = "DAY")]
        regulation: Option<String>,
    },
}

/// Does what `order` says with the shelf of the harp called `of`.
pub(super) fn carry_out(
    store: &mut Store,
    of: Option<&str>,
    order: &ShelfOrder,
    (today, form): (Date, Form),
) -> Result<Vec<String>, NotDone> {
    let kept = store.harp(of)?;
    match order {
        ShelfOrder::Add {
            name,
            string,
            yields,
            material,
            gauge,
            bought,
        } => {
            let string = args::string(string, &kept.sheet)?;
            let length = Length {
                name: name.clone(),
                bought: bought.as_deref().map_or(Ok(today), str::parse)?,
                string,
                material: write::material_of(material.as_deref(), &kept.sheet, string),
                gauge_mm: *gauge,
                yields: *yields,
            };
            let length = length.checked().map_err(RecordError::from)?;
            store.write(&kept, &Entry::Length(length), today)?;
            Ok(Vec::new())
        }
        ShelfOrder::Spoilt { name, note } => {
            let spoilt = Spoilt {
                length: entry::text(name).map_err(RecordError::from)?,
                on: today,
                note: entry::text(note).map_err(RecordError::from)?,
            };
            store.write(&kept, &Entry::Spoilt(spoilt), today)?;
            Ok(Vec::new())
        }
        ShelfOrder::List => {
            let read = told(store, &kept, today)?;
            Ok(list(&shelf(&read.life, &read.findings), &read, form))
        }
        ShelfOrder::Needs { regulation } => {
            let read = told(store, &kept, today)?;
            Ok(needed(&needs_of(&read, regulation.as_deref())?, &read, form))
        }
        ShelfOrder::Shopping { regulation } => {
            let read = told(store, &kept, today)?;
            Ok(shopping(&needs_of(&read, regulation.as_deref())?, &read, form))
        }
    }
}

fn needs_of(read: &Read, regulation: Option<&str>) -> Result<Vec<Need>, NotDone> {
    let rules = Rules::of(&read.life.sheet, regulation.map(str::parse).transpose()?);
    let plan = plan(&read.chronicle, &read.life, &read.findings, read.today, &rules);
    Ok(needs(&read.life, &plan, &shelf(&read.life, &read.findings)))
}

fn list(shelf: &[OnShelf], read: &Read, form: Form) -> Vec<String> {
    let (sheet, words) = (&read.life.sheet, &read.words);
    let mut lines = match form {
        Form::Csv => vec!["name,what,bought,yields,left,cut,bad,gauge_mm".to_owned()],
        Form::Text if shelf.is_empty() => vec![words.say(Key::ShelfEmpty, &[])],
        Form::Text | Form::Json => Vec::new(),
    };
    for one in shelf {
        let length = &one.length;
        let what = in_trade_words(length.string, length.material, sheet, words);
        let cut: Vec<String> = one
            .cut
            .iter()
            .map(|(string, on)| format!("{} {on}", string_name(*string, sheet)))
            .collect();
        let bad = one.bad.map(|bad| why_bad(bad, sheet, words));
        lines.push(match form {
            Form::Text => {
                let mut args = vec![
                    ("name", Arg::from(length.name.as_str())),
                    ("what", Arg::from(with_gauge(length, what, words))),
                    ("left", Arg::from(one.rest)),
                    ("yields", Arg::from(length.yields)),
                ];
                let cut = cut.join(", ");
                args.push(("cut", Arg::from(if cut.is_empty() { "–".to_owned() } else { cut })));
                let line = words.say(Key::ShelfLength, &args);
                bad.map_or(line.clone(), |bad| format!("{line} {bad}"))
            }
            Form::Csv => line(&[
                &length.name,
                &what,
                &length.bought.to_string(),
                &length.yields.to_string(),
                &one.rest.to_string(),
                &cut.join(", "),
                &bad.unwrap_or_default(),
                &length.gauge_mm.map_or_else(String::new, |gauge| gauge.to_string()),
            ]),
            Form::Json => json!({
                "name": length.name, "gauge_mm": length.gauge_mm, "string": length.string.get(), "what": what, "bought": length.bought.to_string(),
                "yields": length.yields, "left": one.rest, "cut": cut, "bad": bad,
            })
            .to_string(),
        });
    }
    lines
}

/// `what` a length is with its gauge, where that is known.
pub(super) fn with_gauge(length: &Length, what: String, words: &Words) -> String {
    let Some(gauge) = length.gauge_mm else { return what };
    let args = [("what", Arg::from(what)), ("gauge", Arg::from(gauge.to_string()))];
    words.say(Key::ShelfGauge, &args)
}

/// Marks the length from which the string in the place of `string` was cut as bad, if that string is false: once another
/// one is put on, nothing else remembers it, and its sisters would be next.
pub(crate) fn set_aside(
    store: &mut Store,
    kept: &Kept,
    string: StringNumber,
    today: Date,
) -> Result<Option<Spoilt>, RecordError> {
    let life = store.life(kept, Some(LOOKED_AT))?;
    let findings = look(&Chronicle::of(&life), &life, today);
    let gave_it = |one: &OnShelf| one.bad == Some(Bad::FalseString(string));
    let Some(one) = shelf(&life, &findings).into_iter().find(gave_it) else {
        return Ok(None);
    };
    let false_one = [("string", Arg::from(string_name(string, &kept.sheet)))];
    let spoilt = Spoilt {
        length: one.length.name,
        on: today,
        note: Words::english().say(Key::ShelfGaveFalse, &false_one),
    };
    store.write(kept, &Entry::Spoilt(spoilt.clone()), today)?;
    Ok(Some(spoilt))
}

pub(super) fn why_bad(bad: Bad, sheet: &Sheet, words: &Words) -> String {
    match bad {
        Bad::Said(on) => words.say(Key::ShelfBadSaid, &[("date", Arg::from(on.to_string()))]),
        Bad::FalseString(string) => words.say(Key::ShelfBadFalse, &[("string", Arg::from(string_name(string, sheet)))]),
    }
}

fn needed(needs: &[Need], read: &Read, form: Form) -> Vec<String> {
    let (sheet, words) = (&read.life.sheet, &read.words);
    let mut lines = match form {
        Form::Csv => vec!["string,what,from".to_owned()],
        Form::Text if needs.is_empty() => vec![words.say(Key::PlanNothing, &[])],
        Form::Text | Form::Json => Vec::new(),
    };
    for need in needs {
        let (name, what) = (
            string_name(need.string, sheet),
            in_trade_words(need.string, need.material, sheet, words),
        );
        lines.push(match form {
            Form::Text => {
                let from = need.from.as_deref().map_or_else(
                    || words.say(Key::ShelfBuy, &[]),
                    |length| words.say(Key::ShelfFrom, &[("name", Arg::from(length))]),
                );
                format!("{name:<4} {what}: {from}")
            }
            Form::Csv => line(&[&name, &what, need.from.as_deref().unwrap_or_default()]),
            Form::Json => {
                json!({ "string": need.string.get(), "harp_name": name, "what": what, "from": need.from }).to_string()
            }
        });
    }
    lines
}

/// What the shelf does not have of what is needed, by string and material, and how many.
pub(super) fn missing(needs: &[Need]) -> BTreeMap<(StringNumber, Material), u32> {
    let mut missing: BTreeMap<(StringNumber, Material), u32> = BTreeMap::new();
    for need in needs.iter().filter(|need| need.from.is_none()) {
        *missing.entry((need.string, need.material)).or_default() += 1;
    }
    missing
}

/// What is missing; for people and shops alike a CSV list.
fn shopping(needs: &[Need], read: &Read, form: Form) -> Vec<String> {
    let mut lines = match form {
        Form::Text | Form::Csv => vec!["count,what".to_owned()],
        Form::Json => Vec::new(),
    };
    lines.extend(missing(needs).into_iter().map(|((string, material), count)| {
        let what = in_trade_words(string, material, &read.life.sheet, &read.words);
        match form {
            Form::Text | Form::Csv => line(&[&count.to_string(), &what]),
            Form::Json => json!({ "count": count, "string": string.get(), "what": what }).to_string(),
        }
    }));
    lines
}

/// A string as shops name it, as in “3rd octave E, No. 15, gut”.
pub(super) fn in_trade_words(string: StringNumber, material: Material, sheet: &Sheet, words: &Words) -> String {
    let Some(kind) = sheet.harp.string(string) else {
        return string.to_string();
    };
    let octave = u64::from(kind.open.harp_octave().unsigned_abs());
    let args = [
        ("octave", Arg::from(octave)),
        ("letter", Arg::from(kind.open.letter.to_string())),
        ("packet", Arg::from(kind.open.packet_number())),
        ("material", Arg::from(word(material))),
    ];
    words.say(Key::ShelfTrade, &args)
}

/// What shops call `material`.
pub(super) const fn word(material: Material) -> &'static str {
    match material {
        Material::Nylon => "nylon",
        Material::Gut => "gut",
        Material::Fluorocarbon => "fluorocarbon",
        Material::Wire => "wire",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::{Note, harp_file};

    /// Octaves and packet numbers as packets and shops have them (common practice, no source); No. 15 is the example of
    /// a 3E whose neighbours 2F and 3D are No. 14 and 16.
    #[test]
    fn strings_are_named_as_shops_name_them() {
        let sheet = Sheet::of(harp_file::preset("pedal-47").expect("a preset"));
        let words = Words::english();
        for (name, material, says) in [
            ("3E", Material::Gut, "3rd octave E, No. 15, gut"),
            ("1E", Material::Nylon, "1st octave E, No. 1, nylon"),
            ("2F", Material::Gut, "2nd octave F, No. 14, gut"),
            ("5A", Material::Gut, "5th octave A, No. 33, gut"),
            ("0G", Material::Nylon, "octave 0 G, No. 00, nylon"),
        ] {
            let note = Note::from_harp_name(name).expect(name);
            let string = sheet.harp.find(note.letter, note.octave).expect(name);
            assert_eq!(in_trade_words(string, material, &sheet, &words), says);
        }
    }
}
