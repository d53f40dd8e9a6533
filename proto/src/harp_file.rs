//! Harps as TOML: the presets, and any harp a person describes.
//!
//! ```toml
//! name = "Lever harp, 34 strings"
//! kind = "lever"
//! # Open tuning: letters not named here are natural.
//! open = { E = "flat", A = "flat", B = "flat" }
//!
//! # The strings from the top, in runs of one material and one mechanism.
//! [[runs]]
//! from = "A6"
//! to = "C5"
//! material = "nylon"
//! mechanism = "lever"
//!
//! # Whatever one string has of its own.
//! [[strings]]
//! note = "F4"
//! mechanism = "fixed"
//! open = "sharp"
//! regulation = [2.0]
//! ```

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::harp::{Harp, HarpString, Kind, Material, Mechanism, NotAHarp};
use crate::note::{Accidental, Letter, NotANote, Note};
use crate::units::Cents;

/// Why a text is not a harp.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum HarpFileError {
    /// More bytes than any harp needs: not a harp file.
    #[error("the harp file is too long: it has {0} bytes, and at most {BYTES_MAX} are read")]
    TooLong(usize),
    /// Not TOML, or a key or word that a harp file does not have.
    #[error("the harp file cannot be read: {0}")]
    Syntax(String),
    /// A note name that is none.
    #[error("the harp file names a string that does not exist: {0}")]
    Unknown(#[from] NotANote),
    /// A run starts lower than the string below the run before it.
    #[error("the harp file skips {0}: each run starts at the string just below the run before it")]
    Missing(String),
    /// A run starts at or above the end of the run before it, or two entries speak of one string.
    #[error("the harp file names {0} twice: leave one of the two out")]
    Doubled(String),
    /// An entry for a string that no run contains.
    #[error("the harp file describes {0}, but no run contains that string: lengthen a run, or leave the entry out")]
    NotInRuns(String),
    /// A run ends above its start.
    #[error("the run from {from} to {to} runs upward: list strings from the top down")]
    Upward {
        /// Its first string.
        from: String,
        /// Its last string.
        to: String,
    },
    /// More regulation errors than a string has positions above the open one.
    #[error(
        "the harp file gives {count} regulation errors for {string}: a string has at most two, for one and for two semitones"
    )]
    RegulationCount {
        /// The string.
        string: String,
        /// How many are given.
        count: usize,
    },
    /// A regulation error that is infinite or no number at all.
    #[error("the harp file gives {cents} as a regulation error of {string}: give a number of cents, such as 2.5")]
    RegulationNumber {
        /// The string.
        string: String,
        /// What is given.
        cents: f64,
    },
    /// A letter in `open` that is none.
    #[error(
        "the harp file tunes “{0}” open, which is not a letter from A to G: write one of them, as in open = {{ E = \"flat\" }}"
    )]
    Letter(String),
    /// The strings do not make a harp.
    #[error("the harp file does not make a harp: {0}")]
    Harp(#[from] NotAHarp),
}

/// The most bytes in a harp file: the longest preset has under 1 KiB, so this leaves room for remarks on every string.
pub const BYTES_MAX: usize = 64 * 1024;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    name: String,
    kind: Kind,
    #[serde(default)]
    open: BTreeMap<String, Accidental>,
    runs: Vec<Run>,
    #[serde(default)]
    strings: Vec<Entry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Run {
    from: String,
    to: String,
    material: Material,
    mechanism: Mechanism,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    note: String,
    open: Option<Accidental>,
    material: Option<Material>,
    mechanism: Option<Mechanism>,
    #[serde(default)]
    regulation: Vec<f64>,
}

