//! One SQLite file in a data folder: opened, checked, brought to the newest schema.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, OpenFlags};

use crate::folder::{Folder, FolderError, sync_folder};

/// An open database, and what became of a damaged one in its place.
#[derive(Debug)]
pub struct Database<T = ()> {
    /// The connection to write with; hand it to [`crate::Writer::start`].
    pub connection: Connection,
    /// What was read at the start.
    pub read: T,
    /// Where the damaged file went, if there was one: to be said to a person.
    pub put_aside: Option<PathBuf>,
    /// That a newer program wrote the file: it was read, and must not be written into.
    pub newer: Option<Newer>,
}

/// A file that a newer version of the program wrote; says what to do.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[error(
    "{path} was written by a newer version of this program (layout {found}, this one knows up to {known}): it is only read, \
     and nothing new is kept: update this program",
    path = path.display()
)]
pub struct Newer {
    /// The file.
    pub path: PathBuf,
    /// Its layout.
    pub found: usize,
    /// The newest layout known here.
    pub known: usize,
}

/// Why a database cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DatabaseError {
    /// The folder takes no file, or the damaged one cannot be moved.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// A newer program wrote the file, and this one cannot even read it.
    #[error("{0}")]
    Newer(Newer),
    /// The file cannot be worked with, and putting it aside would not help.
    #[error("{path} cannot be used ({cause}): look whether the disk is full or going bad", path = path.display())]
    Unusable {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        cause: Unreadable,
    },
}

/// Why the content of a database cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum Unreadable {
    /// SQLite says so.
    #[error(transparent)]
    Sqlite(#[from] rusqlite::Error),
    /// A value is there that this program never writes.
    #[error("{0}")]
    Meaningless(String),
}

/// How long a reader waits for a writer before it gives up.
const BUSY_WAIT: Duration = Duration::from_secs(5);

impl Database {
    /// Opens the file `name` in `folder`, or makes it.
    ///
    /// `migrations` holds one batch of SQL for each step of the schema, oldest first; the file's `user_version` counts
    /// those that it has seen.
    /// A shipped step is never edited.
    pub fn open(folder: &Folder, name: &str, migrations: &[&str]) -> Result<Self, DatabaseError> {
        Self::open_and_read(folder, name, migrations, |_| Ok(()))
    }
}

impl<T> Database<T> {
    /// Opens the file `name` in `folder`, or makes it, and hands it to `read`.
    ///
    /// A file that is damaged, or that `read` calls [`Unreadable::Meaningless`], is put aside and `read` sees a fresh one.
    /// A file of a newer program is opened for reading only, if `read` finds in it what it looks for.
    pub fn open_and_read(
        folder: &Folder,
        name: &str,
        migrations: &[&str],
        mut read: impl FnMut(&Connection) -> Result<T, Unreadable>,
    ) -> Result<Self, DatabaseError> {
        let path = folder.file(name);
        let mut put_aside = None;
        loop {
            if !path.exists() {
                make(folder, name, migrations).map_err(|unreadable| unusable(&path, unreadable))?;
            }
            let opened = open(&path, migrations).and_then(|connection| match read(&connection) {
                Ok(read) => Ok((connection, read)),
                Err(unreadable) => Err(Problem::Unreadable(unreadable)),
            });
            match opened {
                Ok((connection, read)) => {
                    return Ok(Self {
                        connection,
                        read,
                        put_aside,
                        newer: None,
                    });
                }
                Err(Problem::Newer { found }) => {
                    let known = migrations.len();
                    let newer = Newer { path, found, known };
                    let only_read = reader(folder, name)
                        .ok()
                        .and_then(|connection| Some((read(&connection).ok()?, connection)));
                    let Some((read, connection)) = only_read else {
                        return Err(DatabaseError::Newer(newer));
                    };
                    return Ok(Self {
                        connection,
                        read,
                        put_aside,
                        newer: Some(newer),
                    });
                }
                // A fresh file that is damaged again is the disk's doing, and putting files aside would never end.
                Err(Problem::Unreadable(unreadable)) if put_aside.is_none() && is_damage(&unreadable) => {
                    tracing::warn!(path = %path.display(), %unreadable, "a damaged file is put aside");
                    put_aside = Some(move_aside(folder, name)?);
                }
                Err(Problem::Unreadable(unreadable)) => return Err(unusable(&path, unreadable)),
            }
        }
    }
}

/// A second connection to the same file that can only read.
pub fn reader(folder: &Folder, name: &str) -> Result<Connection, DatabaseError> {
    let path = folder.file(name);
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let open = || -> Result<Connection, rusqlite::Error> {
        let connection = Connection::open_with_flags(&path, flags)?;
        connection.busy_timeout(BUSY_WAIT)?;
        Ok(connection)
    };
    open().map_err(|cause| unusable(&path, cause.into()))
}

/// What can be wrong with a file.
enum Problem {
    Newer { found: usize },
    Unreadable(Unreadable),
}

