//! The record's file: opened, brought to the newest layout, or opened to be read only.

use std::fs;
use std::path::{Path, PathBuf};

use consort_store::database::connect;
use rusqlite::{Connection, ErrorCode, Transaction, TransactionBehavior};

use crate::error::RecordError;
use crate::layout::STEPS;

/// An open record.
#[derive(Debug)]
pub struct Store {
    pub(crate) connection: Connection,
    path: PathBuf,
    /// The layout of a file that is newer than this program.
    newer: Option<usize>,
}

/// Tables that are small whatever the harp's age, looked through at every start; the readings' own pages are checked as
/// they are read, so that opening does not take longer with every year.
const CHECKED: [&str; 3] = ["harp", "entry", "edit"];

impl Store {
    /// Opens the record at `path`, or makes it.
    pub fn open(path: &Path) -> Result<Self, RecordError> {
        let not_writable = |cause: String| RecordError::NotWritable {
            path: path.to_owned(),
            cause,
        };
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder).map_err(|cause| not_writable(cause.to_string()))?;
        }
        if !path.exists() {
            make_private(path).map_err(|cause| not_writable(cause.to_string()))?;
        }
        let mut connection = connect(path).map_err(|cause| told(path, cause))?;
        let newer = prepare(&mut connection).map_err(|cause| told(path, cause))?;
        Ok(Self {
            connection,
            path: path.to_owned(),
            newer,
        })
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether a newer program wrote it, so that it can only be read.
    pub const fn is_read_only(&self) -> bool {
        self.newer.is_some()
    }

    /// Why it can only be read, if it can only be read.
    pub fn only_read(&self) -> Option<RecordError> {
        self.newer.map(|found| RecordError::Newer {
            found,
            known: STEPS.len(),
        })
    }

    /// A number that changes whenever another program or another connection has written; not by what is written here.
    pub fn version(&self) -> Result<i64, RecordError> {
        Ok(self.connection.query_row("PRAGMA data_version", [], |row| row.get(0))?)
    }

    /// Begins a change of several steps, all of them or none.
    ///
    /// It waits for another program's change to end before it looks at anything: what was looked at before that could
    /// not be changed any more.
    pub(crate) fn change(&mut self) -> Result<Transaction<'_>, RecordError> {
        Ok(self
            .writable()?
            .transaction_with_behavior(TransactionBehavior::Immediate)?)
    }

    /// Refuses writing to what a newer program wrote.
    pub(crate) fn writable(&mut self) -> Result<&mut Connection, RecordError> {
        match self.newer {
            Some(found) => Err(RecordError::Newer {
                found,
                known: STEPS.len(),
            }),
            None => Ok(&mut self.connection),
        }
    }
}

/// Checks the file and runs the steps that it has not seen; says the layout of a newer one.
fn prepare(connection: &mut Connection) -> rusqlite::Result<Option<usize>> {
    // One program at a time looks at the layout and changes it.
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let version: i64 = transaction.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    let found = usize::try_from(version).unwrap_or(usize::MAX);
    let Some(unseen) = STEPS.get(found..) else {
        return Ok(Some(found));
    };
    let tables: i64 = transaction.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if found == 0 && tables > 0 {
        return Err(corrupt("another program's tables are in it"));
    }
    for (step, sql) in (version + 1..).zip(unseen) {
        transaction.execute_batch(sql)?;
        transaction.pragma_update(None, "user_version", step)?;
    }
    for table in CHECKED {
        let check: String = transaction.query_row(&format!("PRAGMA quick_check('{table}')"), [], |row| row.get(0))?;
        if check != "ok" {
            return Err(corrupt(&check));
        }
    }
    transaction.commit()?;
    Ok(None)
}

fn corrupt(why: &str) -> rusqlite::Error {
    let code = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_CORRUPT);
    rusqlite::Error::SqliteFailure(code, Some(why.to_owned()))
}

/// What SQLite says, as something that a person can act upon.
pub(crate) fn told(path: &Path, cause: rusqlite::Error) -> RecordError {
    match cause.sqlite_error_code() {
        Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => RecordError::Damaged {
            path: path.to_owned(),
            cause: cause.to_string(),
        },
        Some(ErrorCode::DiskFull | ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::SystemIoFailure) => {
            RecordError::NotWritable {
                path: path.to_owned(),
                cause: cause.to_string(),
            }
        }
        _ => RecordError::Sqlite(cause),
    }
}

/// Made here, so that SQLite never makes it readable for others; its companions take over its permissions.
fn make_private(path: &Path) -> std::io::Result<()> {
    let mut options = fs::OpenOptions::new();
    options.write(true).create(true).truncate(false);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path).map(drop)
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::harp_file;
    use consort_record::{Climate, Moment, Sheet};
    use tempfile::TempDir;

    /// The path of a record that is not there yet, in a place that goes with the test.
    fn file(test: &str) -> (TempDir, PathBuf) {
        let place = TempDir::with_prefix(format!("consort-record-{test}-")).expect("a place");
        let path = place.path().join("data/record.sqlite");
        (place, path)
    }

    #[test]
    fn a_full_disk_is_said_and_nothing_before_it_is_lost() {
        let (_place, path) = file("full");
        let mut store = Store::open(&path).expect("open");
        let sheet = Sheet::of(harp_file::preset("pedal-47").expect("a preset"));
        let harp = store.add_harp("tag", &sheet).expect("a harp");
        let pages: i64 = store
            .connection
            .query_row("PRAGMA page_count", [], |row| row.get(0))
            .expect("pages");
        store
            .connection
            .pragma_update(None, "max_page_count", pages)
            .expect("a small disk");
        let mut kept = 0;
        let refusal = loop {
            let climate = Climate::new(Moment(kept * 60), Some(20.0), None).expect("a room");
            match store.note_climate(harp, &climate) {
                Ok(()) => kept += 1,
                Err(refusal) => break refusal,
            }
            assert!(kept < 10_000, "the disk never fills");
        };
        assert!(refusal.to_string().contains("disk is full"), "{refusal}");
        drop(store);
        let store = Store::open(&path).expect("open again");
        assert_eq!(store.climates(harp).expect("the room").len() as i64, kept);
    }

    #[test]
    fn a_newer_record_is_read_and_not_written() {
        let (_place, path) = file("newer");
        let mut store = Store::open(&path).expect("open");
        let sheet = Sheet::of(harp_file::preset("lever-34").expect("a preset"));
        store.add_harp("tag", &sheet).expect("a harp");
        store
            .connection
            .pragma_update(None, "user_version", 99)
            .expect("a newer layout");
        drop(store);
        let mut store = Store::open(&path).expect("open again");
        assert!(store.is_read_only());
        assert_eq!(store.harps().expect("harps").len(), 1);
        let refusal = store.add_harp("other", &sheet).expect_err("it is not written");
        assert!(
            refusal.to_string().contains("can only be read: update this program"),
            "{refusal}"
        );
    }
}
