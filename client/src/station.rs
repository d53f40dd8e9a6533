//! The event loop: one task owns the link, hands it events, and carries out its effects without ever waiting for them.

mod effects;
mod listening;
mod renewed;
mod show;
mod sound;
mod wish;

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::mpsc::Sender as ToEars;
use std::time::Duration;

use consort_clock::{Clock, LOOK_EVERY};
use consort_guide::listening::Listening;
use consort_guide::opening::Check;
use consort_link::{Event, Link, LinkState};
use consort_logbook::Logged;
use consort_proto::{Agreement, Harp, Mark, Name, Report, Round, Sequence, StringNumber, Tenure, Uptime};
use consort_store::Folder;
use consort_words::Words;
use tokio::sync::{mpsc, watch};
use tokio::time::Instant;

use crate::choices::Kept;
use crate::course::Course;
use crate::endpoint::Calls;
use crate::feed::{Fed, Feed, ToEar};
use crate::hearing::Hearing;
use crate::image::{Image, Input};
use crate::keeper::Keeper;
use crate::pairing::Exchanges;
use crate::renewals::Renewals;
use crate::store::{Note, Store, Written};
use crate::voice::Voice;
use crate::wrong::Lately;

pub(crate) use wish::{HARP_FILE, Wish};

/// How a station has ended.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Ended {
    /// It is over.
    Over {
        /// Whether nothing waits to be reported.
        delivered: bool,
    },
    /// The station is to start anew, with another harp or input.
    Anew,
}

/// Everything that reaches the loop from outside.
#[derive(Debug)]
pub(crate) struct Inboxes {
    pub(crate) events: mpsc::Receiver<Event>,
    pub(crate) fed: mpsc::Receiver<Fed>,
    pub(crate) written: mpsc::UnboundedReceiver<Written>,
    pub(crate) wishes: mpsc::Receiver<Wish>,
}

/// The link, its harp's sound, its memory, and what shows them.
pub(crate) struct EventLoop {
    link: Logged<Link>,
    calls: Calls,
    exchanges: Exchanges,
    store: Store,
    /// Where the key is kept.
    folder: Arc<Folder>,
    /// The tag of this laptop's own key.
    own_tag: String,
    /// Keeps the harp's record; `None` where its thread does not start.
    keeper: Option<Keeper>,
    clock: Clock,
    /// When to look whether this laptop slept.
    look_at: Instant,
    /// The harp with what is allowed for: every target is reckoned from it.
    harp: Arc<Harp>,
    /// The harp as its file has it.
    own_harp: Arc<Harp>,
    /// What the record says of strings that were put on and of what is allowed for.
    renewals: Renewals,
    /// Whether something else is allowed for by now: the station starts anew with it once nobody plays.
    allows_otherwise: bool,
    /// The string that was marked as new last, and its mark before, while that can be taken back.
    slipped: Option<(StringNumber, Option<Mark>)>,
    name: Name,
    hearing: Hearing,
    /// Whether a tuning opens with a check.
    opens: bool,
    input: Input,
    notices: Vec<String>,
    words: Words,
    voice: Voice,
    image: watch::Sender<Arc<Image>>,
    /// Tells the ear of other targets, and what to keep.
    ear: ToEars<ToEar>,
    /// What the harpist has chosen.
    kept: Kept,
    /// The round in which the start has passed: she performs until there is another one.
    performed: Option<Round>,
    /// She wants to see the desk though the start has passed.
    woken: bool,
    /// The sentence on a changed pitch, until she has seen it.
    changed: Option<String>,
    /// When the time until the start is to be said anew, and when she has rested from playing.
    clock_at: Option<Instant>,
    rest_at: Option<Instant>,
    /// When a reading that nobody asked for has stood alone for long enough.
    alone_at: Option<Instant>,
    /// What was sensed in the last seconds, for the file of something that was wrong.
    lately: Lately,
    /// The check by listening that is under way, and the last swell that was heard in it.
    listening: Option<Listening>,
    swell: Vec<f32>,
    /// Whether to end so that the station starts anew, with another harp or input.
    anew: bool,
    /// The agreement that the ear and the disk know of.
    agreed: Option<Agreement>,
    noted_tenure: Tenure,
    /// The newest report that rests on the disk.
    on_disk: Sequence,
    /// Reports and notes that the disk refused, and when to try them again.
    unwritten: BTreeMap<Sequence, Report>,
    unnoted: Vec<Note>,
    retry_at: Option<Instant>,
    /// Recordings that wait for the agreement, and until when.
    waiting: Option<(Feed, Instant)>,
    /// The coordinator that was named by link or address and has not answered yet, and when to say so.
    unanswered: Option<(SocketAddr, Instant)>,
    /// When the hand is let go of, since its string is done.
    let_go_at: Option<Instant>,
    /// Whether to end with the sound, and by when at the latest.
    until_end: bool,
    end_by: Option<Instant>,
}

