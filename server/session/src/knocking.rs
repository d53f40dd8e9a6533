//! Joining without a code: a station knocks, the leader sees its name and tag, and lets it in or not.

use std::net::IpAddr;
use std::time::Duration;

use consort_proto::message::Refusal;
use consort_proto::{Fingerprint, Name, ToStation, Uptime};

use crate::event::LinkId;
use crate::record::Record;
use crate::session::{Session, Waiting};
use crate::view::Newcomer;

/// Somebody who waits for the leader.
#[derive(Clone, Debug)]
pub(crate) struct Knock {
    pub(crate) who: Newcomer,
    from: IpAddr,
    /// When it knocked last.
    at: Uptime,
}

/// Who waits at the same time; a leader who is asked by more would look at none of them.
const KNOCKS_MAX: usize = 8;
/// Who waits at the same time from one address.
const KNOCKS_PER_ADDRESS: usize = 4;
/// A station knocks every few seconds for as long as its harpist wants in.
const KNOCK_FOR: Duration = Duration::from_secs(20);

impl Session {
    /// A station without a code asks to be let in. It is told to ask again, so that nobody holds a link while the leader is
    /// looking elsewhere.
    pub(crate) fn knock(&mut self, now: Uptime, id: LinkId, peer: Fingerprint, name: Name) {
        let Some(from) = self.links.get(&id).map(|link| link.from) else {
            return;
        };
        let removed = self.roster.get(peer).is_some_and(|station| station.removed);
        let known = self.knocks.iter().position(|knock| knock.who.peer == peer);
        let alike = self.knocks.iter().filter(|knock| knock.from == from).count();
        let crowded = self.knocks.len() >= KNOCKS_MAX || alike >= KNOCKS_PER_ADDRESS;
        let why = match known {
            _ if removed => Refusal::Removed,
            _ if self.pinned.contains(&peer) || self.roster.get(peer).is_some() => {
                let ensemble = self.agreement.ensemble.clone();
                self.send(id, ToStation::Admitted { ensemble });
                return;
            }
            _ if self.declined.contains(&peer) => Refusal::Declined,
            _ if !self.joining => Refusal::JoiningClosed,
            _ if !self.has_seat_for(peer) => Refusal::Full,
            None if crowded => Refusal::NotNow,
            Some(place) => {
                self.knocks[place].at = now;
                Refusal::Asked
            }
            None => {
                let who = Newcomer { name, peer };
                self.knocks.push(Knock { who, from, at: now });
                self.redraw();
                Refusal::Asked
            }
        };
        self.close(id, why);
    }

    /// The leader lets in who knocks: its key is known from now on, and it hears so when it asks again.
    pub(crate) fn let_in(&mut self, peer: Fingerprint) {
        if self.forget_knock(peer) {
            let record = Record::Pinned { peer };
            self.persist(record.clone(), Waiting::Pinned { link: None, record });
        }
    }

    /// The leader does not: it is told so, and does not stand on the page again before joining is opened anew.
    pub(crate) fn decline(&mut self, peer: Fingerprint) {
        if self.forget_knock(peer) && self.declined.len() < self.config.stations_max {
            self.declined.insert(peer);
        }
    }

    /// Who has not knocked for a while does not wait any more.
    pub(crate) fn keep_knocks(&mut self, now: Uptime) {
        let before = self.knocks.len();
        self.knocks.retain(|knock| knock.at + KNOCK_FOR > now);
        if self.knocks.len() < before {
            self.redraw();
        }
    }

    /// When somebody does not wait any more.
    pub(crate) fn next_knock_end(&self) -> Option<Uptime> {
        self.knocks.iter().map(|knock| knock.at + KNOCK_FOR).min()
    }

    fn forget_knock(&mut self, peer: Fingerprint) -> bool {
        let before = self.knocks.len();
        self.knocks.retain(|knock| knock.who.peer != peer);
        let was_there = self.knocks.len() < before;
        if was_there {
            self.redraw();
        }
        was_there
    }
}
