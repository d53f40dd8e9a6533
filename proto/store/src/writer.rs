//! The one thread that writes: what waits is written in one transaction and reported once it cannot be lost any more.

use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::thread::{self, JoinHandle};

use rusqlite::{Connection, Transaction};

use crate::database::Newer;

/// What work rests on once it is committed: a database, or one that fails as a test wants it to.
pub trait Disk: Send + 'static {
    /// Does all of the work in one transaction, or none of it; `Ok` once it cannot be lost any more.
    fn commit(&mut self, group: Vec<Work>) -> rusqlite::Result<()>;
}

/// A piece of work in a transaction.
pub type Work = Box<dyn FnOnce(&Transaction<'_>) -> rusqlite::Result<()> + Send>;

impl Disk for Connection {
    fn commit(&mut self, group: Vec<Work>) -> rusqlite::Result<()> {
        let transaction = self.transaction()?;
        for work in group {
            work(&transaction)?;
        }
        transaction.commit()
    }
}

/// A thread that owns the disk; dropping it waits until everything handed over has been written.
#[derive(Debug)]
pub struct Writer {
    jobs: Option<SyncSender<Job>>,
    thread: Option<JoinHandle<()>>,
    /// Why nothing is written at all.
    only_read: Option<Newer>,
}

/// How a piece of work ended: `Ok` once it rests on the disk.
pub type Written = Result<(), WriterError>;

/// Why a piece of work is not on the disk.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WriterError {
    /// As many pieces of work wait as the writer takes.
    #[error("the disk is too slow: {0} changes wait to be written")]
    Full(usize),
    /// The disk, or SQLite, took it not.
    #[error("the disk takes no more ({0}): make room, or choose another data folder")]
    Refused(String),
    /// The file is a newer program's, which must not be written into.
    #[error("{0}")]
    OnlyRead(Newer),
    /// The writer has ended.
    #[error("the writer has ended")]
    Ended,
}

type Report = Box<dyn FnOnce(Written) + Send>;

/// Work and whom to tell.
struct Job {
    work: Work,
    report: Report,
}

/// Pieces of work that may wait; a few seconds of the busiest rehearsal.
const WAITING_MAX: usize = 4_096;
/// What waits when the writer comes back from the disk shares the next commit, up to this many pieces: that bounds what
/// one refusal takes along, and keeps a commit well under 20 ms on a laptop's disk.
const GROUP_MAX: usize = 256;

impl Writer {
    /// Starts the thread on `disk`.
    pub fn start(disk: impl Disk) -> std::io::Result<Self> {
        let (jobs, waiting) = sync_channel(WAITING_MAX);
        let thread = thread::Builder::new()
            .name("writer".to_owned())
            .spawn(move || write_all(disk, &waiting))?;
        Ok(Self {
            jobs: Some(jobs),
            thread: Some(thread),
            only_read: None,
        })
    }

    /// A writer that refuses everything, for the file of a newer program.
    pub const fn refusing(newer: Newer) -> Self {
        Self {
            jobs: None,
            thread: None,
            only_read: Some(newer),
        }
    }

    /// A writer on what was opened: one that refuses, if that is a newer program's.
    pub fn on(connection: Connection, newer: Option<Newer>) -> std::io::Result<Self> {
        newer.map_or_else(|| Self::start(connection), |newer| Ok(Self::refusing(newer)))
    }

    /// Hands `work` over without waiting; `report` is called on the writer's thread, once, after the commit or the refusal.
    ///
    /// Pieces of work are done in the order in which they were handed over. Several share a transaction, and when one
    /// of them is refused, so are all that share it.
    /// When `write` itself returns an error, `report` is not called.
    pub fn write(
        &self,
        work: impl FnOnce(&Transaction<'_>) -> rusqlite::Result<()> + Send + 'static,
        report: impl FnOnce(Written) + Send + 'static,
    ) -> Written {
        if let Some(newer) = &self.only_read {
            return Err(WriterError::OnlyRead(newer.clone()));
        }
        let jobs = self.jobs.as_ref().ok_or(WriterError::Ended)?;
        let job = Job {
            work: Box::new(work),
            report: Box::new(report),
        };
        jobs.try_send(job).map_err(|refused| match refused {
            TrySendError::Full(_) => WriterError::Full(WAITING_MAX),
            TrySendError::Disconnected(_) => WriterError::Ended,
        })
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        self.jobs = None;
        if let Some(thread) = self.thread.take() {
            // A panic of the writer was printed when it happened.
            let _ = thread.join();
        }
    }
}

/// Writes until nobody can hand over any more.
fn write_all(mut disk: impl Disk, waiting: &Receiver<Job>) {
    while let Ok(first) = waiting.recv() {
        let rest = waiting.try_iter().take(GROUP_MAX - 1);
        let (group, reports): (Vec<Work>, Vec<Report>) = std::iter::once(first)
            .chain(rest)
            .map(|job| (job.work, job.report))
            .unzip();
        let written = disk
            .commit(group)
            .map_err(|cause| WriterError::Refused(cause.to_string()));
        for report in reports {
            report(written.clone());
        }
    }
}
