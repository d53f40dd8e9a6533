//! A data folder: made when it is missing, held by one program at a time.

use std::fs::{self, DirBuilder, File, OpenOptions, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

/// A folder that this program holds until the value is dropped.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
    /// Locked; the system lets go of it when the program ends, however it ends.
    _held: File,
}

/// Why a folder cannot be used; each says what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FolderError {
    /// The system names no home for the user's data.
    #[error("this user has no home folder: name a data folder with --data")]
    NoHome,
    /// The folder cannot be made, or nothing can be written into it.
    #[error("nothing can be written into the folder {path} ({cause}): name another with --data", path = path.display())]
    NotWritable {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
    /// There is a file of that name.
    #[error("{path} is a file, not a folder: name a folder with --data", path = path.display())]
    NotAFolder {
        /// The file.
        path: PathBuf,
    },
    /// Another copy of the program runs on the folder.
    #[error(
        "another copy of this program already uses the folder {path}: \
         go on with that one, or name another folder with --data",
        path = path.display()
    )]
    Held {
        /// The folder.
        path: PathBuf,
    },
    /// A file in the folder can be neither read nor put aside.
    #[error("the file {path} cannot be read ({cause})", path = path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
}

/// The file whose lock says that the folder is held.
const LOCK: &str = "in-use";

impl Folder {
    /// The usual folder of `program` for this user: below the system's place for data, in `consort`.
    pub fn usual(program: &str) -> Result<PathBuf, FolderError> {
        directories::ProjectDirs::from("", "", "consort")
            .map(|dirs| dirs.data_dir().join(program))
            .ok_or(FolderError::NoHome)
    }

    /// Makes the folder if it is missing, sees that it can be written, and holds it.
    pub fn open(path: &Path) -> Result<Self, FolderError> {
        let not_writable = |cause| FolderError::NotWritable {
            path: path.to_owned(),
            cause,
        };
        if path.is_file() {
            return Err(FolderError::NotAFolder { path: path.to_owned() });
        }
        private_folder().create(path).map_err(not_writable)?;
        let held = private_file()
            .create(true)
            .truncate(false)
            .open(path.join(LOCK))
            .map_err(not_writable)?;
        match held.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(FolderError::Held { path: path.to_owned() }),
            Err(TryLockError::Error(cause)) => return Err(not_writable(cause)),
        }
        let folder = Self {
            path: path.to_owned(),
            _held: held,
        };
        // An old lock file can be opened in a folder that takes no new file, so a new one is tried.
        folder.replace("probe", b"").map_err(not_writable)?;
        fs::remove_file(folder.file("probe")).map_err(not_writable)?;
        Ok(folder)
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The path of the file `name` in it.
    pub fn file(&self, name: &str) -> PathBuf {
        self.path.join(name)
    }

    /// Everything in the file `name`; `None` when there is none.
    pub fn read(&self, name: &str) -> Result<Option<Vec<u8>>, FolderError> {
        match fs::read(self.file(name)) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(cause) if cause.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(cause) => Err(FolderError::File {
                path: self.file(name),
                cause,
            }),
        }
    }

    /// Writes the file `name`, readable by this user only: after a power cut it holds either all of `bytes` or what it
    /// held before.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), FolderError> {
        self.replace(name, bytes).map_err(|cause| FolderError::NotWritable {
            path: self.path.clone(),
            cause,
        })
    }

    /// Removes the file `name`, if it is there.
    pub fn remove(&self, name: &str) {
        // A file that is gone, or that cannot go, leaves nothing to do here: whoever reads it checks it.
        let _ = fs::remove_file(self.file(name));
    }

    /// Gives the damaged file `name` a dated name and returns its new path.
    pub fn put_aside(&self, name: &str) -> Result<PathBuf, FolderError> {
        let from = self.file(name);
        let dated = format!("{name}.damaged-{}", utc_now());
        let to = (1..)
            .map(|copy| match copy {
                1 => self.file(&dated),
                _ => self.file(&format!("{dated}-{copy}")),
            })
            .find(|to| !to.exists())
            .unwrap_or_else(|| self.file(&dated));
        fs::rename(&from, &to).map_err(|cause| FolderError::File { path: from, cause })?;
        Ok(to)
    }

    fn replace(&self, name: &str, bytes: &[u8]) -> io::Result<()> {
        let new = self.file(&format!("{name}.new"));
        let mut file = private_file().create(true).truncate(true).open(&new)?;
        file.write_all(bytes)?;
        file.sync_all()?;
        fs::rename(&new, self.file(name))?;
        sync_folder(&self.path)
    }
}

/// Options for a file that only this user may read.
fn private_file() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.read(true).write(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options
}

/// A maker of folders that only this user may enter.
fn private_folder() -> DirBuilder {
    let mut builder = DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder
}

/// Makes renames in the folder at `path` outlast a power cut.
#[cfg(unix)]
pub(crate) fn sync_folder(path: &Path) -> io::Result<()> {
    File::open(path)?.sync_all()
}

/// Renames need no extra step here.
#[cfg(not(unix))]
pub(crate) fn sync_folder(_path: &Path) -> io::Result<()> {
    Ok(())
}

/// Today's date and time in UTC as part of a file name: `2026-11-25T081530`.
fn utc_now() -> String {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    utc(since.as_secs())
}

/// `seconds` after 1970 as date and time.
///
/// The count of days becomes a date by years that begin in March, so that the leap day comes last.
fn utc(seconds: u64) -> String {
    const DAYS_PER_ERA: u64 = 146_097;
    // 1 March of the year 0 lies this many days before 1 January 1970.
    let days = seconds / 86_400 + 719_468;
    let (era, day_of_era) = (days / DAYS_PER_ERA, days % DAYS_PER_ERA);
    let year_of_era = (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month_from_march = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
    let month = (month_from_march + 2) % 12 + 1;
    let year = era * 400 + year_of_era + u64::from(month <= 2);
    let (hour, minute, second) = (seconds / 3_600 % 24, seconds / 60 % 60, seconds % 60);
    format!("{year:04}-{month:02}-{day:02}T{hour:02}{minute:02}{second:02}")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Checked against `date --utc --date=@SECONDS`.
    #[test]
    fn seconds_since_1970_become_a_date() {
        for (seconds, date) in [
            (0, "1970-01-01T000000"),
            (951_782_399, "2000-02-28T235959"),
            (951_782_400, "2000-02-29T000000"),
            (951_868_800, "2000-03-01T000000"),
            (1_735_689_599, "2024-12-31T235959"),
            (1_795_594_530, "2026-11-25T081530"),
            (4_107_542_400, "2100-03-01T000000"),
        ] {
            assert_eq!(utc(seconds), date);
        }
    }
}
