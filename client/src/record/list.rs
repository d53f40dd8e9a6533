//! The record's answers as lines: for a person, as CSV, as JSON.

use std::collections::BTreeMap;
use std::path::Path;

use consort_proto::{Cents, Harp, Scheme, StringNumber};
use consort_record::telling::{about_name, string_name, when_said};
use consort_record::{About, Date, Life, Replacement, Rules, Visit, Why, plan as restring, tell};
use consort_record_store::csv::{List, line};
use consort_record_store::{Point, RecordError, Store, TuningId};
use consort_words::{Arg, Key, Words};
use serde_json::json;

use super::{Form, NotDone, Read, said, save, write};

/// The harps of the record.
pub(super) fn harps(store: &Store, form: Form) -> Result<Vec<String>, NotDone> {
    let mut lines = match form {
        Form::Csv => vec!["harp,strings,pins,player,made,tunings,concert_days".to_owned()],
        Form::Text | Form::Json => Vec::new(),
    };
    let harps = store.harps()?;
    if harps.is_empty() && form == Form::Text {
        return Err(RecordError::NoHarpYet.into());
    }
    for kept in harps {
        let (sheet, tunings) = (&kept.sheet, store.tunings(kept.id)?);
        let made = sheet.made.map(|day| day.to_string());
        lines.push(match form {
            Form::Text => format!(
                "{}: {} strings, tunings: {tunings}",
                sheet.harp.name(),
                sheet.harp.len()
            ),
            Form::Csv => line(&[
                sheet.harp.name(),
                &sheet.harp.len().to_string(),
                sheet.pins.word(),
                sheet.player.word(),
                &made.unwrap_or_default(),
                &tunings.to_string(),
                &sheet.concert_days.to_string(),
            ]),
            Form::Json => json!({
                "harp": sheet.harp.name(), "strings": sheet.harp.len(), "pins": sheet.pins.word(),
                "player": sheet.player.word(), "made": made, "tunings": tunings,
                "concert_days": sheet.concert_days,
            })
            .to_string(),
        });
    }
    Ok(lines)
}

/// What is wrong, first what wants doing.
pub(super) fn findings(read: &Read, form: Form) -> Vec<String> {
    let mut lines = match form {
        Form::Csv => vec!["about,cause,since,likely,evidence,action,doubt".to_owned()],
        Form::Text => read.nothing.iter().cloned().collect(),
        Form::Json => Vec::new(),
    };
    for finding in &read.findings {
        let told = tell(finding, &read.life.sheet, &read.words);
        let about = about_name(finding.about, &read.life.sheet, &read.words);
        let (since, likely) = (finding.since.to_string(), format!("{:.3}", finding.likely));
        match form {
            Form::Text => {
                lines.push(told.headline);
                lines.extend([told.evidence, told.action, told.doubt].map(|sentence| format!("  {sentence}")));
            }
            Form::Csv => lines.push(line(&[
                &about,
                finding.cause.word(),
                &since,
                &likely,
                &told.evidence,
                &told.action,
                &told.doubt,
            ])),
            Form::Json => {
                let string = match finding.about {
                    About::String(string) => Some(string.get()),
                    About::Letter(_) | About::Material(_) => None,
                };
                lines.push(
                    json!({
                        "about": about, "string": string, "cause": finding.cause.word(), "since": since,
                        "likely": finding.likely, "headline": told.headline, "evidence": told.evidence,
                        "action": told.action, "doubt": told.doubt,
                    })
                    .to_string(),
                );
            }
        }
    }
    lines
}

/// How a string is usually found and left, cents from its target.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Usual {
    /// The middle of how it was found.
    pub(super) found: f64,
    /// How far that differs, the middle of the distances.
    pub(super) spread: f64,
    /// In how many tunings.
    pub(super) tunings: usize,
}

/// How many tunings make what a string is usually found at.
pub(super) const USUAL_OF: usize = 8;

/// How each string that was heard is usually found, in the newest tunings of `life`.
pub(super) fn usual(life: &Life, played: &Harp) -> BTreeMap<StringNumber, Usual> {
    let mut found: BTreeMap<StringNumber, Vec<f64>> = BTreeMap::new();
    for visit in life.visits.iter().rev().take(USUAL_OF) {
        for (&number, seen) in &visit.strings {
            if let (Some(reading), Some(string)) = (seen.found, played.string(number)) {
                let cents = reading.hz.cents_above(visit.tuning.open_target(string)).0;
                found.entry(number).or_default().push(cents);
            }
        }
    }
    let middle = |values: &mut Vec<f64>| {
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    };
    found
        .into_iter()
        .map(|(number, mut cents)| {
            let found = middle(&mut cents);
            let spread = middle(&mut cents.iter().map(|cents| (cents - found).abs()).collect());
            (
                number,
                Usual {
                    found,
                    spread,
                    tunings: cents.len(),
                },
            )
        })
        .collect()
}

