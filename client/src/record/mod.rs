//! `record`: the harp's memory on the command line, for people, spreadsheets and programs.

mod allow;
mod args;
mod check;
mod list;
pub(crate) mod live;
mod page;
mod plot;
mod said;
mod shelf;
mod shown;
mod write;

use std::fs;
use std::path::{Path, PathBuf};

use consort_proto::Harp;
use consort_proto::harp_file::{self, HarpFileError};
use consort_record::allowance::harp_allowing;
use consort_record::{
    Cause, Chronicle, Date, Finding, Life, NotADate, Rules, look, plan as restring, regulation, worn_out,
};
use consort_record_store::{Kept, RecordError, Store, Whose};
use consort_store::{Folder, FolderError};
use consort_words::{Key, Words};

pub(crate) use allow::{allowing, allowing_in};
pub use args::RecordArgs;
use args::RecordOrder;
use plot::Drawn;
pub(crate) use shelf::set_aside;

use crate::choice::{self, NotAHarpChoice};
use crate::keeper::now;
use crate::start::RECORD;
use crate::station::HARP_FILE;

/// Why the record does not do what was asked.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub(crate) enum NotDone {
    /// The harp is none.
    #[error(transparent)]
    Harp(#[from] NotAHarpChoice),
    /// The harp cannot be remembered.
    #[error("the harp cannot be remembered ({0}): give it another name")]
    HarpFile(#[from] HarpFileError),
    /// There is no usual place for data.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// The record refuses.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// A day that is none.
    #[error(transparent)]
    Day(#[from] NotADate),
    /// A string that the harp does not have.
    #[error("this harp has no string “{0}”: name it as harpists do, as in 5D, or by its number from the top")]
    NoSuchString(String),
    /// Words that say nothing that can be written down.
    #[error("{0}")]
    Meaningless(String),
    /// A file that cannot be read.
    #[error("{file} cannot be read ({cause}): look at its name and place", file = file.display())]
    Unread {
        /// The file.
        file: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// A file that cannot be written.
    #[error("{file} cannot be written ({cause}): choose another name or folder", file = file.display())]
    Unwritten {
        /// The file.
        file: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// What was to be imported is refused.
    #[error("{file}: {cause}", file = file.display())]
    Import {
        /// The file.
        file: PathBuf,
        /// Why.
        cause: RecordError,
    },
}

impl NotDone {
    /// The same with the record's file, where what is wrong with it decides what to do.
    fn at(self, path: &Path) -> Self {
        match self {
            Self::Record(cause) => Self::Record(cause.at(path)),
            Self::Import {
                cause: cause @ RecordError::Sqlite(_),
                ..
            } => Self::Record(cause.at(path)),
            other => other,
        }
    }
}

/// How an answer is written.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Form {
    Text,
    Csv,
    Json,
}

/// Tunings that findings are made from: half a year of daily ones.
const LOOKED_AT: usize = 180;
/// Fewer tunings give no findings.
const TUNINGS_MIN: usize = 3;

/// Does what `args` say with the record in the folder `data`, and gives the lines to print.
pub(crate) fn carry_out(
    args: &RecordArgs,
    data: Option<PathBuf>,
    harp: Option<&str>,
    json: bool,
) -> Result<Vec<String>, NotDone> {
    let data = data.map_or_else(|| Folder::usual("station"), Ok)?;
    let path = data.join(RECORD);
    let mut store = Store::open(&path)?;
    let form = match (args.csv, json) {
        (true, _) => Form::Csv,
        (false, true) => Form::Json,
        (false, false) => Form::Text,
    };
    let mut lines = answer(&mut store, args, harp, form).map_err(|why| why.at(&path))?;
    if form == Form::Text {
        lines.extend(store.only_read().map(|why| why.to_string()));
    }
    Ok(lines)
}

/// What the record in `store` says to `args`.
fn answer(store: &mut Store, args: &RecordArgs, harp: Option<&str>, form: Form) -> Result<Vec<String>, NotDone> {
    let of = args.of.as_deref();
    let today = today();
    match &args.order {
        RecordOrder::Begin { name } => {
            let begun = write::begin(store, begun_of(store, harp)?, name.as_deref())?;
            // Its first tuning comes next: the station takes it for the harp that it hears.
            save(&store.path().with_file_name(HARP_FILE), &harp_file::write(&begun)?)?;
            let name = [("name", consort_words::Arg::from(begun.name()))];
            Ok(match form {
                Form::Text => vec![Words::english().say(Key::RecordBegun, &name)],
                Form::Csv | Form::Json => Vec::new(),
            })
        }
        RecordOrder::Harps => list::harps(store, form),
        RecordOrder::Findings => {
            let kept = store.harp(of)?;
            Ok(list::findings(&told(store, &kept, today)?, form))
        }
        RecordOrder::Strings { plot } => {
            let kept = store.harp(of)?;
            let life = store.life(&kept, Some(list::USUAL_OF))?;
            let played = allowing_in(store, &kept, &kept.sheet.harp)?;
            if let Some(file) = plot {
                save(file, &plot::harp(&life, &played, Drawn::FILE, &Words::english()))?;
            }
            Ok(list::strings(&life, &played, form))
        }
        RecordOrder::History { string, plot } => {
            let kept = store.harp(of)?;
            let string = args::string(string, &kept.sheet)?;
            let played = allowing_in(store, &kept, &kept.sheet.harp)?;
            if let Some(file) = plot {
                let life = store.life(&kept, Some(LOOKED_AT))?;
                save(
                    file,
                    &plot::history(&life, &played, string, Drawn::FILE, &Words::english()),
                )?;
            }
            Ok(list::history(
                &store.history(kept.id, string)?,
                (&store.outline(&kept)?, &played),
                string,
                form,
            ))
        }
        RecordOrder::Plan { regulation } => {
            let kept = store.harp(of)?;
            let regulation = regulation.as_deref().map(str::parse).transpose()?;
            Ok(list::plan(&told(store, &kept, today)?, regulation, form))
        }
        RecordOrder::Page { file, regulation } => {
            let kept = store.harp(of)?;
            let technician = regulation.as_deref().map(str::parse).transpose()?;
            let (read, tunings) = (told(store, &kept, today)?, store.tunings(kept.id)?);
            save(file, &page::page(&read, tunings, technician))?;
            Ok(Vec::new())
        }
        RecordOrder::Export { file, list } => list::export(store, of, file, list.as_deref()),
        RecordOrder::Import { file, into, called } => {
            let whose = match (into, called) {
                (Some(name), _) => Whose::Into(name),
                (None, Some(name)) => Whose::Called(name),
                (None, None) => Whose::File,
            };
            let text = fs::read_to_string(file).map_err(|cause| NotDone::Unread {
                file: file.clone(),
                cause,
            })?;
            write::import(store, of, (file, &text), whose, (today, form))
        }
        RecordOrder::Check { files, input } => {
            let kept = store.harp(of)?;
            check::carry_out(store, kept, files, input, form)
        }
        RecordOrder::Steps => {
            let kept = store.harp(of)?;
            check::steps(&told(store, &kept, today)?, form)
        }
        RecordOrder::Allow { letters, off, plays } => {
            let asked = allow::Asked {
                letters: letters.as_deref(),
                off: *off,
                setting: plays.as_deref(),
            };
            allow::carry_out(store, of, asked, (today, form))
        }
        RecordOrder::Written => {
            let kept = store.harp(of)?;
            Ok(list::written(&store.outline(&kept)?, form))
        }
        RecordOrder::Shelf(order) => shelf::carry_out(store, of, order, (today, form)),
        other => write::carry_out(store, of, other, (today, form)),
    }
}

/// A harp's life with what it says today.
#[derive(Debug)]
struct Read {
    life: Life,
    /// Its harp with what is allowed for: whose targets it is tuned to.
    played: Harp,
    chronicle: Chronicle,
    findings: Vec<Finding>,
    words: Words,
    today: Date,
    /// Why there are no findings, if there are none.
    nothing: Option<String>,
}

fn told(store: &Store, kept: &Kept, today: Date) -> Result<Read, NotDone> {
    let life = store.life(kept, Some(LOOKED_AT))?;
    let chronicle = Chronicle::of(&life);
    let played = harp_allowing(&kept.sheet.harp, &regulation::table(&chronicle), &kept.sheet.allowed);
    let words = Words::english();
    let mut findings = look(&chronicle, &life, today);
    if life.visits.len() < TUNINGS_MIN {
        // What a string sounds like is heard in one tuning; how it moves is not.
        findings.retain(|finding| matches!(finding.cause, Cause::FalseString { .. }));
    }
    let heard_of = !findings.is_empty();
    let plan = restring(&chronicle, &life, &findings, today, &Rules::of(&life.sheet, None));
    findings.extend(worn_out(&plan, &life, today));
    findings.sort_by_key(Finding::order);
    let nothing = match life.visits.len() {
        _ if heard_of => None,
        few if few < TUNINGS_MIN => Some(words.say(Key::FoundFewTunings, &[("count", consort_words::Arg::from(few))])),
        _ if findings.is_empty() => Some(words.say(Key::FoundNothing, &[])),
        _ => None,
    };
    Ok(Read {
        life,
        played,
        chronicle,
        findings,
        words,
        today,
        nothing,
    })
}

/// Writes a file whole, or leaves what was there.
fn save(file: &Path, text: &str) -> Result<(), NotDone> {
    let unwritten = |cause| NotDone::Unwritten {
        file: file.to_owned(),
        cause,
    };
    let mut half_made = file.as_os_str().to_owned();
    half_made.push(".new");
    fs::write(&half_made, text).map_err(unwritten)?;
    fs::rename(&half_made, file).map_err(unwritten)
}

/// The harp that `word` chooses for a new record; without a word the one that this station heard last.
fn begun_of(store: &Store, word: Option<&str>) -> Result<Harp, NotDone> {
    let data = store.path().parent().unwrap_or(Path::new("."));
    if let Some(word) = word {
        return Ok(choice::harp_here(word, data)?.harp);
    }
    let kept = fs::read_to_string(data.join(HARP_FILE)).ok();
    match kept.and_then(|text| harp_file::parse(&text).ok()) {
        Some(harp) => Ok(harp),
        None => Ok(choice::harp(None)?.harp),
    }
}

/// The harp that the record in the folder `data` calls `name`, in small or large letters; none where there is no record.
pub(crate) fn harp_called(data: &Path, name: &str) -> Result<Option<Harp>, RecordError> {
    let path = data.join(RECORD);
    if !path.is_file() {
        return Ok(None);
    }
    let store = Store::open(&path)?;
    // A record that cannot be read is told from one that has no such harp.
    store.harps()?;
    Ok(store.harp(Some(name)).ok().map(|kept| kept.sheet.harp))
}

fn today() -> Date {
    now().date()
}
