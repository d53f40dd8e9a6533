//! The station's memory on disk: opened once, then written piece by piece on a thread of its own.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::time::SystemTime;

use consort_proto::{Agreement, Fingerprint, Harp, Name, Report, Sequence, SessionId, Tenure};
use consort_store::{Database, DatabaseError, Folder, Writer, WriterError};
use rusqlite::Transaction;
use tokio::sync::mpsc::UnboundedSender;

use crate::table::{self, Saved};

/// Writes what the station has to keep, in order.
#[derive(Debug)]
pub(crate) struct Store {
    writer: Writer,
    told: UnboundedSender<Written>,
}

/// What became of something that was to be written.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Written {
    /// The report rests on the disk.
    Report(Sequence),
    /// The report does not; it is to be tried again.
    NotReport(Report, String),
    /// The coordinator is known from now on.
    Pinned(Fingerprint, SocketAddr),
    /// The note does not; it is to be tried again.
    NotNote(Note, String),
}

/// Something to be kept; only for [`Note::Pinned`] somebody waits.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Note {
    /// Who plays which harp.
    Started(Name, Harp),
    /// The coordinator of this session, or of any, has every report of it up to this one.
    Acked(Option<SessionId>, Sequence),
    /// Where a coordinator was reached.
    Reached(Fingerprint, SocketAddr),
    /// A coordinator that proved to know the code, and where it was reached.
    Pinned(Fingerprint, SocketAddr),
    /// The agreement as it now is, and the seat that is held in its session.
    Agreed(Agreement, Tenure),
}

impl Note {
    /// Whether `older` need not be written once this one is.
    pub(crate) fn replaces(&self, older: &Self) -> bool {
        match (self, older) {
            (Self::Reached(this, _), Self::Reached(other, _)) | (Self::Pinned(this, _), Self::Pinned(other, _)) => {
                this == other
            }
            (Self::Acked(this, _), Self::Acked(other, _)) => this == other,
            _ => std::mem::discriminant(self) == std::mem::discriminant(older),
        }
    }
}

/// A memory as it was found.
#[derive(Debug)]
pub(crate) struct Opened {
    pub(crate) saved: Saved,
    pub(crate) store: Store,
    /// Where a damaged file went.
    pub(crate) put_aside: Option<PathBuf>,
    /// Why nothing is written: the file is a newer program's.
    pub(crate) only_read: Option<String>,
}

/// Why there is no memory.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StoreError {
    /// The file cannot be opened.
    #[error(transparent)]
    Database(#[from] DatabaseError),
    /// The writer does not start.
    #[error("the writer of the data folder does not start ({0})")]
    Writer(#[from] std::io::Error),
}

/// The name of the file.
const FILE: &str = "station.sqlite";

impl Store {
    /// Reads the memory in `folder`, or begins one; what is written later is told to `told`.
    pub(crate) fn open(folder: &Folder, told: UnboundedSender<Written>) -> Result<Opened, StoreError> {
        let Database {
            connection,
            read,
            put_aside,
            newer,
        } = Database::open_and_read(folder, FILE, table::MIGRATIONS, table::read)?;
        let only_read = newer.as_ref().map(ToString::to_string);
        Ok(Opened {
            only_read,
            saved: read,
            store: Self {
                writer: Writer::on(connection, newer)?,
                told,
            },
            put_aside,
        })
    }

    /// Writes the report down; its end is told.
    pub(crate) fn journal(&self, report: Report) {
        let heard = SystemTime::now()
            .checked_sub(report.age)
            .unwrap_or(SystemTime::UNIX_EPOCH);
        let told = self.told.clone();
        let written = self.writer.write(
            move |transaction| table::write_report(transaction, &report, heard),
            move |written| {
                // Nobody listens once the station has ended.
                let _ = told.send(match written {
                    Ok(()) => Written::Report(report.sequence),
                    Err(why) => Written::NotReport(report, why.to_string()),
                });
            },
        );
        if let Err(why) = written {
            let _ = self.told.send(Written::NotReport(report, why.to_string()));
        }
    }

    /// Writes the note down; it is told if that cannot be done, and of a [`Note::Pinned`] also that it is done.
    pub(crate) fn note(&self, note: Note) {
        let (told, kept) = (self.told.clone(), note.clone());
        let work = move |transaction: &Transaction<'_>| match &kept {
            Note::Started(name, harp) => table::write_start(transaction, name, harp),
            Note::Acked(session, sequence) => table::forget(transaction, *session, *sequence),
            Note::Reached(coordinator, address) | Note::Pinned(coordinator, address) => {
                table::remember(transaction, *coordinator, *address)
            }
            Note::Agreed(agreement, tenure) => table::write_agreement(transaction, agreement, *tenure),
        };
        let again = note.clone();
        let report = move |written: Result<(), WriterError>| {
            let outcome = match (written, again) {
                (Ok(()), Note::Pinned(coordinator, address)) => Written::Pinned(coordinator, address),
                (Ok(()), _) => return,
                (Err(why), note) => Written::NotNote(note, why.to_string()),
            };
            // Nobody listens once the station has ended.
            let _ = told.send(outcome);
        };
        if let Err(why) = self.writer.write(work, report) {
            let _ = self.told.send(Written::NotNote(note, why.to_string()));
        }
    }
}
