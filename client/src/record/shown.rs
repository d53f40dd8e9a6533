//! The record's page as data: findings, strings, plan and table of one harp, every sentence finished.

use std::collections::BTreeMap;

use consort_pages::{
    RecordFinding, RecordLength, RecordPage, RecordReplacement, RecordStepCell, RecordStepRow, RecordSteps,
    RecordString,
};
use consort_proto::{Cents, Kind, Letter, StringNumber};
use consort_record::regulation::{self, StepError};
use consort_record::shelf::{needs, shelf as on_shelf};
use consort_record::telling::string_name;
use consort_record::{About, Date, Replacement, Rules, When, Why, plan as restring, plan::usual_months, tell};
use consort_record_store::{Kept, RecordError, Store};
use consort_words::{Arg, Key};

use super::{Read, allow, list, said, shelf, write};

/// Days in a month, in the mean.
const MONTH_DAYS: f64 = 30.44;

/// The page of `kept`, of which `read` was told; `version` tells it from any other.
pub(super) fn page(
    store: &Store,
    kept: &Kept,
    read: &Read,
    regulation: Option<Date>,
    version: String,
) -> Result<RecordPage, RecordError> {
    let (sheet, words) = (&kept.sheet, &read.words);
    let harps = store.harps()?.into_iter();
    let rules = Rules::of(&read.life.sheet, regulation);
    let plan = restring(&read.chronicle, &read.life, &read.findings, read.today, &rules);
    let mut plan_says: Vec<String> = list::of_unknown_age(&plan, read).into_iter().collect();
    if plan.iter().any(|entry| entry.why != Why::Unknown) {
        plan_says.push(words.say(Key::PlanCaution, &[]));
    } else {
        plan_says.insert(0, words.say(Key::PlanNothing, &[]));
    }
    let mut coming = said::coming(read);
    coming.append(&mut plan_says);
    let plan_says = coming;
    Ok(RecordPage {
        version,
        harp: sheet.harp.name().to_owned(),
        harps: harps.map(|kept| kept.sheet.harp.name().to_owned()).collect(),
        about: about(store.tunings(kept.id)?, read),
        only_read: store.only_read().map(|why| why.to_string()),
        nothing: read.nothing.clone(),
        findings: findings(read),
        strings: strings(read),
        plan: plan
            .iter()
            .filter(|entry| entry.why != Why::Unknown)
            .filter_map(|entry| replacement(entry, read))
            .collect(),
        plan_says,
        steps: steps(read).or_else(|| no_steps(read)),
        allowances: allow::page(read),
        shelf: lengths(read),
        shopping: shelf::missing(&needs(&read.life, &plan, &on_shelf(&read.life, &read.findings)))
            .into_iter()
            .map(|((string, material), count)| {
                format!("{count} × {}", shelf::in_trade_words(string, material, sheet, words))
            })
            .collect(),
        written: written(read),
        pins: sheet.pins.word(),
        player: sheet.player.word(),
        made: sheet.made.map(|day| day.to_string()),
        concert_days: sheet.concert_days,
        today: read.today.to_string(),
    })
}

/// What belongs to the harp for good, and how often it was tuned, in one line.
pub(super) fn about(tunings: usize, read: &Read) -> String {
    let sheet = &read.life.sheet;
    let newest = read.life.visits.last().map(|visit| visit.at.date().to_string());
    let args = [
        ("strings", Arg::from(sheet.harp.len())),
        ("pins", Arg::from(sheet.pins.word())),
        ("player", Arg::from(sheet.player.word())),
        ("count", Arg::from(tunings)),
        ("date", Arg::from(newest.unwrap_or_default())),
    ];
    read.words.say(Key::RecordAbout, &args)
}

fn findings(read: &Read) -> Vec<RecordFinding> {
    let told = read.findings.iter().map(|finding| {
        let told = tell(finding, &read.life.sheet, &read.words);
        RecordFinding {
            cause: finding.cause.word(),
            string: string_of(finding.about).map(StringNumber::get),
            says: told.headline,
            evidence: told.evidence,
            action: told.action,
            doubt: told.doubt,
        }
    });
    told.collect()
}

const fn string_of(about: About) -> Option<StringNumber> {
    match about {
        About::String(string) => Some(string),
        About::Letter(_) | About::Material(_) => None,
    }
}

fn strings(read: &Read) -> Vec<RecordString> {
    let (life, words) = (&read.life, &read.words);
    let usual = list::usual(life, &read.played);
    let named: BTreeMap<StringNumber, String> = read
        .findings
        .iter()
        .filter_map(|finding| Some((string_of(finding.about)?, tell(finding, &life.sheet, words).headline)))
        .collect();
    let strings = life.sheet.harp.numbered().map(|(number, string)| {
        let found = usual.get(&number);
        let headline = named.get(&number);
        let mut says = match found {
            Some(usual) => {
                let side = if usual.found < 0.0 { "flat" } else { "sharp" };
                let args = [
                    ("cents", Arg::from(format!("{:.1}", usual.found.abs()))),
                    ("side", Arg::from(side)),
                    ("count", Arg::from(usual.tunings)),
                ];
                words.say(Key::RecordString, &args)
            }
            None => words.say(Key::RecordStringUnheard, &[]),
        };
        if let Some(headline) = headline {
            says = format!("{says} {headline}.");
        }
        let served = life.put_on(number).map(|on| {
            let months = f64::from(read.today.days_since(on)) / MONTH_DAYS;
            (months / f64::from(usual_months(string, life.sheet.player)) * 100.0).round() / 100.0
        });
        RecordString {
            string: number.get(),
            name: string.open.harp_name(),
            letter: string.open.letter.to_string(),
            standing: match (found, headline) {
                (_, Some(_)) => "will-not-hold",
                (Some(_), None) => "heard",
                (None, None) => "not-heard",
            },
            cents: found.map(|usual| (usual.found * 10.0).round() / 10.0),
            served,
            says,
        }
    });
    strings.collect()
}

