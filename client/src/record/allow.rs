//! Letters whose discs or levers are allowed for: the choice, and what it does to each string in every position.

use std::path::Path;

use consort_pages::{RecordAllowance, RecordAllowances, RecordAllowed};
use consort_proto::{Cents, Harp, Kind, Letter, Mechanism, Setting};
use consort_record::allowance::{Effect, Letters, Stays, effects, harp_allowing};
use consort_record::regulation::{self, StepError};
use consort_record::telling::string_name;
use consort_record::{Chronicle, Date, Sheet};
use consort_record_store::csv::line;
use consort_record_store::{Kept, RecordError, Store};
use consort_words::{Arg, Key, Words};
use serde_json::json;

use super::{Form, LOOKED_AT, NotDone, Read, told};
use crate::keeper;

/// What is chosen, and for which setting its effect is shown.
#[derive(Clone, Copy, Debug)]
pub(super) struct Asked<'a> {
    /// The letters that are chosen, or no longer; without any, nothing changes.
    pub(super) letters: Option<&'a str>,
    /// No longer.
    pub(super) off: bool,
    /// A major key or all seven pedals; without it that of the newest tuning.
    pub(super) setting: Option<&'a str>,
}

/// Chooses, and gives what that does.
pub(super) fn carry_out(
    store: &mut Store,
    of: Option<&str>,
    asked: Asked<'_>,
    (today, form): (Date, Form),
) -> Result<Vec<String>, NotDone> {
    let setting = asked
        .setting
        .map(str::parse::<Setting>)
        .transpose()
        .map_err(|why| NotDone::Meaningless(why.to_string()))?;
    let (kept, named) = choose(store, of, asked)?;
    let read = told(store, &kept, today)?;
    Ok(lines(&read, &named, setting, form))
}

/// Chooses, and says so in one sentence.
pub(super) fn choose_and_say(
    store: &mut Store,
    of: Option<&str>,
    asked: Asked<'_>,
    today: Date,
) -> Result<Vec<String>, NotDone> {
    let (kept, named) = choose(store, of, asked)?;
    let read = told(store, &kept, today)?;
    Ok(named
        .iter()
        .map(|letter| choice(&read, letter, served(&read)))
        .collect())
}

fn choose(store: &mut Store, of: Option<&str>, asked: Asked<'_>) -> Result<(Kept, Letters), NotDone> {
    let mut kept = store.harp(of)?;
    let named: Letters = asked
        .letters
        .unwrap_or_default()
        .parse()
        .map_err(|why: consort_record::allowance::NotLetters| NotDone::Meaningless(why.to_string()))?;
    let allowed = kept.sheet.allowed.with(&named, !asked.off);
    if allowed != kept.sheet.allowed {
        // Looking alone writes nothing: it is for a record, too, that can only be read.
        let sheet = Sheet { allowed, ..kept.sheet };
        store.change_sheet(kept.id, &sheet)?;
        kept.sheet = sheet;
    }
    Ok((kept, named))
}

/// `harp` with what the record at `path` allows for on it; as it is where nothing is known or chosen.
///
/// A record that cannot be read allows for nothing: what is wrong with it is told where it is written.
pub(crate) fn allowing(path: &Path, harp: &Harp) -> Harp {
    let known = || -> Result<Option<Harp>, RecordError> {
        let store = Store::open(path)?;
        let kept = keeper::kept_of(&store.harps()?, harp);
        kept.map(|kept| allowing_in(&store, &kept, harp)).transpose()
    };
    let known = path.is_file().then(known);
    known.and_then(Result::ok).flatten().unwrap_or_else(|| harp.clone())
}

/// The same in an open record.
pub(crate) fn allowing_in(store: &Store, kept: &Kept, harp: &Harp) -> Result<Harp, RecordError> {
    if kept.sheet.allowed.is_empty() {
        return Ok(harp.clone());
    }
    let table = regulation::table(&Chronicle::of(&store.life(kept, Some(LOOKED_AT))?));
    Ok(harp_allowing(harp, &table, &kept.sheet.allowed))
}

