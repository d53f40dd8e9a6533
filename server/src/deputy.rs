//! Deputies: laptops that look at the board over a link of their own, and change the agreement where the leader granted it.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use consort_peer::link::CLOSE_REFUSED;
use consort_peer::{Hear, Link, Say};
use consort_proto::Fingerprint;
use consort_proto::agreement::SEATS_MAX;
use consort_proto::deputy::{Change, FromDeputy, HarpPicture, Heard, Hindsight, Outcome, Picture, ToDeputy};
use consort_proto::message::Refusal;
use consort_session::{Command, Presence, StationView, View};
use tokio::sync::{mpsc, oneshot, watch};
use tokio::time::{Instant, sleep_until, timeout};

use crate::coordinator::{self, Input, Viewer};
use crate::image;
use crate::work::Stopwatch;

/// What a deputy's link needs of the coordinator.
#[derive(Clone, Debug)]
pub(crate) struct Desk {
    pub(crate) inbox: mpsc::Sender<Input>,
    pub(crate) images: watch::Receiver<Arc<View>>,
    /// For what the links take.
    pub(crate) watch: Stopwatch,
}

/// What the leader allows the holder of a key.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) struct Leave {
    /// To look at the board: whoever was let in once, and not turned away since.
    pub(crate) looks: bool,
    /// To change the agreement.
    pub(crate) orders: bool,
}

/// A deputy asks to see the board at once; who says nothing for so long is cut.
const FIRST_WORD_WITHIN: Duration = Duration::from_secs(5);
/// The shortest time between two pictures: what has changed of thirty harps is sent at most twice a second.
const SHOW_EVERY: Duration = Duration::from_millis(500);
/// A picture is sent again after this time without a change, so that a deputy can tell a quiet ensemble from a dead link.
const SHOW_AGAIN: Duration = Duration::from_secs(2);
/// The shortest time between two orders.
const ORDER_EVERY: Duration = Duration::from_millis(100);

/// Serves the deputy on `link` until either side ends it.
pub(crate) async fn serve(link: Link<ToDeputy, FromDeputy>, desk: Desk) {
    let peer = link.peer();
    let (mut say, mut hear) = link.split();
    let asked = timeout(FIRST_WORD_WITHIN, hear.hear()).await;
    let leave = desk.leave(peer).await;
    if !matches!(asked, Ok(Ok(Some(FromDeputy::Watch)))) || !leave.looks {
        // Whoever is not let in may have gone already.
        let _ = say.say(&ToDeputy::Refused(Refusal::NotInvited)).await;
        return say.close(CLOSE_REFUSED).await;
    }
    desk.tell(peer, true).await;
    tracing::debug!(deputy = peer.tag(), "a deputy looks");
    let (answers, answered) = mpsc::channel(4);
    tokio::select! {
        () = show(&mut say, peer, &desk, answered) => {}
        () = obey(&mut hear, peer, &desk, &answers) => {}
    }
    desk.tell(peer, false).await;
    say.close(CLOSE_REFUSED).await;
}

/// Sends each picture, and what came of orders, until the deputy may not look any more or does not read.
async fn show(say: &mut Say<ToDeputy>, peer: Fingerprint, desk: &Desk, mut answered: mpsc::Receiver<ToDeputy>) {
    let mut images = desk.images.clone();
    images.mark_changed();
    let mut shown: BTreeMap<u32, HarpPicture> = BTreeMap::new();
    let mut at = Instant::now();
    loop {
        tokio::select! {
            Some(answer) = answered.recv() => {
                if say.say(&answer).await.is_err() {
                    return;
                }
                continue;
            }
            () = due(&mut images, at) => {}
        }
        at = Instant::now() + SHOW_EVERY;
        let leave = desk.leave(peer).await;
        if !leave.looks {
            let _ = say.say(&ToDeputy::Refused(Refusal::Removed)).await;
            return;
        }
        let Some(view) = desk.viewer().look().await else { return };
        if send(say, &view, leave, &mut shown).await.is_err() {
            return;
        }
    }
}

/// Resolves when the next picture is due: not before `at`, and after a change or a while without any.
async fn due(images: &mut watch::Receiver<Arc<View>>, at: Instant) {
    sleep_until(at).await;
    // A coordinator that has ended cuts the link as well.
    let _ = timeout(SHOW_AGAIN, images.changed()).await;
    images.mark_unchanged();
}