/// What a person wrote down, the newest day first.
pub(super) fn written(life: &Life, form: Form) -> Vec<String> {
    let words = Words::english();
    let entries = write::entries(life);
    let mut lines = match form {
        Form::Csv => vec!["on,kind,says".to_owned()],
        Form::Text if entries.is_empty() => vec![words.say(Key::WrittenNothing, &[])],
        Form::Text | Form::Json => Vec::new(),
    };
    lines.extend(entries.iter().map(|entry| {
        let (on, says) = (entry.on().to_string(), said::in_words(entry, &life.sheet, &words));
        match form {
            Form::Text => says,
            Form::Csv => line(&[&on, entry.kind(), &says]),
            Form::Json => json!({ "on": on, "kind": entry.kind(), "says": says }).to_string(),
        }
    }));
    lines
}

/// How each string is usually found.
pub(super) fn strings(life: &Life, played: &Harp, form: Form) -> Vec<String> {
    let usual = usual(life, played);
    let mut lines = match form {
        Form::Csv => vec!["string,harp_name,found_cents,spread_cents,tunings".to_owned()],
        Form::Text if usual.is_empty() => vec![Words::english().say(Key::StringsNothing, &[])],
        Form::Text => vec!["string  name  found/cents  differs by  tunings".to_owned()],
        Form::Json => Vec::new(),
    };
    for (number, usual) in usual {
        let name = string_name(number, &life.sheet);
        let Usual { found, spread, tunings } = usual;
        lines.push(match form {
            Form::Text => format!("{number:>6}  {name:<4}  {found:>+11.1}  {spread:>10.1}  {tunings:>7}"),
            Form::Csv => format!("{number},{name},{found:.2},{spread:.2},{tunings}"),
            Form::Json => json!({
                "string": number.get(), "harp_name": name, "found_cents": found, "spread_cents": spread,
                "tunings": tunings,
            })
            .to_string(),
        });
    }
    lines
}

/// One string's readings, as found and as left, each against the target of its own tuning on `played`, the harp with what
/// is allowed for now.
pub(super) fn history(
    points: &[Point],
    (life, played): (&Life, &Harp),
    string: StringNumber,
    form: Form,
) -> Vec<String> {
    let name = string_name(string, &life.sheet);
    let mut lines = match form {
        Form::Csv => vec!["at,string,harp_name,hz,sigma_cents,cents,as,a4_hz,temperament,place".to_owned()],
        Form::Text if points.is_empty() => vec![Words::english().say(Key::PlotUnheard, &[])],
        Form::Text | Form::Json => Vec::new(),
    };
    // One tuning may go on after another was begun and ended.
    let (mut found, mut left): (BTreeMap<TuningId, usize>, _) = (BTreeMap::new(), BTreeMap::new());
    for (place, point) in points.iter().enumerate() {
        found.entry(point.tuning).or_insert(place);
        left.insert(point.tuning, place);
    }
    for (place, point) in points.iter().enumerate() {
        let is_of = |role: &BTreeMap<TuningId, usize>| role.get(&point.tuning) == Some(&place);
        let role = match (is_of(&found), is_of(&left)) {
            (true, true) => "found and left",
            (true, false) => "found",
            (false, true) => "left",
            (false, false) => "",
        };
        let visit = visit_of(point, life);
        let cents = visit.and_then(|visit| cents_of(point, visit, played, string));
        let a4 = visit.map(|visit| visit.tuning.a4.hz().get());
        let temperament = visit
            .and_then(|visit| visit.tuning.temperament.scheme())
            .map(Scheme::word);
        let place = visit.map_or("", |visit| visit.place.as_str());
        let (hz, sigma) = (point.reading.hz.get(), point.reading.sigma.0);
        lines.push(match form {
            Form::Text => {
                let off = cents.map_or_else(|| "no target".to_owned(), |cents| format!("{:+.1} cents", cents.0));
                let role = if place.is_empty() {
                    role.to_owned()
                } else {
                    format!("{role:<14}  {place}")
                };
                format!("{}  {hz:>8.2} Hz  {off:>13}  {role}", point.at)
            }
            Form::Csv => line(&[
                &point.at.to_string(),
                &string.to_string(),
                &name,
                &hz.to_string(),
                &sigma.to_string(),
                &cents.map_or_else(String::new, |cents| format!("{:.3}", cents.0)),
                role,
                &a4.map_or_else(String::new, |a4| a4.to_string()),
                temperament.unwrap_or("own"),
                place,
            ]),
            Form::Json => json!({
                "at": point.at.to_string(), "string": string.get(), "harp_name": name, "hz": hz,
                "sigma_cents": sigma, "cents": cents.map(|cents| cents.0), "as": role,
                "a4_hz": a4, "temperament": temperament.unwrap_or("own"), "place": place,
            })
            .to_string(),
        });
    }
    lines
}

