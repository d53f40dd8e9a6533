//! Keeps the harp's record: every settled reading, written on a thread of its own so that nobody waits for the disk.

mod by_mark;
mod pages;
mod renewed;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{SyncSender, TrySendError, sync_channel};
use std::thread::{self, JoinHandle};
use std::time::{SystemTime, UNIX_EPOCH};

use consort_analysis::Timbre as Sounding;
use consort_proto::{Agreement, Harp, Reading, Round, SessionId, StringNumber, Tolerance, Tuning};
use consort_record::{Date, Moment, Partial, Place, Timbre};
use consort_record_store::Kept;
use consort_store::Folder;
use tokio::sync::mpsc::Sender;

use crate::feed::Fed;

/// Hands readings to the record's thread; dropping it waits until they are written.
#[derive(Debug)]
pub(crate) struct Keeper {
    to_keep: Option<SyncSender<Entry>>,
    thread: Option<JoinHandle<()>>,
    /// How far the clock is ahead of the time at which the sound was made, seconds.
    ahead_s: i64,
    place: Option<Place>,
}

/// Whose record is kept, and where.
#[derive(Debug)]
pub(crate) struct Book {
    /// The file.
    pub(crate) path: PathBuf,
    /// The harp that is heard.
    pub(crate) harp: Harp,
    /// What tells it from all others, should the record not have it yet.
    pub(crate) tag: String,
    /// When the sound was made; `None` for now.
    pub(crate) recorded: Option<Moment>,
    /// Where the harp stands, if it was said.
    pub(crate) place: Option<Place>,
    /// Where what the desk's marks wrote is remembered from start to start; `None` for not at all.
    pub(crate) folder: Option<Arc<Folder>>,
}

/// The record's harp into which what is heard of `harp` is written, if it has one.
pub(crate) fn kept_of(known: &[Kept], harp: &Harp) -> Option<Kept> {
    pages::find(known, harp).1
}

/// This moment.
pub(crate) fn now() -> Moment {
    let since_1970 = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    Moment(i64::try_from(since_1970.as_secs()).unwrap_or(i64::MAX))
}

/// What is written.
#[derive(Clone, Debug)]
enum Entry {
    Reading(Box<ToKeep>),
    /// A string was put on on that day, as far as the desk knows.
    Renewed(StringNumber, Date),
    /// It was not: the desk's mark was a slip.
    NotRenewed(StringNumber, Date),
}

/// One settled reading with what it was tuned to.
#[derive(Clone, Debug)]
struct ToKeep {
    at_unix_ms: i64,
    reading: Reading,
    timbre: Timbre,
    round: Option<(SessionId, Round)>,
    place: String,
    tuning: Tuning,
    tolerance: Tolerance,
}

/// Readings that may wait for the disk; minutes of the fastest tuning.
const WAITING_MAX: usize = 1_024;
/// Where a harp stands that no ensemble has called.
const HOME: &str = "home";

impl Keeper {
    /// Starts to keep `book`; what goes wrong is said to `told`.
    pub(crate) fn start(book: Book, told: Sender<Fed>) -> std::io::Result<Self> {
        let (at_start, recorded, place) = (now(), book.recorded, book.place.clone());
        let (to_keep, waiting) = sync_channel(WAITING_MAX);
        let thread = thread::Builder::new().name("record".to_owned()).spawn(move || {
            pages::keep_all(book, &waiting, &mut |fed| {
                // The harp is tuned all the same when nobody takes it in; what is said of the record is said again.
                told.try_send(fed).is_ok()
            });
        })?;
        Ok(Self {
            to_keep: Some(to_keep),
            thread: Some(thread),
            ahead_s: recorded.map_or(0, |recorded| at_start.0 - recorded.0),
            place,
        })
    }

    /// Keeps `reading`, heard just now under `agreement`, or under `tuning` and `tolerance` alone.
    pub(crate) fn keep(
        &self,
        reading: Reading,
        timbre: &Sounding,
        agreement: Option<&Agreement>,
        own: (Tuning, Tolerance),
    ) {
        let Some(to_keep) = &self.to_keep else { return };
        let since_1970 = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        let said = self.place.as_ref().map(|place| place.as_str().to_owned());
        let called = || agreement.map_or_else(|| HOME.to_owned(), |agreement| agreement.ensemble.as_str().to_owned());
        let entry = ToKeep {
            at_unix_ms: i64::try_from(since_1970.as_millis()).unwrap_or(i64::MAX) - 1_000 * self.ahead_s,
            reading,
            timbre: kept(timbre),
            round: agreement.map(|agreement| (agreement.session, agreement.round)),
            place: said.unwrap_or_else(called),
            tuning: own.0,
            tolerance: own.1,
        };
        if let Err(TrySendError::Full(_)) = to_keep.try_send(Entry::Reading(Box::new(entry))) {
            tracing::warn!("the record's disk is too slow: a reading is not kept");
        }
    }

    /// Writes down that `string` was put on on the day `today`, unless the record says so already.
    pub(crate) fn renewed(&self, string: StringNumber, today: Date) {
        self.write(Entry::Renewed(string, today));
    }

    /// Takes that out again, if nobody has said more of it.
    pub(crate) fn not_renewed(&self, string: StringNumber, today: Date) {
        self.write(Entry::NotRenewed(string, today));
    }

    fn write(&self, entry: Entry) {
        if let Some(to_keep) = &self.to_keep
            && to_keep.try_send(entry).is_err()
        {
            tracing::warn!("the record's disk is too slow: a new string is not written down");
        }
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        self.to_keep = None;
        if let Some(thread) = self.thread.take() {
            // A panic of the thread was printed when it happened.
            let _ = thread.join();
        }
    }
}

/// What the record keeps of a pluck beside its pitch and how that moved.
pub(crate) fn kept(timbre: &Sounding) -> Timbre {
    let partials = timbre.partials.iter();
    Timbre {
        partials: partials
            .map(|(number, above, sigma)| Partial { number, above, sigma })
            .collect(),
        beat_hz: timbre.beat_hz,
        decay_s: timbre.decay_s,
        brightness_db: timbre.brightness_db,
        glide: None,
    }
}
