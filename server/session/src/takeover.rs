//! A harp that is played at another laptop: its seat changes hands when the holder says so, or the leader does for it.

use std::time::Duration;

use consort_proto::message::Refusal;
use consort_proto::{Fingerprint, ToStation, Uptime};

use crate::event::LinkId;
use crate::record::Record;
use crate::session::{LinkState, Session, Waiting};
use crate::view::Newcomer;

/// Somebody who wants another's seat.
#[derive(Clone, Debug)]
pub(crate) struct Wanted {
    pub(crate) by: Newcomer,
    until: Uptime,
}

/// A question that nobody has answered for so long is taken back.
const ASKED_FOR: Duration = Duration::from_secs(120);

impl Session {
    /// The station of `peer` wants the seat of that number: its holder and the leader are asked.
    pub(crate) fn want_seat(&mut self, now: Uptime, id: LinkId, peer: Fingerprint, seat: u32) {
        let holder = self.roster.holder(seat).filter(|&holder| holder != peer);
        let (Some(holder), Some(station)) = (holder, self.roster.get(peer)) else {
            self.send(id, ToStation::TakeOverDenied { seat });
            return;
        };
        let by = Newcomer {
            name: station.name.clone(),
            peer,
        };
        // One station wants one seat at a time, and the first who wants one is the one who is asked about.
        self.wanted.retain(|_, wanted| wanted.by.peer != peer);
        if self.wanted.contains_key(&seat) {
            self.send(id, ToStation::TakeOverDenied { seat });
            return;
        }
        let name = by.name.clone();
        let until = now + ASKED_FOR;
        self.wanted.insert(seat, Wanted { by, until });
        for link in self.links_of(holder) {
            let name = name.clone();
            self.send(link, ToStation::TakeOverAsked { seat, name, by: peer });
        }
        self.redraw();
    }

    /// The holder answers.
    pub(crate) fn give_up_seat(&mut self, peer: Fingerprint, seat: u32, yes: bool) {
        if self.roster.holder(seat) == Some(peer) {
            self.answer_for_seat(seat, yes);
        }
    }

    /// The holder, or the leader for the holder, answers.
    pub(crate) fn answer_for_seat(&mut self, seat: u32, yes: bool) {
        let (Some(Wanted { by, .. }), Some(from)) = (self.wanted.remove(&seat), self.roster.holder(seat)) else {
            return;
        };
        let to = by.peer;
        // Whoever asked may have been removed since.
        let stays = self.roster.get(to).is_none_or(|station| station.removed);
        if yes && !stays {
            self.persist(Record::TakenOver { from, to }, Waiting::TakenOver { from, to });
        } else {
            self.deny(to, seat);
        }
        self.redraw();
    }

    /// A seat that changed hands on the disk changes hands for everyone.
    pub(crate) fn put_take_over_in_force(&mut self, now: Uptime, from: Fingerprint, to: Fingerprint) {
        if self.roster.get(from).is_none() || self.roster.get(to).is_none() {
            return;
        }
        self.roster.take_over(from, to);
        for link in self.links_of(from) {
            self.close(link, Refusal::SeatTaken);
        }
        for link in self.links_of(to) {
            self.send_welcome(link, to);
        }
        self.send_agreement_to_all(now);
    }

    /// Questions that nobody has answered are taken back.
    pub(crate) fn keep_wanted(&mut self, now: Uptime) {
        let late = self.wanted.iter().filter(|(_, wanted)| wanted.until <= now);
        let late: Vec<u32> = late.map(|(&seat, _)| seat).collect();
        for seat in late {
            self.answer_for_seat(seat, false);
            self.wanted.remove(&seat);
        }
    }

    /// When the next question is taken back.
    pub(crate) fn next_wanted_end(&self) -> Option<Uptime> {
        self.wanted.values().map(|wanted| wanted.until).min()
    }

    fn deny(&mut self, peer: Fingerprint, seat: u32) {
        for link in self.links_of(peer) {
            self.send(link, ToStation::TakeOverDenied { seat });
        }
    }

    /// The links on which the station of `peer` was welcomed.
    pub(crate) fn links_of(&self, peer: Fingerprint) -> Vec<LinkId> {
        let links = self.links.iter();
        let joined = links.filter(|(_, link)| link.peer == peer && link.state == LinkState::Joined);
        joined.map(|(&id, _)| id).collect()
    }
}