/// What a loop starts from.
pub(crate) struct Parts {
    pub(crate) link: Logged<Link>,
    pub(crate) calls: Calls,
    pub(crate) exchanges: Exchanges,
    pub(crate) store: Store,
    pub(crate) folder: Arc<Folder>,
    pub(crate) own_tag: String,
    pub(crate) keeper: Option<Keeper>,
    pub(crate) clock: Clock,
    pub(crate) harp: Arc<Harp>,
    pub(crate) own_harp: Arc<Harp>,
    pub(crate) name: Name,
    pub(crate) voice: Voice,
    pub(crate) notices: Vec<String>,
    pub(crate) ear: ToEars<ToEar>,
    pub(crate) kept: Kept,
    pub(crate) feed: Feed,
    /// How long the sound may wait for an agreement.
    pub(crate) patience: Duration,
    /// Where the coordinator should be, by link or address.
    pub(crate) called: Option<SocketAddr>,
    pub(crate) until_end: bool,
    /// Whether the tuning opens with a check.
    pub(crate) opens: bool,
}

/// A disk that took nothing is tried again after this long.
const RETRY_AFTER: Duration = Duration::from_secs(5);
/// A coordinator that was named and has not answered after this long is said to be missing.
const ANSWERED_WITHIN: Duration = Duration::from_secs(5);
/// A string that is done is shown for this long, then the next one.
const LET_GO_AFTER: Duration = Duration::from_secs(2);
/// What does not count is shown for so long, unless it comes to count before.
const LEFT_FOR: Duration = Duration::from_secs(5);
/// How long a station that ends with its recordings waits until the coordinator has everything.
const ACKED_WITHIN: Duration = Duration::from_secs(10);
/// How long leaving may take; a coordinator that is gone does not hold up the end.
const LEAVE_WITHIN: Duration = Duration::from_secs(2);
/// Notices that are kept to be shown; older ones were seen or do not matter any more.
const NOTICES_MAX: usize = 64;

impl EventLoop {
    /// Carries on until `shutdown`, or until the sound has ended if it is to end with it; then takes leave.
    ///
    /// Also ends when the station is to start anew.
    pub(crate) async fn run(mut self, mut inboxes: Inboxes, mut shutdown: impl Future<Output = ()> + Unpin) -> Ended {
        self.tell(Event::Tick);
        self.refresh();
        loop {
            while let Some(effect) = self.link.poll_effect() {
                self.perform(effect);
            }
            if self.is_done() || self.anew {
                break;
            }
            let tick = self.link.poll_timeout().map(|at| self.clock.instant(at).into());
            tokio::select! {
                biased;
                () = &mut shutdown => break,
                Some(written) = inboxes.written.recv() => self.written(written),
                Some(event) = inboxes.events.recv() => self.tell(event),
                () = until(tick) => self.tell(Event::Tick),
                () = until(Some(self.look_at)) => self.look_at_clock(),
                () = until(self.next_deadline()) => self.deadline(),
                Some(wish) = inboxes.wishes.recv() => self.wish(wish),
                Some(fed) = inboxes.fed.recv() => self.hear(fed),
            }
        }
        if !self.anew {
            self.voice.farewell(&self.image.borrow());
        }
        let delivered = self.is_delivered();
        // What was not said by then is in the journal and is said next time.
        let _ = tokio::time::timeout(LEAVE_WITHIN, self.calls.leave()).await;
        if self.anew {
            Ended::Anew
        } else {
            Ended::Over { delivered }
        }
    }
}

