//! The door for stations: callers are admitted within limits, and each link has a task and a bounded queue of its own.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::Arc;
use std::time::Duration;

use consort_pairing::EXPORTER_LABEL;
use consort_peer::link::{CLOSE_GOODBYE, CLOSE_REFUSED, CLOSE_UNREADABLE};
use consort_peer::{Caller, Hear, HearError, Link, Listener, Protocol, Say};
use consort_proto::message::Refusal;
use consort_proto::{Fingerprint, ToCoordinator, ToStation};
use consort_session::{Event, LinkId};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc, oneshot};
use tokio::task::JoinSet;
use tokio::time::{Instant, sleep_until, timeout};

use crate::coordinator::Input;
use crate::deputy::{self, Desk};
use crate::work::Kind;

/// The coordinator's end of a link; dropping it cuts the link.
#[derive(Debug)]
pub(crate) struct Outbox {
    queue: mpsc::Sender<Outgoing>,
    /// Never sent on: the link's task sees when it is dropped.
    _held: oneshot::Sender<()>,
}

/// What waits to be said on a link.
#[derive(Debug)]
struct Outgoing {
    message: ToStation,
    /// Not before then.
    at: Option<Instant>,
    /// Whether the link closes once it has arrived.
    last: bool,
}

/// A place among the callers who have not been welcomed yet, given up when dropped.
#[derive(Debug)]
struct Stranger {
    _of_all: OwnedSemaphorePermit,
    _of_address: OwnedSemaphorePermit,
}

/// How many may call at the same time.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Links at once; the largest ensembles have a few dozen harps.
    pub links: usize,
    /// Callers at once who have not been welcomed yet: whoever holds no seat cannot keep stations from theirs.
    pub strangers: usize,
    /// Such callers at once from one address: a laptop with several stations, or many behind one router.
    pub strangers_per_address: usize,
    /// When no more than so many places for strangers are left, callers must first prove their address.
    pub places_at_ease: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            links: 256,
            strangers: 128,
            strangers_per_address: 64,
            places_at_ease: 96,
        }
    }
}

/// Messages that may wait on one link. The agreement and the acknowledgements of a whole tuning fit; who lets more pile
/// up does not read, and is cut.
const WAITING_MAX: usize = 64;
/// A station introduces itself at once; who says nothing for so long is cut.
const FIRST_WORD_WITHIN: Duration = Duration::from_secs(5);
/// What a caller may say before it has a seat or has proven the code: a hello, or the exchange and a hello.
const STRANGER_BYTES: usize = 4 * 1024;
/// How long a caller may take until it has a seat or has proven the code.
const STRANGER_FOR: Duration = Duration::from_secs(15);
/// A dismissed station hears why within this time, or not at all.
const FAREWELL_WITHIN: Duration = Duration::from_secs(3);
/// One message in this time is read on in the long run: five times what a station says while every string is plucked.
const PACE: Duration = Duration::from_millis(20);
/// Messages that may come faster than that in one go: a whole tuning, reported after a gap in the Wi-Fi.
const BURST: u32 = 100;

/// Takes callers until the listener is closed.
pub(crate) async fn serve(listener: &Listener, limits: Limits, desk: &Desk) {
    let of_all = Arc::new(Semaphore::new(limits.strangers));
    let mut of_addresses: BTreeMap<IpAddr, Arc<Semaphore>> = BTreeMap::new();
    let mut links = JoinSet::new();
    let mut last = LinkId(0);
    loop {
        let caller = tokio::select! {
            caller = listener.knock() => caller,
            Some(_) = links.join_next() => continue,
        };
        let Some(caller) = caller else { return };
        // A place holds its semaphore, so that one nobody else holds has no place taken.
        of_addresses.retain(|_, places| Arc::strong_count(places) > 1);
        let of_address = of_addresses
            .entry(caller.address().ip())
            .or_insert_with(|| Arc::new(Semaphore::new(limits.strangers_per_address)));
        let places = (
            of_all.clone().try_acquire_owned(),
            of_address.clone().try_acquire_owned(),
        );
        match places {
            (Ok(_), Ok(_)) if of_all.available_permits() < limits.places_at_ease && !caller.is_proven() => {
                caller.ask_again()
            }
            (Ok(_of_all), Ok(_of_address)) if links.len() < limits.links => {
                last = LinkId(last.0 + 1);
                let stranger = Stranger { _of_all, _of_address };
                let (watch, desk) = (desk.watch.clone(), desk.clone());
                links.spawn(async move { watch.follow(Kind::Links, run_link(last, caller, stranger, desk)).await });
            }
            _ => caller.refuse(),
        }
    }
}

impl Outbox {
    /// Hands the message over; `false` when the station reads too slowly to be kept.
    ///
    /// A heartbeat that finds no room is dropped, since the next one says the same.
    pub(crate) fn post(&self, message: ToStation) -> bool {
        let fleeting = matches!(message, ToStation::Beat { .. });
        let outgoing = Outgoing {
            message,
            at: None,
            last: false,
        };
        match self.queue.try_send(outgoing) {
            Ok(()) => true,
            Err(mpsc::error::TrySendError::Full(_)) => fleeting,
            // Its end is on the way to the session.
            Err(mpsc::error::TrySendError::Closed(_)) => true,
        }
    }

    /// Hands over what is not to be said before `at`; a queue that is full belongs to a station that does not read.
    pub(crate) fn post_at(&self, message: ToStation, at: Instant) {
        let _ = self.queue.try_send(Outgoing {
            message,
            at: Some(at),
            last: false,
        });
    }