impl From<rusqlite::Error> for Problem {
    fn from(cause: rusqlite::Error) -> Self {
        Self::Unreadable(cause.into())
    }
}

/// Opens the existing file at `path`, checks it, and runs the migrations that it has not seen.
fn open(path: &Path, migrations: &[&str]) -> Result<Connection, Problem> {
    // An empty file is a valid empty database to SQLite, but this program never leaves one: its content was lost.
    if fs::metadata(path).is_ok_and(|file| file.len() == 0) {
        return Err(Unreadable::Meaningless("the file is empty".to_owned()).into());
    }
    let mut connection = connect(path)?;
    let check: String = connection.query_row("PRAGMA quick_check(1)", [], |row| row.get(0))?;
    if check != "ok" {
        return Err(Unreadable::Meaningless(check).into());
    }
    migrate(&mut connection, migrations)?;
    Ok(connection)
}

impl From<Unreadable> for Problem {
    fn from(unreadable: Unreadable) -> Self {
        Self::Unreadable(unreadable)
    }
}

/// Makes the file under another name first, so that a program killed here leaves no half-made database.
fn make(folder: &Folder, name: &str, migrations: &[&str]) -> Result<(), Unreadable> {
    let half_made = format!("{name}.new");
    for end in ["", "-wal", "-shm"] {
        folder.remove(&format!("{half_made}{end}"));
    }
    // Made here, so that SQLite never makes it readable for others; its companions take over its permissions.
    folder
        .write(&half_made, b"")
        .map_err(|cause| Unreadable::Meaningless(cause.to_string()))?;
    let mut connection = connect(&folder.file(&half_made))?;
    match migrate(&mut connection, migrations) {
        Ok(()) => {}
        Err(Problem::Unreadable(unreadable)) => return Err(unreadable),
        Err(Problem::Newer { .. }) => return Err(Unreadable::Meaningless("a new file is never newer".to_owned())),
    }
    connection.close().map_err(|(_, cause)| cause)?;
    fs::rename(folder.file(&half_made), folder.file(name))
        .and_then(|()| sync_folder(folder.path()))
        .map_err(|cause| Unreadable::Meaningless(cause.to_string()))
}

/// A connection with the settings that every file of these programs has; what the file holds is not looked at.
pub fn connect(path: &Path) -> Result<Connection, rusqlite::Error> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags)?;
    connection.busy_timeout(BUSY_WAIT)?;
    connection.pragma_update(None, "journal_mode", "WAL")?;
    // Each commit waits for the disk: what was acknowledged outlasts a power cut.
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    Ok(connection)
}

fn migrate(connection: &mut Connection, migrations: &[&str]) -> Result<(), Problem> {
    let version: i64 = connection.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    let found =
        usize::try_from(version).map_err(|_| Unreadable::Meaningless(format!("layout {version} was never written")))?;
    if found == 0 && has_tables(connection)? {
        return Err(Unreadable::Meaningless("its tables are another program's".to_owned()).into());
    }
    let unseen = migrations.get(found..).ok_or(Problem::Newer { found })?;
    for (step, sql) in (version + 1..).zip(unseen) {
        let transaction = connection.transaction()?;
        transaction.execute_batch(sql)?;
        transaction.pragma_update(None, "user_version", step)?;
        transaction.commit()?;
    }
    Ok(())
}

/// Whether anything was ever kept in the file.
fn has_tables(connection: &Connection) -> rusqlite::Result<bool> {
    connection.query_row("SELECT count(*) > 0 FROM sqlite_master", [], |row| row.get(0))
}

/// Whether the content is at fault, rather than the disk, the folder or another program.
fn is_damage(unreadable: &Unreadable) -> bool {
    match unreadable {
        Unreadable::Meaningless(_) => true,
        Unreadable::Sqlite(
            rusqlite::Error::FromSqlConversionFailure(..)
            | rusqlite::Error::IntegralValueOutOfRange(..)
            | rusqlite::Error::InvalidColumnType(..)
            | rusqlite::Error::Utf8Error(..),
        ) => true,
        // A table or a column that every file of this layout has: the file is another program's.
        Unreadable::Sqlite(cause) if cause.to_string().contains("no such ") => true,
        Unreadable::Sqlite(cause) => matches!(
            cause.sqlite_error_code(),
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase)
        ),
    }
}

/// Moves the file with its companions, so that a technician can still open what is left of it.
fn move_aside(folder: &Folder, name: &str) -> Result<PathBuf, FolderError> {
    let aside = folder.put_aside(name)?;
    for end in ["-wal", "-shm"] {
        let mut companion = aside.clone().into_os_string();
        companion.push(end);
        // Most of the time there is none.
        let _ = fs::rename(folder.file(&format!("{name}{end}")), companion);
    }
    Ok(aside)
}

fn unusable(path: &Path, cause: Unreadable) -> DatabaseError {
    DatabaseError::Unusable {
        path: path.to_owned(),
        cause,
    }
}