/// The setting of the newest tuning.
fn served(read: &Read) -> Setting {
    read.life
        .visits
        .last()
        .map_or(Setting::NATURALS, |visit| visit.tuning.setting)
}

/// The letters with a checked step, in the order of the columns.
fn checked(harp: &Harp, table: &[StepError]) -> Vec<Letter> {
    let letters = match harp.kind() {
        Kind::Pedal => Letter::PEDALS,
        Kind::Lever | Kind::Other => Letter::ALL,
    };
    let of = |step: &StepError| harp.string(step.string).map(|string| string.open.letter);
    letters
        .into_iter()
        .filter(|letter| table.iter().any(|step| of(step) == Some(*letter)))
        .collect()
}

/// Whether `letter` is allowed for, in words.
fn choice(read: &Read, letter: Letter, setting: Setting) -> String {
    let key = if read.life.sheet.allowed.has(letter) {
        Key::AllowOn
    } else {
        Key::AllowOff
    };
    let args = [
        ("letter", Arg::from(letter.to_string())),
        ("setting", Arg::from(read.words.setting(setting))),
    ];
    read.words.say(key, &args)
}

/// The names of the positions of the harp's strings.
fn positions(harp: &Harp, words: &Words) -> Vec<String> {
    let discs = harp.strings().iter().any(|string| string.mechanism == Mechanism::Discs);
    let names: &[&str] = if discs {
        &["flat", "natural", "sharp"]
    } else {
        &["off", "on"]
    };
    names
        .iter()
        .map(|name| words.say(Key::AllowPosition, &[("position", Arg::from(*name))]))
        .collect()
}

/// Why a string stays, in words.
fn stays(stays: Stays, words: &Words) -> String {
    let cents = |cents: Cents| [("cents", Arg::from(format!("{:.1}", cents.0.abs())))];
    match stays {
        Stays::PlaysOpen => words.say(Key::AllowOpen, &[]),
        Stays::NotMeasured => words.say(Key::AllowUnmeasured, &[]),
        Stays::Uncertain(sigma) => words.say(Key::AllowUncertain, &cents(sigma)),
        Stays::TooFar(by) => words.say(Key::AllowFar, &cents(by)),
    }
}

/// Cents as they are read.
fn shown(cents: Cents) -> String {
    let text = format!("{:+.1}", cents.0).replace('-', "−");
    if text == "−0.0" { "+0.0".to_owned() } else { text }
}

/// For the page: every letter that was checked with what allowing for it does.
pub(super) fn page(read: &Read) -> Option<RecordAllowances> {
    let table = regulation::table(&read.chronicle);
    let (harp, setting, words) = (&read.life.sheet.harp, served(read), &read.words);
    let letters = checked(harp, &table);
    // Errors are known to a tenth of a cent.
    let moves = |letter: Letter| -> i64 {
        let effects = effects(harp, &table, setting, letter);
        effects
            .iter()
            .map(|effect| (effect.moves.0.abs() * 10.0).round() as i64)
            .sum()
    };
    let foremost = letters
        .iter()
        .max_by_key(|&&letter| (read.life.sheet.allowed.has(letter), moves(letter)));
    let foremost = foremost?.to_string();
    let letters = letters.into_iter().map(|letter| {
        let on = read.life.sheet.allowed.has(letter);
        let name = [("letter", Arg::from(letter.to_string()))];
        RecordAllowance {
            letter: letter.to_string(),
            on,
            says: choice(read, letter, setting),
            changes: words.say(if on { Key::AllowUndo } else { Key::AllowDo }, &name),
            strings: effects(harp, &table, setting, letter)
                .iter()
                .map(|effect| allowed(effect, &read.life.sheet, words))
                .collect(),
        }
    });
    Some(RecordAllowances {
        says: words.say(Key::AllowIntro, &[]),
        caution: words.say(Key::AllowCaution, &[]),
        positions: positions(harp, words),
        foremost,
        letters: letters.collect(),
    })
}