/// The harp that `text` describes.
pub fn parse(text: &str) -> Result<Harp, HarpFileError> {
    if text.len() > BYTES_MAX {
        return Err(HarpFileError::TooLong(text.len()));
    }
    let file: File = toml::from_str(text).map_err(|error| HarpFileError::Syntax(in_line(text, &error)))?;
    let open = open_tuning(&file.open)?;
    let mut strings = Vec::new();
    for run in &file.runs {
        add_run(&mut strings, run, &open)?;
    }
    let mut described = Vec::new();
    for entry in &file.strings {
        let note: Note = entry.note.parse()?;
        if described.contains(&note.steps()) {
            return Err(HarpFileError::Doubled(place_name(note)));
        }
        described.push(note.steps());
        let string = strings
            .iter_mut()
            .find(|string: &&mut HarpString| string.open.steps() == note.steps())
            .ok_or_else(|| HarpFileError::NotInRuns(place_name(note)))?;
        apply(string, entry)?;
    }
    Ok(Harp::new(file.name, file.kind, strings)?)
}

/// The file that describes `harp`: [`parse`] reads the same harp from it.
///
/// Only harps whose strings follow one another letter by letter have one; another is refused as reading it would be.
pub fn write(harp: &Harp) -> Result<String, HarpFileError> {
    let mut written = format!(
        "name = {}\nkind = {}\nopen = {{ {} }}\n",
        quoted(harp.name()),
        word(&harp.kind()),
        usual_open(harp)
            .into_iter()
            .map(|(letter, accidental)| format!("{letter} = {}", word(&accidental)))
            .collect::<Vec<_>>()
            .join(", ")
    );
    let alike =
        |one: &HarpString, other: &HarpString| (one.material, one.mechanism) == (other.material, other.mechanism);
    for run in harp.strings().chunk_by(alike) {
        let [from, .., to] = run else {
            if let [only] = run {
                written += &run_text(only, only);
            }
            continue;
        };
        written += &run_text(from, to);
    }
    let open = usual_open(harp);
    for string in harp.strings() {
        let own = open.get(&string.open.letter.as_char()) != Some(&string.open.accidental);
        let regulated = string.regulation != [Cents(0.0); 2];
        if own || regulated {
            let Cents(first) = string.regulation[0];
            let Cents(second) = string.regulation[1];
            let accidental = word(&string.open.accidental);
            written += &format!(
                "\n[[strings]]\nnote = {}\nopen = {accidental}\n",
                quoted(&place_name(string.open))
            );
            written += &format!("regulation = [{first:?}, {second:?}]\n");
        }
    }
    match parse(&written) {
        Ok(read) if read == *harp => Ok(written),
        Ok(_) => Err(HarpFileError::Syntax(
            "its strings do not follow one another".to_owned(),
        )),
        Err(why) => Err(why),
    }
}

fn run_text(from: &HarpString, to: &HarpString) -> String {
    format!(
        "\n[[runs]]\nfrom = {}\nto = {}\nmaterial = {}\nmechanism = {}\n",
        quoted(&place_name(from.open)),
        quoted(&place_name(to.open)),
        word(&from.material),
        word(&from.mechanism)
    )
}

/// How most strings of each letter are tuned open; what is natural is left out as in a file by hand.
fn usual_open(harp: &Harp) -> BTreeMap<char, Accidental> {
    let mut open = BTreeMap::new();
    for letter in Letter::ALL {
        let of_letter = || harp.strings().iter().filter(|string| string.open.letter == letter);
        let count = |accidental| {
            of_letter()
                .filter(|string| string.open.accidental == accidental)
                .count()
        };
        let all = [Accidental::Flat, Accidental::Natural, Accidental::Sharp];
        if let Some(most) = all.into_iter().max_by_key(|accidental| count(*accidental))
            && of_letter().next().is_some()
        {
            open.insert(letter.as_char(), most);
        }
    }
    open
}

/// The word for `value` in a harp file, in its quotes.
fn word(value: &impl serde::Serialize) -> String {
    toml::Value::try_from(value).map_or_else(|_| quoted(""), |value| value.to_string())
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// The names under which [`preset`] knows a harp, from the largest pedal harp to the smallest lever harp.
pub fn preset_names() -> impl Iterator<Item = &'static str> {
    PRESETS.iter().map(|(name, _)| *name)
}

