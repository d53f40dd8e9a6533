//! Calls to coordinators: each has a task and a bounded queue of its own, and is told of as events.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;

use consort_link::{Attempt, AttemptFailure, Event};
use consort_pairing::EXPORTER_LABEL;
use consort_peer::link::{CLOSE_GOODBYE, CLOSE_UNREADABLE};
use consort_peer::{DialError, Dialer, Hear, HearError, Link, Say};
use consort_proto::{Fingerprint, ToCoordinator, ToStation};
use tokio::sync::mpsc;
use tokio::task::JoinSet;

/// Every call that is out or has been answered.
#[derive(Debug)]
pub(crate) struct Calls {
    dialer: Arc<Dialer>,
    events: mpsc::Sender<Event>,
    queues: BTreeMap<Attempt, mpsc::Sender<ToCoordinator>>,
    tasks: JoinSet<()>,
}

/// Messages that may wait on one call. Reports go in batches, so that a whole tuning is a few messages; a coordinator
/// that lets more pile up is not there any more, which heartbeats tell.
const WAITING_MAX: usize = 64;

impl Calls {
    /// No call yet; what happens to calls is told to `events`.
    pub(crate) fn new(dialer: Dialer, events: mpsc::Sender<Event>) -> Self {
        Self {
            dialer: Arc::new(dialer),
            events,
            queues: BTreeMap::new(),
            tasks: JoinSet::new(),
        }
    }

    /// Calls `address`, where nobody but the holder of the key `expect` is accepted, or whoever answers with `None`.
    pub(crate) fn dial(&mut self, attempt: Attempt, address: SocketAddr, expect: Option<Fingerprint>) {
        let (queue, waiting) = mpsc::channel(WAITING_MAX);
        self.queues.insert(attempt, queue);
        // Ended tasks are let go of here, so that a long evening does not pile them up.
        while self.tasks.try_join_next().is_some() {}
        let (dialer, events) = (self.dialer.clone(), self.events.clone());
        self.tasks
            .spawn(call(attempt, address, expect, dialer, waiting, events));
    }

    /// Calls with `dialer` from now on; calls that are out end as they were begun.
    pub(crate) fn renew(&mut self, dialer: Dialer) {
        self.dialer = Arc::new(dialer);
    }

    /// Says `message` on the attempt's link; without a link it is lost, as the link's end was told.
    pub(crate) fn say(&mut self, attempt: Attempt, message: ToCoordinator) {
        let Some(queue) = self.queues.get(&attempt) else { return };
        let fleeting = matches!(message, ToCoordinator::Beat);
        if let Err(mpsc::error::TrySendError::Full(_)) = queue.try_send(message)
            && !fleeting
        {
            tracing::info!(
                attempt = attempt.0,
                "the coordinator reads too slowly: the link is closed"
            );
            self.queues.remove(&attempt);
        }
    }

    /// Ends the attempt's call, after what waits has been said.
    pub(crate) fn close(&mut self, attempt: Attempt) {
        self.queues.remove(&attempt);
    }

    /// Takes leave on every link and waits until all are closed.
    pub(crate) async fn leave(mut self) {
        for queue in std::mem::take(&mut self.queues).into_values() {
            // A queue that is full belongs to a coordinator that does not read.
            let _ = queue.try_send(ToCoordinator::Leave);
        }
        while self.tasks.join_next().await.is_some() {}
    }
}

/// Carries one call from the dialling to its end.
async fn call(
    attempt: Attempt,
    address: SocketAddr,
    expect: Option<Fingerprint>,
    dialer: Arc<Dialer>,
    mut waiting: mpsc::Receiver<ToCoordinator>,
    events: mpsc::Sender<Event>,
) {
    let dialled = tokio::select! {
        dialled = dialer.dial::<ToCoordinator, ToStation>(address, expect) => dialled,
        // Given up, or the station ends: nothing is ever said before the call is answered.
        _ = waiting.recv() => return,
    };
    let link = match dialled {
        Ok(link) => link,
        Err(why) => {
            tracing::debug!(%why, "a call came to nothing");
            let event = Event::AttemptFailed {
                attempt,
                why: failure(&why),
            };
            // The station may have ended before the call.
            let _ = events.send(event).await;
            return;
        }
    };
    let connected = Event::Connected {
        attempt,
        peer: link.peer(),
        address,
        binding: link.binding(EXPORTER_LABEL),
    };
    if events.send(connected).await.is_ok() {
        carry(attempt, link, waiting, &events).await;
        let _ = events.send(Event::LinkClosed { attempt }).await;
    }
}

/// Carries an open link until either side ends it.
async fn carry(
    attempt: Attempt,
    link: Link<ToCoordinator, ToStation>,
    waiting: mpsc::Receiver<ToCoordinator>,
    events: &mpsc::Sender<Event>,
) {
    let (say, mut hear) = link.split();
    let saying = say_all(say, waiting);
    tokio::pin!(saying);
    tokio::select! {
        () = &mut saying => {}
        heard = hear_all(attempt, &mut hear, events) => {
            let code = match &heard {
                Err(HearError::Frame(_)) => CLOSE_UNREADABLE,
                _ => CLOSE_GOODBYE,
            };
            hear.cut(code);
            tracing::debug!(attempt = attempt.0, why = ?heard, "the link is gone");
        }
    }
}

/// Says what waits until the queue is closed, then closes the link in good order.
async fn say_all(mut say: Say<ToCoordinator>, mut waiting: mpsc::Receiver<ToCoordinator>) {
    while let Some(message) = waiting.recv().await {
        if let Err(why) = say.say(&message).await {
            tracing::debug!(%why, "a message was not sent");
            return;
        }
    }
    say.close(CLOSE_GOODBYE).await;
}

async fn hear_all(attempt: Attempt, hear: &mut Hear<ToStation>, events: &mpsc::Sender<Event>) -> Result<(), HearError> {
    while let Some(message) = hear.hear().await? {
        if events.send(Event::Heard { attempt, message }).await.is_err() {
            return Ok(());
        }
    }
    Ok(())
}

const fn failure(why: &DialError) -> AttemptFailure {
    match why {
        DialError::OtherKey { .. } => AttemptFailure::OtherKey,
        DialError::OtherVersion(_) => AttemptFailure::OtherVersion,
        _ => AttemptFailure::NoAnswer,
    }
}
