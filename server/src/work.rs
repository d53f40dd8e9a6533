//! Where the coordinator's time goes: processor time by kind of work, kept only where somebody asks for it.

use std::pin::pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::task::Poll;
use std::time::Duration;

use consort_clock::processor_time;
use consort_proto::ToCoordinator;
use consort_session::Event;

/// What the program does with its time. What is none of these is the network's: packets, their cryptography, timers.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[repr(usize)]
pub(crate) enum Kind {
    /// Heartbeats and live words are taken in.
    Beats,
    /// Reports are taken in.
    Reports,
    /// Links open, introduce themselves and close.
    Joining,
    /// What the disk has written comes into force and is acknowledged.
    Written,
    /// The leader orders, pages look.
    Orders,
    /// What is due by the clock: heartbeats to everyone, who has fallen silent.
    Ticks,
    /// What the session wants done is handed to links and disk.
    HandedOn,
    /// The image of the session is made.
    Images,
    /// Board and control page are written from the image.
    Pages,
    /// Each link reads, decodes, encodes and says.
    Links,
}

/// Every kind, with the words in which it is told.
const KINDS: [(Kind, &str); 10] = [
    (Kind::Beats, "heartbeats and live words taken in"),
    (Kind::Reports, "reports taken in"),
    (Kind::Joining, "links that open, join and close"),
    (Kind::Written, "what the disk has written put in force"),
    (Kind::Orders, "orders and looks"),
    (Kind::Ticks, "what the clock makes due"),
    (Kind::HandedOn, "messages and records handed on"),
    (Kind::Images, "images of the session"),
    (Kind::Pages, "pages for board and leader"),
    (Kind::Links, "links: first packets, decoding, saying"),
];

/// Processor time by kind of work, as far as it is counted.
#[derive(Debug, Default)]
pub struct Work {
    is_counted: AtomicBool,
    spent: [Spent; KINDS.len()],
}

#[derive(Debug, Default)]
struct Spent {
    times: AtomicU64,
    nanoseconds: AtomicU64,
}

/// How often something was done, and the processor time that it took.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// What, in words.
    pub what: &'static str,
    /// How often.
    pub times: u64,
    /// How long.
    pub spent: Duration,
}

impl Work {
    /// Whether anything is counted from now on: to ask for the time twice takes a share of the shortest work.
    pub fn count(&self, is_counted: bool) {
        self.is_counted.store(is_counted, Ordering::Relaxed);
    }

    /// What was spent so far.
    pub fn shares(&self) -> Vec<Share> {
        let shares = KINDS.iter().zip(&self.spent).map(|(&(_, what), spent)| Share {
            what,
            times: spent.times.load(Ordering::Relaxed),
            spent: Duration::from_nanos(spent.nanoseconds.load(Ordering::Relaxed)),
        });
        shares.collect()
    }

    fn add(&self, kind: Kind, spent: Duration) {
        let place = &self.spent[kind as usize];
        place.times.fetch_add(1, Ordering::Relaxed);
        let nanoseconds = u64::try_from(spent.as_nanos()).unwrap_or(u64::MAX);
        place.nanoseconds.fetch_add(nanoseconds, Ordering::Relaxed);
    }
}

/// Measures work where somebody wants to know, and else reads no clock.
#[derive(Clone, Debug, Default)]
pub(crate) struct Stopwatch(Option<Arc<Work>>);

impl Stopwatch {
    pub(crate) const fn new(work: Option<Arc<Work>>) -> Self {
        Self(work)
    }

    /// Does `work` and counts it.
    pub(crate) fn measure<T>(&self, kind: Kind, work: impl FnOnce() -> T) -> T {
        let began = self.start();
        let done = work();
        self.stop(kind, began);
        done
    }

    /// The moment in which work begins, for [`stop`](Self::stop).
    pub(crate) fn start(&self) -> Option<Duration> {
        let work = self.0.as_ref()?;
        work.is_counted.load(Ordering::Relaxed).then(processor_time)
    }

    /// Counts what was begun then.
    pub(crate) fn stop(&self, kind: Kind, began: Option<Duration>) {
        if let (Some(work), Some(began)) = (&self.0, began) {
            work.add(kind, processor_time().saturating_sub(began));
        }
    }

    /// Counts each step of `task` until it ends; what it waits for is not counted.
    pub(crate) async fn follow<T>(&self, kind: Kind, task: impl Future<Output = T>) -> T {
        if self.0.is_none() {
            return task.await;
        }
        let mut task = pin!(task);
        std::future::poll_fn(|context| -> Poll<T> { self.measure(kind, || task.as_mut().poll(context)) }).await
    }
}

/// What kind of work it is to take in an event.
pub(crate) const fn kind_of(event: &Event) -> Kind {
    match event {
        Event::Heard {
            message: ToCoordinator::Beat,
            ..
        } => Kind::Beats,
        Event::Heard {
            message: ToCoordinator::Reports(_),
            ..
        } => Kind::Reports,
        Event::LinkOpened { .. }
        | Event::Heard { .. }
        | Event::Code(_)
        | Event::Proof { .. }
        | Event::LinkClosed { .. } => Kind::Joining,
        Event::Persisted(_) | Event::NotPersisted(_) => Kind::Written,
        Event::Watching { .. } | Event::Command(_) => Kind::Orders,
        Event::Woke | Event::Tick => Kind::Ticks,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_of_work_has_a_place_of_its_own() {
        for (place, (kind, _)) in KINDS.iter().enumerate() {
            assert_eq!(*kind as usize, place);
        }
    }

    #[tokio::test]
    async fn work_is_counted_by_its_kind_and_waiting_is_not() {
        let work = Arc::new(Work::default());
        let watch = Stopwatch::new(Some(work.clone()));
        assert_eq!(watch.start(), None, "nobody counts yet");
        work.count(true);
        let sum: u64 = watch.measure(Kind::Images, || (0..1_000_000).map(std::hint::black_box).sum());
        assert!(sum > 0);
        let waits = async {
            for _ in 0..3 {
                tokio::task::yield_now().await;
            }
        };
        watch.follow(Kind::Links, waits).await;
        let done: Vec<Share> = work.shares().into_iter().filter(|share| share.times > 0).collect();
        let [images, links] = done[..] else { panic!("{done:?}") };
        assert_eq!((images.times, links.times), (1, 4));
        assert!(images.spent > Duration::ZERO);
    }

    #[test]
    fn nothing_is_measured_that_nobody_asked_for() {
        let watch = Stopwatch::default();
        assert_eq!(watch.start(), None);
        assert_eq!(watch.measure(Kind::Pages, || 7), 7);
    }
}