    /// Says why and closes the link once that has arrived; who does not read is cut.
    pub(crate) fn dismiss(self, why: Refusal) {
        let Self { queue, _held } = self;
        let farewell = Outgoing {
            message: ToStation::Refused(why),
            at: None,
            last: true,
        };
        if queue.try_send(farewell).is_ok() {
            tokio::spawn(async move {
                // The link's task closes the queue when it ends.
                let _ = timeout(FAREWELL_WITHIN, queue.closed()).await;
                drop(_held);
            });
        }
    }
}

/// Carries one link until either side ends it; the session hears of its beginning, its messages and its end.
async fn run_link(id: LinkId, caller: Caller, stranger: Stranger, desk: Desk) {
    let address = caller.address();
    let link: Link<ToStation, ToCoordinator> = match caller.meet().await {
        Ok(met) => match met.protocol() {
            Protocol::Station => met.link(),
            // Whoever may not look is gone in a moment, and whoever may is no stranger.
            Protocol::Deputy => return deputy::serve(met.link(), desk).await,
        },
        Err(why) => {
            tracing::debug!(%address, %why, "a caller did not get in");
            return;
        }
    };
    let Desk { inbox, watch, .. } = desk;
    let (queue, waiting) = mpsc::channel(WAITING_MAX);
    let (held, let_go) = oneshot::channel();
    let peer: Fingerprint = link.peer();
    let outbox = Outbox { queue, _held: held };
    let opened = Input::Link {
        id,
        peer,
        from: link.address().ip(),
        binding: link.binding(EXPORTER_LABEL),
        outbox,
    };
    if inbox.send(opened).await.is_err() {
        return;
    }
    tracing::debug!(link = id.0, %address, station = peer.tag(), "a link is open");
    let (say, mut hear) = link.split();
    let (known, is_known) = oneshot::channel();
    let saying = say_all(say, waiting, stranger, known);
    let mut saying = tokio::spawn(async move { watch.follow(Kind::Links, saying).await });
    let end = tokio::select! {
        biased;
        _ = let_go => {
            hear.cut(CLOSE_REFUSED);
            "cut".to_owned()
        }
        heard = hear_all(id, &mut hear, is_known, &inbox) => match heard {
            Ok(()) => "the station ended it".to_owned(),
            Err(why) => {
                hear.cut(if matches!(why, HearError::Frame(_)) { CLOSE_UNREADABLE } else { CLOSE_GOODBYE });
                why.to_string()
            }
        },
        _ = &mut saying => "nothing can be said any more".to_owned(),
    };
    saying.abort();
    tracing::debug!(link = id.0, why = end, "a link is gone");
    // The coordinator may have ended before the link.
    let _ = inbox.send(Input::Event(Event::LinkClosed { link: id })).await;
}

/// Says what waits until the queue is closed, the link is gone, or the station is dismissed; `known` is told before the
/// station hears that it is let in.
async fn say_all(
    mut say: Say<ToStation>,
    mut waiting: mpsc::Receiver<Outgoing>,
    stranger: Stranger,
    known: oneshot::Sender<()>,
) {
    let (mut stranger, mut known) = (Some(stranger), Some(known));
    while let Some(Outgoing { message, at, last }) = waiting.recv().await {
        if let Some(at) = at {
            sleep_until(at).await;
        }
        if matches!(message, ToStation::Welcome { .. }) {
            drop(stranger.take());
        }
        if matches!(message, ToStation::Welcome { .. } | ToStation::PairAccept { .. })
            && let Some(known) = known.take()
        {
            // Whoever hears the link may have ended.
            let _ = known.send(());
        }
        if let Err(why) = say.say(&message).await {
            tracing::debug!(%why, "a message was not sent");
            return;
        }
        if last {
            return say.close(CLOSE_REFUSED).await;
        }
    }
}

/// Hands on what the station says, no faster than stations speak, and little and not for long until it is known.
async fn hear_all(
    id: LinkId,
    hear: &mut Hear<ToCoordinator>,
    mut is_known: oneshot::Receiver<()>,
    inbox: &mpsc::Sender<Input>,
) -> Result<(), HearError> {
    hear.allow(Some(STRANGER_BYTES));
    let opened = Instant::now();
    let (mut first, mut stranger) = (true, true);
    // The moment up to which the station has used its time; it may run ahead by a burst.
    let mut used = Instant::now();
    loop {
        let heard = if stranger {
            let patience = if first { FIRST_WORD_WITHIN } else { STRANGER_FOR };
            tokio::select! {
                biased;
                known = &mut is_known => {
                    if known.is_ok() {
                        stranger = false;
                        hear.allow(None);
                        continue;
                    }
                    // The other half has ended, and the link with it.
                    return Ok(());
                }
                heard = hear.hear() => heard?,
                () = sleep_until(opened + patience) => return Err(HearError::Silent),
            }
        } else {
            hear.hear().await?
        };
        first = false;
        let Some(message) = heard else { return Ok(()) };
        let now = Instant::now();
        used = used.max(now) + PACE;
        let not_before = used - PACE * BURST;
        if not_before > now {
            sleep_until(not_before).await;
        }
        if inbox
            .send(Input::Event(Event::Heard { link: id, message }))
            .await
            .is_err()
        {
            return Ok(());
        }
    }
}
