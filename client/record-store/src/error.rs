//! Why a record cannot be opened, written or imported.

use std::path::{Path, PathBuf};

use consort_record::NotAnEntry;

/// Why the record does not do what was asked.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RecordError {
    /// The file is no record, or its content is damaged.
    #[error(
        "the record {path} is damaged ({cause}): move it away, then import the newest backup; \
         nothing was changed in it",
        path = path.display()
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was found.
        cause: String,
    },
    /// The file cannot be made or written.
    #[error("the record {path} cannot be written ({cause}): look whether the disk is full", path = path.display())]
    NotWritable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        cause: String,
    },
    /// A newer program wrote it.
    #[error(
        "this record was written by a newer version of this program (layout {found}, this one knows up to {known}) \
         and can only be read: update this program to change it"
    )]
    Newer {
        /// Its layout.
        found: usize,
        /// The newest one known here.
        known: usize,
    },
    /// Nothing has been recorded yet.
    #[error(
        "this record holds no harp yet: tune one with this station, or begin its record with \
         “consort-station --harp pedal-47 record begin”"
    )]
    NoHarpYet,
    /// Several harps, and no word which one is meant.
    #[error(
        "this record holds several harps: say which one with --of and its name, as in --of \"{first}\"; it has {known}"
    )]
    WhichHarp {
        /// One of them.
        first: String,
        /// All of them.
        known: String,
    },
    /// There is no such harp.
    #[error("this record holds no harp called “{name}”: give --of one of these names: {known}")]
    NoSuchHarp {
        /// What was asked for.
        name: String,
        /// Those it has.
        known: String,
    },
    /// Two harps would have one name.
    #[error(
        "the record already has a harp called “{0}”: give this one another name, at an import with --as, or join the two \
         with --into"
    )]
    NameTaken(String),
    /// Two lengths would have one name.
    #[error("there already is a length called “{0}” on the shelf: give the new one another name")]
    LengthTaken(String),
    /// No length on the shelf is called so.
    #[error("there is no length called “{0}” on the shelf: look at “record shelf list”")]
    NoSuchLength(String),
    /// Nothing of the length is left.
    #[error(
        "the length “{length}” yields {yields} strings, and all of them are used: name the length that this one was cut from"
    )]
    UsedUp {
        /// The length.
        length: String,
        /// How many it yields.
        yields: u32,
    },
    /// An entry that cannot be.
    #[error(transparent)]
    Entry(#[from] NotAnEntry),
    /// Nothing to take back.
    #[error("there is nothing to take back")]
    NothingToUndo,
    /// An entry to be taken out is not there.
    #[error("there is no such entry to take out")]
    NoSuchEntry,
    /// The harp's strings cannot be read.
    #[error("the record holds a harp that cannot be read: {0}")]
    Harp(String),
    /// What was to be imported cannot be.
    #[error(transparent)]
    Import(#[from] NotImported),
    /// SQLite refuses.
    #[error("the record cannot be used just now ({0}): look whether the disk is full, then try again")]
    Sqlite(#[from] rusqlite::Error),
}

impl RecordError {
    /// The same with the file that it is about, where SQLite said it: what to do depends on what is wrong with it.
    pub fn at(self, path: &Path) -> Self {
        match self {
            Self::Sqlite(cause) => crate::store::told(path, cause),
            other => other,
        }
    }
}

/// Why a text is not taken in; nothing of it was.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NotImported {
    /// The first line names no list that is known.
    #[error("line 1: these columns are those of no list: {expected}")]
    Columns {
        /// What could stand there.
        expected: String,
    },
    /// The first line is nearly that of a list.
    #[error(
        "line 1, column {column}: {found} stands where the list {list} has {expected}; its first line is {columns}"
    )]
    Column {
        /// The first column that differs, from 1.
        column: usize,
        /// What stands there.
        found: String,
        /// The list that was meant.
        list: &'static str,
        /// What should stand there.
        expected: String,
        /// All of the list's columns.
        columns: &'static str,
    },
    /// A text in quotes has no end.
    #[error("line {line}, column {column}: a quotation mark is opened and never closed")]
    Quote {
        /// The line, from 1.
        line: usize,
        /// The field in the line, from 1.
        column: usize,
    },
    /// A line has too few or too many fields.
    #[error("line {line}: {found} columns in place of {expected}")]
    Shape {
        /// The line, from 1.
        line: usize,
        /// How many it has.
        found: usize,
        /// How many it should have.
        expected: usize,
    },
    /// A field cannot be read.
    #[error("line {line}, column {column}: {why}")]
    Field {
        /// The line, from 1.
        line: usize,
        /// The column's name.
        column: String,
        /// Why.
        why: String,
    },
    /// Not JSON, or not of this shape.
    #[error("line {line}, column {column}: not a record ({why})")]
    Json {
        /// The line, from 1.
        line: usize,
        /// The place in the line, from 1.
        column: usize,
        /// Why.
        why: String,
    },
    /// Something in a JSON record cannot be.
    #[error("{place}: {why}")]
    Value {
        /// Where, as `fittings[3].on`.
        place: String,
        /// Why.
        why: String,
    },
}
