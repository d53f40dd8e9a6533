//! The station's memory on disk: opened once, then written piece by piece on a thread of its own.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::time::SystemTime;

use consort_proto::{Agreement, Fingerprint, Harp, Name, Report, Sequence};
use consort_store::{Database, DatabaseError, Folder, Writer};
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
    /// Something else does not.
    Nothing(String),
}

/// A memory as it was found.
#[derive(Debug)]
pub(crate) struct Opened {
    pub(crate) saved: Saved,
    pub(crate) store: Store,
    /// Where a damaged file went.
    pub(crate) put_aside: Option<PathBuf>,
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
        } = Database::open_and_read(folder, FILE, table::MIGRATIONS, table::read)?;
        Ok(Opened {
            saved: read,
            store: Self {
                writer: Writer::start(connection)?,
                told,
            },
            put_aside,
        })
    }

    /// Writes down who plays which harp.
    pub(crate) fn start(&self, name: Name, harp: Harp) {
        self.write(move |transaction| table::write_start(transaction, &name, &harp));
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

    /// Drops reports that the coordinator has.
    pub(crate) fn forget(&self, sequence: Sequence) {
        self.write(move |transaction| table::forget(transaction, sequence));
    }

    /// Remembers where a coordinator was reached.
    pub(crate) fn remember(&self, coordinator: Fingerprint, address: SocketAddr) {
        self.write(move |transaction| table::remember(transaction, coordinator, address));
    }

    /// Writes the agreement down.
    pub(crate) fn agree(&self, agreement: Agreement) {
        self.write(move |transaction| table::write_agreement(transaction, &agreement));
    }

    fn write(&self, work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<()> + Send + 'static) {
        let told = self.told.clone();
        let report = move |written: Result<(), consort_store::WriterError>| {
            if let Err(why) = written {
                let _ = told.send(Written::Nothing(why.to_string()));
            }
        };
        if let Err(why) = self.writer.write(work, report) {
            let _ = self.told.send(Written::Nothing(why.to_string()));
        }
    }
}