/// The check with which a round opens, if it does.
fn opening(opens: bool, harp: &Harp, link: &Link) -> Check {
    if opens {
        Check::begin(harp, &link.readiness())
    } else {
        Check::default()
    }
}

impl EventLoop {
    /// A loop around `parts`; its images appear in the receiver.
    pub(crate) fn new(parts: Parts) -> (Self, watch::Receiver<Arc<Image>>) {
        let now = Instant::now();
        let mut hearing = Hearing::new(opening(parts.opens, &parts.harp, &parts.link));
        let begun = parts.clock.now();
        let advice = hearing.advise(&parts.harp, &parts.link, begun);
        let (name, drawn) = ((&parts.name, parts.own_tag.as_str()), (advice, Course::default()));
        let renewals = Renewals::open(parts.folder.clone(), parts.own_harp.name());
        let mut event_loop = Self {
            image: watch::Sender::new(Arc::new(Image::of(&parts.link, &parts.harp, name, drawn, begun))),
            link: parts.link,
            calls: parts.calls,
            exchanges: parts.exchanges,
            store: parts.store,
            folder: parts.folder,
            own_tag: parts.own_tag,
            keeper: parts.keeper,
            clock: parts.clock,
            look_at: now + LOOK_EVERY,
            renewals,
            allows_otherwise: false,
            slipped: None,
            harp: parts.harp,
            own_harp: parts.own_harp,
            name: parts.name,
            hearing,
            opens: parts.opens,
            input: Input::Waiting,
            notices: parts.notices,
            words: Words::english(),
            voice: parts.voice,
            ear: parts.ear,
            kept: parts.kept,
            performed: None,
            woken: false,
            changed: None,
            clock_at: None,
            rest_at: None,
            alone_at: None,
            lately: Lately::default(),
            listening: None,
            swell: Vec::new(),
            anew: false,
            agreed: None,
            noted_tenure: Tenure::default(),
            on_disk: Sequence::default(),
            unwritten: BTreeMap::new(),
            unnoted: Vec::new(),
            retry_at: None,
            waiting: Some((parts.feed, now + parts.patience)),
            unanswered: parts.called.map(|address| (address, now + ANSWERED_WITHIN)),
            let_go_at: None,
            until_end: parts.until_end,
            end_by: None,
        };
        let view = event_loop.link.view(Uptime::default());
        (event_loop.agreed, event_loop.noted_tenure) = (view.agreement.cloned(), view.tenure);
        let images = event_loop.image.subscribe();
        (event_loop, images)
    }

    fn tell(&mut self, event: Event) {
        self.look_at_clock();
        self.link.handle(self.now(), event);
    }

    /// Tells the link when this laptop slept, before anything that came meanwhile is judged by the time.
    fn look_at_clock(&mut self) {
        self.look_at = Instant::now() + LOOK_EVERY;
        if let Some(slept) = self.clock.look() {
            tracing::info!(?slept, "this program stood still");
            self.link.handle(self.clock.now(), Event::Woke);
        }
    }

    fn notice(&mut self, sentence: String) {
        if self.notices.len() == NOTICES_MAX {
            self.notices.remove(0);
        }
        self.notices.push(sentence);
        self.refresh();
    }

    /// Whether the sound is over, and everything that can be reported has been, or will not be any more today.
    fn is_done(&self) -> bool {
        self.end_by
            .is_some_and(|by| self.is_delivered() || by <= Instant::now())
    }

    /// Whether the coordinator has every report, or there is none to have them.
    fn is_delivered(&self) -> bool {
        let view = self.link.view(self.now());
        view.unsent == 0 || view.state == LinkState::Alone
    }

    fn now(&self) -> Uptime {
        self.clock.now()
    }

    /// The moment of that time, as far as is known now.
    fn instant(&self, at: Uptime) -> Instant {
        self.clock.instant(at).into()
    }
}

/// Sleeps until then; for ever when there is no then.
async fn until(then: Option<Instant>) {
    match then {
        Some(then) => tokio::time::sleep_until(then).await,
        None => std::future::pending().await,
    }
}
