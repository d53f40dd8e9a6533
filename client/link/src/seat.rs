//! The seat: which one this station holds, which one its harpist wants, who wants this one.

use std::collections::BTreeMap;
use std::time::Duration;

use consort_proto::{Document, Fingerprint, Name, Seat, SessionId, Tenure, ToCoordinator, Uptime};

use crate::link::Link;

/// What a link knows of seats.
#[derive(Debug, Default)]
pub(crate) struct Seating {
    /// The seat that is held, and in which session.
    pub(crate) held: Option<(SessionId, Tenure)>,
    /// All seats as last heard.
    pub(crate) seats: Vec<Seat>,
    /// Under which other numbers seats are shown.
    pub(crate) places: BTreeMap<u32, u32>,
    /// The seat that the harpist wants.
    pub(crate) wanted: Option<u32>,
    /// The seat that she wanted and did not get.
    pub(crate) denied: Option<u32>,
    /// Who wants the seat that is held here, and until when the question stands.
    pub(crate) asked: Option<(Asked, Uptime)>,
}

/// Somebody who wants the seat that is held here.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Asked {
    /// The seat's number.
    pub seat: u32,
    /// The other harpist.
    pub name: Name,
    /// The other laptop's key.
    pub by: Fingerprint,
}

/// As long as the coordinator waits for the answer.
const ASKED_FOR: Duration = Duration::from_secs(120);

impl Seating {
    /// The seat that is held in `session`; none where that is another.
    pub(crate) fn tenure_in(&self, session: SessionId) -> Tenure {
        let held = self.held.filter(|(of, _)| *of == session);
        held.map(|(_, tenure)| tenure).unwrap_or_default()
    }
}

impl Link {
    /// The harpist wants the seat of that number.
    pub(crate) fn want_seat(&mut self, seat: u32) {
        let Some(attempt) = self.joined else { return };
        self.seating.wanted = Some(seat);
        self.seating.denied = None;
        self.send(attempt, ToCoordinator::TakeOver { seat });
        self.redraw();
    }

    /// Somebody else wants the seat that is held here: the harpist is asked.
    pub(crate) fn seat_wanted(&mut self, now: Uptime, asked: Asked) {
        self.seating.asked = Some((asked, now + ASKED_FOR));
        self.redraw();
    }

    /// The harpist answers.
    pub(crate) fn give_up_seat(&mut self, yes: bool) {
        let Some((Asked { seat, .. }, _)) = self.seating.asked.take() else {
            return;
        };
        if let Some(attempt) = self.joined {
            self.send(attempt, ToCoordinator::GiveUp { seat, yes });
        }
        self.redraw();
    }

    /// The seat stays with whom it was.
    pub(crate) fn seat_denied(&mut self, seat: u32) {
        if self.seating.wanted.take_if(|wanted| *wanted == seat).is_some() {
            self.seating.denied = Some(seat);
            self.redraw();
        }
    }

    /// The coordinator says which seat is held here.
    pub(crate) fn seated(&mut self, session: SessionId, tenure: Tenure) {
        if self.seating.wanted == Some(tenure.seat) {
            self.seating.wanted = None;
            self.seating.denied = None;
        }
        self.seating.held = Some((session, tenure));
        self.seating.asked = None;
    }

    /// Takes over what a document says beside the agreement.
    pub(crate) fn note_document(&mut self, document: &mut Document) {
        self.seating.seats = std::mem::take(&mut document.seats);
        self.beat_every = document.beat_every;
    }

    /// A question that nobody answered is put away.
    pub(crate) fn keep_seat(&mut self, now: Uptime) {
        if self.seating.asked.take_if(|(_, until)| *until <= now).is_some() {
            self.redraw();
        }
    }
}