fn allowed(effect: &Effect, sheet: &Sheet, words: &Words) -> RecordAllowed {
    let all = |positions: &[Option<Cents>]| positions.iter().map(|cents| cents.map(shown)).collect();
    RecordAllowed {
        string: effect.string.get(),
        name: string_name(effect.string, sheet),
        moves: effect.stays.is_none().then(|| shown(effect.moves)),
        stays: effect.stays.map(|why| stays(why, words)),
        before: all(&effect.before),
        after: all(&effect.after),
    }
}

/// For the command: the letters that are `named`, else all that were checked.
fn lines(read: &Read, named: &Letters, setting: Option<Setting>, form: Form) -> Vec<String> {
    let table = regulation::table(&read.chronicle);
    let (sheet, words) = (&read.life.sheet, &read.words);
    let setting = setting.unwrap_or_else(|| served(read));
    let mut letters = checked(&sheet.harp, &table);
    letters.retain(|letter| named.is_empty() || named.has(*letter));
    let mut lines = match form {
        Form::Csv => vec![
            "string,harp_name,allowed,plays,moves_cents,stays,open_before,first_before,second_before,open_after,\
             first_after,second_after"
                .to_owned(),
        ],
        Form::Text if letters.is_empty() => vec![words.say(Key::AllowNothing, &[])],
        Form::Text => vec![words.say(Key::AllowIntro, &[])],
        Form::Json => Vec::new(),
    };
    let positions = positions(&sheet.harp, words);
    for letter in letters {
        let on = sheet.allowed.has(letter);
        if form == Form::Text {
            lines.push(choice(read, letter, setting));
        }
        for effect in effects(&sheet.harp, &table, setting, letter) {
            let name = string_name(effect.string, sheet);
            let why = effect.stays.map(|why| stays(why, words));
            lines.push(match form {
                Form::Text => row(&name, &effect, &positions, why),
                Form::Csv => {
                    let figure = |cents: Option<&Option<Cents>>| match cents {
                        Some(Some(cents)) => format!("{:.1}", cents.0 + 0.0),
                        Some(None) | None => String::new(),
                    };
                    let mut fields = vec![
                        effect.string.to_string(),
                        name,
                        on.to_string(),
                        effect.plays.to_string(),
                        format!("{:.1}", effect.moves.0 + 0.0),
                        why.unwrap_or_default(),
                    ];
                    fields.extend((0..3).map(|place| figure(effect.before.get(place))));
                    fields.extend((0..3).map(|place| figure(effect.after.get(place))));
                    line(&fields.iter().map(String::as_str).collect::<Vec<_>>())
                }
                Form::Json => {
                    let figures = |all: &[Option<Cents>]| -> Vec<Option<f64>> {
                        all.iter().map(|cents| cents.map(|cents| cents.0 + 0.0)).collect()
                    };
                    json!({
                        "string": effect.string.get(), "harp_name": name, "allowed": on, "plays": effect.plays,
                        "moves_cents": effect.moves.0 + 0.0, "stays": why, "before_cents": figures(&effect.before),
                        "after_cents": figures(&effect.after),
                    })
                    .to_string()
                }
            });
        }
    }
    if form == Form::Text && lines.len() > 1 {
        lines.push(words.say(Key::AllowCaution, &[]));
    }
    lines
}

/// One string for a person: how far its open string moves, and every position before and with the allowance.
fn row(name: &str, effect: &Effect, positions: &[String], why: Option<String>) -> String {
    let moves = why.unwrap_or_else(|| shown(effect.moves));
    let figure = |cents: &Option<Cents>| cents.map_or_else(|| "?".to_owned(), shown);
    let each = positions.iter().zip(effect.before.iter().zip(&effect.after));
    let each: Vec<String> = each
        .map(|(position, (before, after))| format!("{position} {} → {}", figure(before), figure(after)))
        .collect();
    format!("  {name:<4} {moves:<6}  {}", each.join("   "))
}