/// The tuning that a reading belongs to.
fn visit_of<'a>(point: &Point, life: &'a Life) -> Option<&'a Visit> {
    let place = life.visits.binary_search_by_key(&point.begun, |visit| visit.at).ok()?;
    life.visits.get(place)
}

/// How far a reading lies above the target of the tuning of `visit`.
fn cents_of(point: &Point, visit: &Visit, played: &Harp, string: StringNumber) -> Option<Cents> {
    Some(
        point
            .reading
            .hz
            .cents_above(visit.tuning.open_target(played.string(string)?)),
    )
}

/// The restring plan.
pub(super) fn plan(read: &Read, regulation: Option<Date>, form: Form) -> Vec<String> {
    let rules = Rules::of(&read.life.sheet, regulation);
    let plan = restring(&read.chronicle, &read.life, &read.findings, read.today, &rules);
    let mut lines = match form {
        Form::Csv => vec!["string,harp_name,packet,fitted,why,when".to_owned()],
        Form::Text | Form::Json => Vec::new(),
    };
    for entry in &plan {
        // For a person one sentence stands for all strings of unknown age.
        if form == Form::Text && entry.why == Why::Unknown {
            continue;
        }
        let name = string_name(entry.string, &read.life.sheet);
        let string = read.life.sheet.harp.string(entry.string);
        let packet = string.map_or_else(String::new, |string| string.open.packet_number());
        let fitted = entry.fitted.map(|day| day.to_string());
        let (why, when) = reasons(entry, &read.words);
        lines.push(match form {
            Form::Text => format!(
                "{name:<4} No. {packet:<3} {:<10}  {why}: {when}",
                fitted.unwrap_or_default()
            ),
            Form::Csv => line(&[
                &entry.string.to_string(),
                &name,
                &packet,
                &fitted.unwrap_or_default(),
                &why,
                &when,
            ]),
            Form::Json => json!({
                "string": entry.string.get(), "harp_name": name, "packet": packet, "fitted": fitted,
                "why": why, "when": when,
            })
            .to_string(),
        });
    }
    if form == Form::Text {
        let any = !lines.is_empty();
        if !any {
            lines.push(read.words.say(Key::PlanNothing, &[]));
        }
        lines.extend(said::coming(read));
        lines.extend(of_unknown_age(&plan, read));
        if any {
            lines.push(read.words.say(Key::PlanCaution, &[]));
        }
    }
    lines
}

/// The sentence about the strings whose age nobody has written down, if there are any.
pub(super) fn of_unknown_age(plan: &[Replacement], read: &Read) -> Option<String> {
    let sheet = &read.life.sheet;
    let unknown: Vec<String> = plan
        .iter()
        .filter(|entry| entry.why == Why::Unknown)
        .map(|entry| string_name(entry.string, sheet))
        .collect();
    let strings = match unknown.as_slice() {
        [] => return None,
        [first, .., last] if unknown.len() == sheet.harp.len() => format!("{first}–{last}"),
        _ => unknown.join(", "),
    };
    Some(read.words.say(
        Key::PlanUnknownAll,
        &[("count", Arg::from(unknown.len())), ("strings", Arg::from(strings))],
    ))
}

/// Why and when a string is to be replaced, in words.
pub(super) fn reasons(entry: &Replacement, words: &Words) -> (String, String) {
    let why = match entry.why {
        Why::Broke { on } => words.say(Key::PlanBroke, &[("date", Arg::from(on.to_string()))]),
        Why::False => words.say(Key::PlanFalse, &[]),
        Why::Old { months, usual } => words.say(
            Key::PlanOld,
            &[("months", Arg::from(months)), ("usual", Arg::from(usual))],
        ),
        Why::Dull { db } => words.say(Key::PlanDull, &[("db", Arg::from(format!("{db:.0}")))]),
        Why::Unknown => words.say(Key::PlanUnknown, &[]),
    };
    (why, when_said(entry.when, words))
}

/// Writes everything, or one list, into `file`.
pub(super) fn export(store: &Store, of: Option<&str>, file: &Path, list: Option<&str>) -> Result<Vec<String>, NotDone> {
    let text = match List::ALL.into_iter().find(|known| Some(known.word()) == list) {
        Some(list) => {
            let mut text = store.export_csv(&store.harp(of)?, list)?.join("\n");
            text.push('\n');
            text
        }
        None if store.harps()?.is_empty() => return Err(RecordError::NoHarpYet.into()),
        None => serde_json::to_string_pretty(&store.export()?).map_err(|why| NotDone::Meaningless(why.to_string()))?,
    };
    save(file, &text)?;
    Ok(Vec::new())
}
