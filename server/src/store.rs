//! The session on disk: opened with a higher epoch, then written record by record on a thread of its own.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::SystemTime;

use consort_proto::agreement::{Revision, Round};
use consort_proto::{Agreement, JoinToken, Name, SessionId, Tolerance, Tuning};
use consort_session::{Event, Past, Record, Ruled, Saved, Ticket};
use consort_store::{Database, DatabaseError, Folder, Writer, WriterError};
use ring::rand::{RandomlyConstructable, SystemRandom, generate};
use tokio::sync::mpsc;

use crate::config::Opening;
use crate::table;

/// Writes the session's records, in order.
#[derive(Debug)]
pub(crate) struct Store {
    writer: Writer,
    events: mpsc::UnboundedSender<Event>,
    /// Goes up each time the session is told of a refusal.
    generation: u64,
    /// The newest generation of which a record was refused. What was handed over before the session knew of it may build
    /// on what was lost, so all of that generation is refused as well.
    refused: Arc<AtomicU64>,
}

/// A session as it is about to be opened.
#[derive(Debug)]
pub(crate) struct Opened {
    pub(crate) saved: Saved,
    pub(crate) store: Store,
    /// What [`Store`] has to say: for the session, which is to be handed them in this order.
    pub(crate) events: mpsc::UnboundedReceiver<Event>,
    /// Where a damaged file went.
    pub(crate) put_aside: Option<PathBuf>,
    /// Why nothing is written: the file is a newer program's.
    pub(crate) only_read: Option<String>,
}

/// Why there is no session.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StoreError {
    /// The file cannot be opened.
    #[error(transparent)]
    Database(#[from] DatabaseError),
    /// The disk takes nothing.
    #[error("the session cannot be written down ({0}): make room on the disk, or name another folder with --data")]
    NotWritten(String),
    /// The system gives no random numbers.
    #[error("the system gives no random numbers")]
    NoRandomNumbers,
}

/// The name of the file.
const FILE: &str = "session.sqlite";

impl Store {
    /// Reads the session in `folder`, or begins one; applies `opening` and counts the epoch up, on the disk.
    pub(crate) fn open(folder: &Folder, opening: &Opening) -> Result<Opened, StoreError> {
        let Database {
            mut connection,
            read,
            put_aside,
            newer,
        } = Database::open_and_read(folder, FILE, table::MIGRATIONS, table::read)?;
        let mut saved = match read {
            Some(saved) => saved,
            None => begin()?,
        };
        saved.epoch += 1;
        if newer.is_none() {
            apply(opening, &mut saved);
            let not_written = |cause: rusqlite::Error| StoreError::NotWritten(cause.to_string());
            let transaction = connection.transaction().map_err(not_written)?;
            table::write_opening(&transaction, &saved, SystemTime::now()).map_err(not_written)?;
            transaction.commit().map_err(not_written)?;
        }
        let only_read = newer.as_ref().map(ToString::to_string);
        let (sender, events) = mpsc::unbounded_channel();
        Ok(Opened {
            saved,
            store: Self {
                writer: Writer::on(connection, newer).map_err(|cause| StoreError::NotWritten(cause.to_string()))?,
                events: sender,
                generation: 1,
                refused: Arc::new(AtomicU64::new(0)),
            },
            events,
            put_aside,
            only_read,
        })
    }

    /// Hands the record to the writer's thread; its end comes back as an event.
    pub(crate) fn persist(&self, ticket: Ticket, record: Record) {
        let generation = self.generation;
        let (refused, at_end) = (self.refused.clone(), self.refused.clone());
        let events = self.events.clone();
        let handed_over = SystemTime::now();
        let work = move |transaction: &rusqlite::Transaction<'_>| {
            if refused.load(Ordering::Acquire) >= generation {
                return Ok(());
            }
            table::write(transaction, &record, handed_over)
        };
        let report = move |written: Result<(), WriterError>| {
            if let Err(why) = &written {
                tracing::warn!(%why, ticket = ticket.0, "a record is not on the disk");
                at_end.fetch_max(generation, Ordering::AcqRel);
            }
            let event = match at_end.load(Ordering::Acquire) >= generation {
                true => Event::NotPersisted(ticket),
                false => Event::Persisted(ticket),
            };
            // Nobody listens once the coordinator has ended.
            let _ = events.send(event);
        };
        if let Err(why) = self.writer.write(work, report) {
            tracing::warn!(%why, ticket = ticket.0, "a record is not taken");
            self.refused.fetch_max(generation, Ordering::AcqRel);
            let _ = self.events.send(Event::NotPersisted(ticket));
        }
    }

    /// To be called once the session was told of a refusal: what it hands over from now on stands on its own.
    pub(crate) const fn refusal_is_told(&mut self) {
        self.generation += 1;
    }
}

/// So many random bytes.
pub(crate) fn random_bytes<const COUNT: usize>() -> Result<[u8; COUNT], StoreError>
where
    [u8; COUNT]: RandomlyConstructable,
{
    generate::<[u8; COUNT]>(&SystemRandom::new())
        .map(ring::rand::Random::expose)
        .map_err(|_| StoreError::NoRandomNumbers)
}

/// A session that nobody has opened before.
fn begin() -> Result<Saved, StoreError> {
    Ok(Saved {
        agreement: Agreement {
            session: SessionId(random_bytes()?),
            revision: Revision(1),
            ensemble: usual_name(),
            tuning: Tuning::default(),
            tolerance: Tolerance::default(),
            round: Round::default(),
            called: None,
        },
        start_in: None,
        past: Vec::new(),
        epoch: 0,
        token: JoinToken(random_bytes()?),
        pinned: Vec::new(),
        deputies: Vec::new(),
        ruled: Ruled::default(),
        stations: Vec::new(),
    })
}

/// What an ensemble is called until somebody names it.
fn usual_name() -> Name {
    "Ensemble"
        .parse()
        .unwrap_or_else(|_| unreachable!("the usual name is a name"))
}

/// Changes what the opening asks for; a change is a new revision, like any other, and can be taken back.
fn apply(opening: &Opening, saved: &mut Saved) {
    let agreement = &mut saved.agreement;
    let before = agreement.clone();
    let tuning = &mut agreement.tuning;
    tuning.a4 = opening.pitch.unwrap_or(tuning.a4);
    tuning.temperament = opening.temperament.unwrap_or(tuning.temperament);
    tuning.setting = opening.setting.unwrap_or(tuning.setting);
    if let Some(name) = &opening.name {
        agreement.ensemble = name.clone();
    }
    if *agreement != before {
        agreement.revision = Revision(before.revision.0 + 1);
        saved.past.push(Past {
            revision: before.revision,
            tuning: before.tuning,
            tolerance: before.tolerance,
            start_in: saved.start_in,
        });
    }
}

#[cfg(test)]
mod tests;
