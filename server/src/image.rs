//! The session as the pages show it: what the board and the leader's page are sent, drawn whenever it has changed.

use std::sync::Arc;

use consort_pages::{BoardPage, CheapestPitch, CodeImage, ControlPage, Presence, SeatImage, SessionImage};
use consort_proto::{Age, Fingerprint, Name};
use consort_session::call::Called;
use consort_session::cheapest::Cost;
use consort_session::{CodeView, Newcomer, StationView, View};
use consort_words::Words;
use serde::Serialize;
use tokio::sync::watch;
use tokio::task::spawn_blocking;
use tokio::time::{Instant, sleep};

use crate::network::Network;
use crate::work::{Kind, Stopwatch};

/// Draws each image of the session once, for all viewers of a page together.
pub(crate) struct Drawing {
    words: Words,
    watch: Stopwatch,
    board: watch::Sender<Arc<str>>,
    control: watch::Sender<Arc<str>>,
}

/// Between two pictures it rests at least so many times as long as the first of them took: those of a crowd come more
/// slowly, and stations do not wait for them.
const RESTS: u32 = 9;

impl Drawing {
    /// A drawing that shows `view` at first; the control page also shows the `network`.
    pub(crate) fn new(view: &View, network: &Network, watch: Stopwatch) -> Self {
        let empty = || watch::Sender::new(Arc::from(""));
        let drawing = Self {
            words: Words::english(),
            watch,
            board: empty(),
            control: empty(),
        };
        drawing.draw(view, network);
        drawing
    }

    /// What viewers of the board are sent: a [`BoardPage`] in one line of JSON.
    pub(crate) fn board(&self) -> watch::Receiver<Arc<str>> {
        self.board.subscribe()
    }

    /// What the leader's page is sent: a [`ControlPage`] in one line of JSON.
    pub(crate) fn control(&self) -> watch::Receiver<Arc<str>> {
        self.control.subscribe()
    }

    /// Draws every image as soon as it is there; never ends. The images themselves come no faster than eyes follow.
    ///
    /// Drawn is on a thread beside the one that serves stations: the pages of a crowd take longer than its packets wait in
    /// a socket.
    pub(crate) async fn follow(self, mut images: watch::Receiver<Arc<View>>, mut networks: watch::Receiver<Network>) {
        let drawing = Arc::new(self);
        loop {
            let changed = tokio::select! {
                changed = images.changed() => changed,
                changed = networks.changed() => changed,
            };
            if changed.is_err() {
                std::future::pending::<()>().await;
            }
            let network = networks.borrow_and_update().clone();
            let view = images.borrow_and_update().clone();
            let drawing = drawing.clone();
            let drawn = spawn_blocking(move || {
                let began = Instant::now();
                drawing.watch.measure(Kind::Pages, || drawing.draw(&view, &network));
                began.elapsed()
            });
            // A drawing that failed was said when it did; the next image is drawn all the same.
            sleep(drawn.await.unwrap_or_default() * RESTS).await;
        }
    }

    fn draw(&self, view: &View, network: &Network) {
        let image = of(view);
        self.board.send_replace(line(&BoardPage::of(&image, &self.words)));
        let mut control = ControlPage::of(&image, &network.links, &self.words);
        let trouble = control.board.trouble.take();
        control.board.trouble = trouble.or_else(|| network.trouble.clone());
        self.control.send_replace(line(&control));
    }
}

/// The session in `view` as pages are made from it.
pub(crate) fn of(view: &View) -> SessionImage<'_> {
    SessionImage {
        agreement: &view.agreement,
        start_in: view.start_in,
        joining: view.joining,
        code: match view.code {
            CodeView::Closed => CodeImage::Closed,
            CodeView::Open { code, wrong } => CodeImage::Open { code, wrong },
            CodeView::Resting { left } => CodeImage::Resting { left },
        },
        newcomer: view.newcomer.as_ref().map(person),
        knocking: view.knocking.iter().map(person).collect(),
        watching: view.watching.clone(),
        proposal: view
            .proposal
            .as_ref()
            .map(|(name, proposal)| (name.as_ref(), *proposal)),
        next_pitch: view.next_pitch,
        room: view.room.clone(),
        cheapest: view.cheapest().as_ref().map(cheapest),
        silenced: view.silenced,
        can_undo: view.can_undo,
        disk_trouble: view.disk_trouble,
        was_joined: !view.stations.is_empty(),
        seats: view
            .stations
            .iter()
            .map(|station| seat(station, view.called.as_ref()))
            .collect(),
    }
}

fn seat<'a>(station: &'a StationView, called: Option<&Called>) -> SeatImage<'a> {
    let answered = |called: &Called| {
        let own = called.harps.iter().find(|beside| beside.seat == station.place);
        own.is_some_and(|beside| beside.cents.is_some())
    };
    SeatImage {
        seat: station.place,
        station: station.peer,
        name: &station.name,
        harp: &station.harp,
        readiness: &station.readiness,
        outlook: station.outlook,
        age: age(station),
        overhears: station.overhears,
        answered: called.map(answered),
        presence: presence(station.presence),
        removed: station.removed,
        help: station.help,
        copied: station.copied,
        deputy: station.deputy,
        wanted_by: station.wanted_by.as_ref().map(person),
    }
}

/// The A that would cost least, as pages tell it.
pub(crate) const fn cheapest(cost: &Cost) -> CheapestPitch {
    CheapestPitch {
        a4: cost.a4,
        strings: cost.strings,
        takes: cost.takes,
    }
}

/// How old it is what the station last reported.
pub(crate) const fn age(station: &StationView) -> Age {
    Age {
        confirmed: station.confirmed_ago,
        to_confirm: station.to_confirm,
    }
}

const fn person(who: &Newcomer) -> (&Name, Fingerprint) {
    (&who.name, who.peer)
}

const fn presence(presence: consort_session::Presence) -> Presence {
    match presence {
        consort_session::Presence::Here => Presence::Here,
        consort_session::Presence::Unsure => Presence::Unsure,
        consort_session::Presence::Silent(silent) => Presence::Silent(silent),
        consort_session::Presence::Away => Presence::Away,
    }
}

/// A page as one line of JSON.
fn line(page: &impl Serialize) -> Arc<str> {
    // A page always becomes JSON: its keys are words and its numbers finite.
    serde_json::to_string(page).unwrap_or_default().into()
}

#[cfg(test)]
mod truth;