/// Sends the harps that look otherwise than in the last picture, then the picture.
async fn send(
    say: &mut Say<ToDeputy>,
    view: &View,
    leave: Leave,
    shown: &mut BTreeMap<u32, HarpPicture>,
) -> Result<(), consort_peer::SayError> {
    // No more than a picture may hold: a larger crowd's is of the first, as its agreement is.
    let seated = || {
        let stations = view.stations.iter().filter(|station| !station.removed);
        stations.take(SEATS_MAX)
    };
    let seats: Vec<u32> = seated().map(|station| station.place).collect();
    shown.retain(|seat, _| seats.contains(seat));
    for station in seated() {
        let picture = harp(station);
        if shown.get(&station.place) != Some(&picture) {
            say.say(&ToDeputy::Harp(picture.clone())).await?;
            shown.insert(station.place, picture);
        }
    }
    let ages = seated().map(|station| (station.place, image::age(station)));
    say.say(&ToDeputy::Hindsight(Hindsight {
        ages: ages.collect(),
        room: view.room.clone(),
    }))
    .await?;
    if let Some(called) = &view.called {
        let plucked = called.harps.iter().filter(|beside| beside.cents.is_some());
        let answers = plucked.map(|beside| beside.seat).filter(|seat| seats.contains(seat));
        say.say(&ToDeputy::Answers(answers.collect())).await?;
    }
    say.say(&ToDeputy::Picture(Picture {
        agreement: view.agreement.clone(),
        start_in: view.start_in,
        can_undo: view.can_undo,
        disk_trouble: view.disk_trouble,
        granted: leave.orders,
        seats,
    }))
    .await
}

fn harp(station: &StationView) -> HarpPicture {
    HarpPicture {
        seat: station.place,
        name: station.name.clone(),
        harp: station.harp.clone(),
        standings: station.readiness.standings().to_vec(),
        heard: match station.presence {
            Presence::Here => Heard::Here,
            Presence::Unsure => Heard::Unsure,
            Presence::Silent(silent) => Heard::Silent(silent),
            Presence::Away => Heard::Away,
        },
        help: station.help,
    }
}

/// Carries out what the deputy orders, no faster than a person decides.
async fn obey(hear: &mut Hear<FromDeputy>, peer: Fingerprint, desk: &Desk, answers: &mpsc::Sender<ToDeputy>) {
    while let Ok(Some(message)) = hear.hear().await {
        let FromDeputy::Order { number, change } = message else {
            continue;
        };
        let done_by = Instant::now() + ORDER_EVERY;
        // Asked each time: the leader may have taken it back.
        let outcome = if desk.leave(peer).await.orders {
            match desk.viewer().order(command(change)).await {
                Some(coordinator::Outcome::Done(_)) => Outcome::Done,
                Some(coordinator::Outcome::Unchanged(_)) => Outcome::Unchanged,
                Some(coordinator::Outcome::NotWritten) => Outcome::NotWritten,
                None => return,
            }
        } else {
            Outcome::NotGranted
        };
        if answers.send(ToDeputy::Done { number, outcome }).await.is_err() {
            return;
        }
        sleep_until(done_by).await;
    }
}

/// The session's command for a deputy's change.
pub(crate) const fn command(change: Change) -> Command {
    match change {
        Change::Pitch(a4) => Command::Pitch(a4),
        Change::Temperament(temperament) => Command::Temperament(temperament),
        Change::Setting(setting) => Command::Setting(setting),
        Change::Tolerance(tolerance) => Command::Tolerance(tolerance),
        Change::Start(left) => Command::Start(left),
        Change::NewRound => Command::NewRound,
        Change::Undo => Command::Undo,
        Change::Call(note) => Command::Call(note),
    }
}

impl Desk {
    fn viewer(&self) -> Viewer {
        Viewer::new(self.inbox.clone())
    }

    /// What the leader allows the holder of `peer` now; nothing once the coordinator has ended.
    async fn leave(&self, peer: Fingerprint) -> Leave {
        let nothing = Leave {
            looks: false,
            orders: false,
        };
        let (answer, leave) = oneshot::channel();
        if self.inbox.send(Input::Leave(peer, answer)).await.is_err() {
            return nothing;
        }
        leave.await.unwrap_or(nothing)
    }

    /// Tells the session that the holder of `peer` looks, or does not any more.
    async fn tell(&self, peer: Fingerprint, looks: bool) {
        let event = consort_session::Event::Watching { peer, looks };
        // The coordinator may have ended before the link.
        let _ = self.inbox.send(Input::Event(event)).await;
    }
}