/// The harp that is called `name` here, such as `pedal-47` or `lever-34`.
pub fn preset(name: &str) -> Option<Harp> {
    preset_text(name).map(|text| parse(text).unwrap_or_else(|error| unreachable!("preset {name}: {error}")))
}

/// The file of the harp that is called `name` here, to start one's own from.
pub fn preset_text(name: &str) -> Option<&'static str> {
    PRESETS
        .iter()
        .find(|(preset, _)| *preset == name)
        .map(|(_, text)| *text)
}

macro_rules! presets {
    ($($name:literal),* $(,)?) => { [$(($name, include_str!(concat!("../presets/", $name, ".toml")))),*] };
}

const PRESETS: [(&str, &str); 14] = presets![
    "pedal-48", "pedal-47", "pedal-46", "pedal-44", "pedal-40", "lever-40", "lever-38", "lever-36", "lever-34",
    "lever-33", "lever-29", "lever-27", "lever-26", "lever-22",
];

fn open_tuning(open: &BTreeMap<String, Accidental>) -> Result<[Accidental; 7], HarpFileError> {
    let mut tuning = [Accidental::Natural; 7];
    for (name, accidental) in open {
        let mut chars = name.chars();
        let letter = chars
            .next()
            .and_then(Letter::from_char)
            .filter(|_| chars.as_str().is_empty());
        tuning[letter
            .ok_or_else(|| HarpFileError::Letter(name.chars().take(40).collect()))?
            .index()] = *accidental;
    }
    Ok(tuning)
}

fn add_run(strings: &mut Vec<HarpString>, run: &Run, open: &[Accidental; 7]) -> Result<(), HarpFileError> {
    let (from, to): (Note, Note) = (run.from.parse()?, run.to.parse()?);
    if to.steps() > from.steps() {
        return Err(HarpFileError::Upward {
            from: place_name(from),
            to: place_name(to),
        });
    }
    if let Some(last) = strings.last() {
        let next = last.open.steps() - 1;
        if from.steps() > next {
            return Err(HarpFileError::Doubled(place_name(from)));
        }
        if from.steps() < next {
            return Err(HarpFileError::Missing(place_name(at_steps(next, open))));
        }
    }
    for steps in (to.steps()..=from.steps()).rev() {
        strings.push(HarpString {
            open: at_steps(steps, open),
            material: run.material,
            mechanism: run.mechanism,
            regulation: [Cents(0.0); 2],
        });
    }
    Ok(())
}

fn apply(string: &mut HarpString, entry: &Entry) -> Result<(), HarpFileError> {
    if entry.regulation.len() > string.regulation.len() {
        return Err(HarpFileError::RegulationCount {
            string: place_name(string.open),
            count: entry.regulation.len(),
        });
    }
    if let Some(&cents) = entry.regulation.iter().find(|cents| !cents.is_finite()) {
        return Err(HarpFileError::RegulationNumber {
            string: place_name(string.open),
            cents,
        });
    }
    string.open.accidental = entry.open.unwrap_or(string.open.accidental);
    string.material = entry.material.unwrap_or(string.material);
    string.mechanism = entry.mechanism.unwrap_or(string.mechanism);
    for (kept, &error) in string.regulation.iter_mut().zip(&entry.regulation) {
        *kept = Cents(error);
    }
    Ok(())
}

fn at_steps(steps: i32, open: &[Accidental; 7]) -> Note {
    let letter = Letter::ALL[steps.rem_euclid(7) as usize];
    Note::new(letter, open[letter.index()], steps.div_euclid(7) as i8)
}

fn place_name(note: Note) -> String {
    format!("{}{}", note.letter, note.octave)
}

/// What is wrong and in which line, in one line of text no longer than a person would read.
fn in_line(text: &str, error: &toml::de::Error) -> String {
    let what = error.message().lines().map(str::trim).collect::<Vec<_>>().join(" ");
    let what: String = what.chars().take(160).collect();
    match error.span() {
        Some(span) => {
            let above = text.bytes().take(span.start).filter(|&byte| byte == b'\n').count();
            format!("line {}: {what}", above + 1)
        }
        None => what,
    }
}