fn replacement(entry: &Replacement, read: &Read) -> Option<RecordReplacement> {
    let string = read.life.sheet.harp.string(entry.string)?;
    let (why, when) = list::reasons(entry, &read.words);
    Some(RecordReplacement {
        string: entry.string.get(),
        name: string.open.harp_name(),
        letter: string.open.letter.to_string(),
        packet: string.open.packet_number(),
        fitted: entry.fitted.map(|day| day.to_string()),
        why,
        when,
        now: entry.when == When::Now,
    })
}

fn lengths(read: &Read) -> Vec<RecordLength> {
    let (sheet, words) = (&read.life.sheet, &read.words);
    let shown = on_shelf(&read.life, &read.findings).into_iter().map(|one| {
        let cut: Vec<String> = one
            .cut
            .iter()
            .map(|(string, on)| format!("{} {on}", string_name(*string, sheet)))
            .collect();
        let args = [("left", Arg::from(one.rest)), ("yields", Arg::from(one.length.yields))];
        RecordLength {
            what: shelf::with_gauge(
                &one.length,
                shelf::in_trade_words(one.length.string, one.length.material, sheet, words),
                words,
            ),
            left: words.say(Key::ShelfLeft, &args),
            cut: cut.join(", "),
            bad: one.bad.map(|bad| shelf::why_bad(bad, sheet, words)),
            name: one.length.name,
        }
    });
    shown.collect()
}

/// That no disc or lever was checked yet, where the harp has some.
fn no_steps(read: &Read) -> Option<RecordSteps> {
    let mut strings = read.life.sheet.harp.strings().iter();
    strings
        .any(|string| string.mechanism.positions() > 0)
        .then(|| RecordSteps {
            says: read.words.say(Key::CheckNone, &[]),
            letters: Vec::new(),
            rows: Vec::new(),
        })
}

pub(super) fn steps(read: &Read) -> Option<RecordSteps> {
    let table = regulation::table(&read.chronicle);
    if table.is_empty() {
        return None;
    }
    let harp = &read.life.sheet.harp;
    // The columns are in the order of the pedals where the harp has some, else from C.
    let letters = match harp.kind() {
        Kind::Pedal => Letter::PEDALS,
        Kind::Lever | Kind::Other => Letter::ALL,
    };
    let mut rows: BTreeMap<i8, Vec<Option<RecordStepCell>>> = BTreeMap::new();
    for (number, string) in harp.numbered().filter(|(_, string)| string.mechanism.positions() > 0) {
        let column = letters.iter().position(|&letter| letter == string.open.letter)?;
        let known: Vec<Option<&StepError>> = (1..=string.mechanism.positions())
            .map(|position| {
                table
                    .iter()
                    .find(|step| step.string == number && step.position == position)
            })
            .collect();
        let not_yet = || read.words.say(Key::RecordStepNotYet, &[]);
        let cell = RecordStepCell {
            string: number.get(),
            steps: known.iter().map(|step| step.map_or_else(not_yet, cents_of)).collect(),
            off: known.iter().map(|step| step.is_some_and(StepError::is_off)).collect(),
        };
        let row = rows
            .entry(string.open.harp_octave())
            .or_insert_with(|| vec![None; letters.len()]);
        row[column] = Some(cell);
    }
    let newest = table.iter().map(|step| step.on).max()?;
    Some(RecordSteps {
        says: read
            .words
            .say(Key::RecordSteps, &[("date", Arg::from(newest.to_string()))]),
        letters: letters.map(|letter| letter.to_string()).to_vec(),
        rows: rows
            .into_iter()
            .map(|(octave, cells)| RecordStepRow {
                octave: octave.to_string(),
                cells,
            })
            .collect(),
    })
}

/// A step's error as it is read.
pub(super) fn cents_of(step: &StepError) -> String {
    let Cents(by) = step.by;
    let by = format!("{by:+.1}").replace('-', "−");
    let by = if by == "−0.0" { "+0.0".to_owned() } else { by };
    format!("{by} ±{:.1}", step.sigma.0)
}

/// What a person wrote down, newest first.
fn written(read: &Read) -> Vec<String> {
    let life = &read.life;
    write::entries(life)
        .iter()
        .map(|entry| said::in_words(entry, &life.sheet, &read.words))
        .collect()
}

/// What is heard of a string's name on this page.
pub(super) fn name(string: StringNumber, read: &Read) -> String {
    string_name(string, &read.life.sheet)
}
