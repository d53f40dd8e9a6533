//! Writes what was heard and marked; what cannot be written waits, and is tried again. Tells what the record says meanwhile.

use std::collections::VecDeque;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::Duration;

use consort_proto::{Harp, Round, SessionId, Tuning};
use consort_record::{Date, Heard, Moment, Place, Sheet};
use consort_record_store::{HarpId, Kept, RecordError, Store, TuningId, called};
use consort_words::{Arg, Key, Words};

use super::by_mark::ByMark;
use super::renewed::{noted, renew, take_back};
use super::{Book, Entry, ToKeep};
use crate::feed::Fed;

/// A harp that was not heard for so long is tuned anew, milliseconds: an evening's two roundings stay apart.
const SAME_TUNING_MS: i64 = 3 * 3_600 * 1_000;
/// What could not be written is tried again after this pause, and whenever another reading comes.
const AGAIN: Duration = Duration::from_secs(5);
/// Whether somebody else has written into the record, on its page or by a command, is looked for after this pause.
const LOOK: Duration = Duration::from_secs(1);
/// Readings that wait for a disk with room: an evening's plucks many times over. The oldest go first.
const UNWRITTEN_MAX: usize = 10_000;

/// Writes into `book` until nobody can hand over any more; tells `tell` once when it cannot, and when it can again, and
/// what the record says whenever that has changed. Whether it was taken in is what `tell` gives.
pub(super) fn keep_all(book: Book, waiting: &Receiver<Entry>, tell: &mut impl FnMut(Fed) -> bool) {
    let words = Words::english();
    let by_mark = ByMark::open(book.folder.clone(), book.harp.name());
    let count = |readings: usize| [("count", Arg::from(readings))];
    let mut pages = Pages {
        book,
        open: None,
        tuning: None,
        by_mark,
        told: None,
    };
    let mut unwritten = VecDeque::new();
    let mut lost = 0;
    // How many readings waited since the first that could not be written.
    let mut waited = None;
    let mut goes_on = true;
    loop {
        match pages.write_all(&mut unwritten, tell) {
            Ok(()) => {
                if let Some(readings) = waited.take() {
                    tell(Fed::Said(words.say(Key::RecordWrittenAgain, &count(readings))));
                }
            }
            // No time makes an older program write what a newer one wrote.
            Err(why @ RecordError::Newer { .. }) => {
                tell(Fed::Said(why.to_string()));
                return;
            }
            Err(why) => {
                if waited.is_none() {
                    let why = ("why", Arg::from(why.at(&pages.book.path).to_string()));
                    tell(Fed::Said(words.say(Key::RecordWaits, &[why])));
                }
                waited = Some(unwritten.len());
            }
        }
        if !goes_on {
            break;
        }
        match waiting.recv_timeout(if waited.is_some() { AGAIN } else { LOOK }) {
            Ok(entry) => {
                if unwritten.len() == UNWRITTEN_MAX {
                    unwritten.pop_front();
                    lost += 1;
                }
                unwritten.push_back(entry);
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => goes_on = false,
        }
    }
    lost += unwritten.len();
    if lost > 0 {
        tracing::error!("{}", words.say(Key::RecordLost, &count(lost)));
    }
}

/// The record as far as this evening writes it.
struct Pages {
    book: Book,
    /// The file and its harp; closed after whatever went wrong, since it may be another file by then.
    open: Option<(Store, HarpId)>,
    /// The tuning that goes on.
    tuning: Option<Current>,
    /// Strings that were written down as put on since the desk marked them.
    by_mark: ByMark,
    /// The version of the open file and the day of which was told last.
    told: Option<(i64, Date)>,
}

/// A tuning: when it began, of which round, to what, when it was last heard, and where it stands in the open file.
struct Current {
    begun: Moment,
    round: Option<(SessionId, Round)>,
    tuned_to: Tuning,
    last_ms: i64,
    id: Option<TuningId>,
}

impl Current {
    /// Whether `entry` belongs to it.
    fn goes_on(&self, entry: &ToKeep) -> bool {
        let soon = entry.at_unix_ms - self.last_ms < SAME_TUNING_MS;
        soon && self.round == entry.round && self.tuned_to == entry.tuning
    }
}

impl Pages {
    /// Writes all of `entries`, oldest first, as far as it goes; opens the record also when there are none.
    fn write_all(
        &mut self,
        entries: &mut VecDeque<Entry>,
        tell: &mut impl FnMut(Fed) -> bool,
    ) -> Result<(), RecordError> {
        let done = self.try_all(entries).and_then(|()| self.tell_changes(tell));
        if done.is_err() {
            (self.open, self.told) = (None, None);
            // The tuning itself goes on, whatever file it is written into next.
            if let Some(tuning) = &mut self.tuning {
                tuning.id = None;
            }
        }
        done
    }

    fn try_all(&mut self, entries: &mut VecDeque<Entry>) -> Result<(), RecordError> {
        let (store, harp) = match &mut self.open {
            Some((store, harp)) => (store, *harp),
            None => {
                let mut store = Store::open(&self.book.path)?;
                let harp = find_or_add(&mut store, &self.book.harp, &self.book.tag)?;
                let (store, harp) = self.open.insert((store, harp));
                (store, *harp)
            }
        };
        while let Some(entry) = entries.front() {
            match entry {
                Entry::Reading(reading) => hear(store, harp, &mut self.tuning, reading)?,
                Entry::Renewed(string, today) => {
                    if renew(store, harp, *string, *today)? {
                        self.by_mark.wrote(*string, *today);
                    }
                    self.told = None;
                }
                Entry::NotRenewed(string, today) => {
                    if self.by_mark.take(*string, *today) {
                        take_back(store, harp, *string, *today)?;
                    }
                    self.told = None;
                }
            }
            entries.pop_front();
        }
        Ok(())
    }

    /// Tells what the record says, if it may say something else than when that was told last.
    fn tell_changes(&mut self, tell: &mut impl FnMut(Fed) -> bool) -> Result<(), RecordError> {
        let Some((store, harp)) = &self.open else { return Ok(()) };
        let seen = (store.version()?, super::now().date());
        if self.told == Some(seen) {
            return Ok(());
        }
        let noted = noted(store, *harp, &self.book.harp, seen.1)?;
        if tell(Fed::Record(Box::new(noted))) {
            self.told = Some(seen);
        }
        Ok(())
    }
}

/// Writes a reading into its tuning, which is begun where it does not go on.
fn hear(store: &mut Store, harp: HarpId, tuning: &mut Option<Current>, entry: &ToKeep) -> Result<(), RecordError> {
    let at = Moment(entry.at_unix_ms.div_euclid(1_000));
    let before = tuning.take().filter(|tuning| tuning.goes_on(entry));
    let tuning = tuning.insert(Current {
        begun: before.as_ref().map_or(at, |tuning| tuning.begun),
        round: entry.round,
        tuned_to: entry.tuning,
        last_ms: entry.at_unix_ms,
        id: before.and_then(|tuning| tuning.id),
    });
    let id = match tuning.id {
        Some(id) => id,
        None => {
            let place = Place::new(&entry.place).unwrap_or_default();
            let id = store.begin_tuning(harp, tuning.begun, &place, &entry.tuning, &entry.tolerance)?;
            *tuning.id.insert(id)
        }
    };
    let heard = Heard {
        at,
        position: 0,
        reading: entry.reading,
        timbre: Some(entry.timbre.clone()),
    };
    store.hear(harp, id, entry.at_unix_ms, &heard)
}

/// The record's harp with the same strings, or a new one under a name that is free.
fn find_or_add(store: &mut Store, harp: &Harp, tag: &str) -> Result<HarpId, RecordError> {
    let (name, kept) = find(&store.harps()?, harp);
    if let Some(kept) = kept {
        return Ok(kept.id);
    }
    let renamed = Harp::new(name, harp.kind(), harp.strings().to_vec()).unwrap_or_else(|_| harp.clone());
    store.add_harp(tag, &Sheet::of(renamed))
}

/// What `harp` is called among the `known` harps of a record, and the one with the same strings that is called so.
pub(super) fn find(known: &[Kept], harp: &Harp) -> (String, Option<Kept>) {
    let named = |name: &str| called(known, name).map(|place| &known[place]);
    let is_same = |kept: &&Kept| kept.sheet.harp.strings() == harp.strings();
    let name = (1..)
        .map(|number| match number {
            1 => harp.name().to_owned(),
            _ => {
                let short: String = harp.name().chars().take(50).collect();
                format!("{short} ({number})")
            }
        })
        .find(|name| named(name).is_none_or(|kept| is_same(&kept)))
        .unwrap_or_default();
    let kept = named(&name).cloned();
    (name, kept)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::keeper::Keeper;
    use consort_proto::{Cents, Hz, Reading, StringNumber, Tolerance, harp_file};
    use std::fs;
    use tokio::sync::mpsc;

    use crate::feed::Fed;

    #[test]
    fn what_cannot_be_written_waits_and_is_written_when_it_can_be() {
        let place = tempfile::TempDir::with_prefix("consort-keeper-").expect("a place");
        // Where the record's folder should be there is a file.
        let stands_there = place.path().join("data");
        fs::write(&stands_there, "no folder").expect("a file");
        let path = stands_there.join("record.sqlite");
        let harp = harp_file::preset("lever-22").expect("a preset");
        let book = Book {
            path: path.clone(),
            harp,
            tag: "tag".to_owned(),
            recorded: None,
            place: None,
            folder: None,
        };
        let (told, mut said) = mpsc::channel(8);
        let keeper = Keeper::start(book, told).expect("a thread");
        let mut next = || loop {
            match said.blocking_recv() {
                Some(Fed::Said(sentence)) => break sentence,
                Some(Fed::Record(_)) => {}
                other => panic!("{other:?}"),
            }
        };
        let keep = |hz: f64| {
            let string = StringNumber::new(8).expect("a string");
            let reading = Reading::new(string, Hz::new(hz).expect("a pitch"), Cents(0.2)).expect("a reading");
            let own = (Tuning::default(), Tolerance::default());
            keeper.keep(reading, &consort_analysis::Timbre::default(), None, own);
            // No two readings of a string have one time.
            std::thread::sleep(Duration::from_millis(2));
        };
        let trouble = next();
        assert!(
            trouble.contains("cannot be written") && trouble.contains("waits"),
            "{trouble}"
        );
        keep(520.0);
        keep(521.0);
        fs::remove_file(&stands_there).expect("the way is free");
        keep(522.0);
        let again = next();
        assert!(again.contains("again"), "{again}");
        drop(keeper);
        let store = Store::open(&path).expect("a record");
        let kept = store.harp(None).expect("the harp");
        let string = StringNumber::new(8).expect("a string");
        let pitches = store.history(kept.id, string).expect("its history");
        let pitches: Vec<f64> = pitches.iter().map(|point| point.reading.hz.get()).collect();
        assert_eq!(pitches, [520.0, 521.0, 522.0]);
        assert_eq!(store.tunings(kept.id).expect("tunings"), 1);
        while let Ok(fed) = said.try_recv() {
            assert!(matches!(fed, Fed::Record(_)), "each trouble is said once: {fed:?}");
        }
    }
}
