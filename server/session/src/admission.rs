//! Who is let in: a known key, or a stranger with the token while joining is open.

use consort_proto::message::Refusal;
use consort_proto::{Document, Fingerprint, Hello, JoinToken, ToStation, Uptime};

use crate::copies::Copies;
use crate::event::LinkId;
use crate::record::Record;
use crate::session::{LinkState, Session, Waiting};
use crate::view::Newcomer;

impl Session {
    /// Answers a station's first word.
    pub(crate) fn admit(&mut self, now: Uptime, id: LinkId, peer: Fingerprint, hello: Hello) {
        let invited = self.pinned.contains(&peer) || hello.token.is_some_and(|shown| same(shown, self.token));
        let refusal = match self.roster.get(peer) {
            Some(station) if station.removed => Some(Refusal::Removed),
            Some(_) => None,
            None if !invited => Some(Refusal::NotInvited),
            // Whoever proved the code was let in while joining was open.
            None if !self.joining && !self.pinned.contains(&peer) => Some(Refusal::JoiningClosed),
            None if !self.has_seat_for(peer) => Some(Refusal::Full),
            None => None,
        };
        if let Some(why) = refusal {
            self.close(id, why);
            return;
        }
        if !self.is_one_laptop(now, peer, hello.process) {
            self.close(id, Refusal::Copied);
            return;
        }
        if let Some(link) = self.links.get_mut(&id) {
            link.state = LinkState::Admitted;
            link.newest = hello.newest;
        }
        let record = Record::Station {
            peer,
            name: hello.name,
            harp: hello.harp,
        };
        self.persist(record.clone(), Waiting::Welcome { link: id, record });
    }

    /// Welcomes a station whose record rests on the disk: it takes its seat, and an older link of its key is given up.
    pub(crate) fn welcome(&mut self, now: Uptime, id: LinkId, record: Record) {
        let Record::Station { peer, name, harp } = record else {
            return;
        };
        if self.roster.get(peer).is_none() {
            let name = name.clone();
            self.newcomer = Some(Newcomer { name, peer });
        }
        let seats = self.roster.seats();
        self.roster.seat(peer, name, harp);
        if self.roster.seats() != seats {
            self.send_agreement_to_all(now);
        }
        // The link may have gone while the disk was busy; the station's seat stays.
        if !self.links.contains_key(&id) {
            return;
        }
        let older: Vec<LinkId> = self
            .joined()
            .filter(|&(_, other)| other == peer)
            .map(|(older, _)| older)
            .collect();
        older
            .into_iter()
            .for_each(|older| self.close(older, Refusal::Superseded));
        if let Some(link) = self.links.get_mut(&id) {
            link.state = LinkState::Joined;
            // Not now: the disk may have taken longer than it takes to fall silent.
            self.roster.heard(peer, link.heard_at);
        }
        self.send_welcome(id, peer);
        self.send_agreement(now, id);
    }

    /// Tells a station that it is in, and where.
    pub(crate) fn send_welcome(&mut self, id: LinkId, peer: Fingerprint) {
        let Some(station) = self.roster.get(peer) else { return };
        let welcome = ToStation::Welcome {
            session: self.agreement.session,
            epoch: self.epoch,
            acked: station.acked,
            tenure: station.tenure,
        };
        self.send(id, welcome);
        // They may sound as long as nothing is said of them.
        if self.ruled.silenced {
            self.send_tones(id);
        }
    }

    /// Tells a station that knows the message under which numbers the seats are shown.
    pub(crate) fn send_places(&mut self, id: LinkId) {
        let places = self.roster.places();
        if self.knows_newer(id) {
            self.send(id, ToStation::Places(places));
        }
    }

    /// Tells a station that knows the message whether reference tones may sound.
    pub(crate) fn send_tones(&mut self, id: LinkId) {
        let allowed = !self.ruled.silenced;
        if self.knows_newer(id) {
            self.send(id, ToStation::Tones { allowed });
        }
    }

    /// Whether the station knows what may be missed and came with number 1: tones and places.
    fn knows_newer(&self, id: LinkId) -> bool {
        self.links.get(&id).is_some_and(|link| link.newest >= 1)
    }

    /// Sends the whole agreement.
    pub(crate) fn send_agreement(&mut self, now: Uptime, id: LinkId) {
        self.send_agreement_over(now, vec![id]);
    }

    /// Sends everyone the whole agreement.
    pub(crate) fn send_agreement_to_all(&mut self, now: Uptime) {
        self.send_agreement_over(now, self.joined().map(|(link, _)| link).collect());
    }

    /// Says the same on all these links: what a crowd is told is put together once.
    fn send_agreement_over(&mut self, now: Uptime, links: Vec<LinkId>) {
        let document = Document {
            agreement: self.agreement.clone(),
            epoch: self.epoch,
            start_in: self.start.map(|start| start.since(now)),
            beat_every: self.beat_every(),
            seats: self.roster.seats(),
        };
        let places = self.roster.places();
        // Seats are shown under their own numbers as long as nothing is said of them.
        let moved = places.iter().any(|(seat, place)| seat != place);
        for link in links {
            self.send(link, ToStation::Agreement(Box::new(document.clone())));
            if moved && self.knows_newer(link) {
                self.send(link, ToStation::Places(places.clone()));
            }
        }
    }

    /// Which programs showed a key long ago says nothing any more.
    pub(crate) fn keep_copies(&mut self, now: Uptime) {
        // With every heartbeat of a crowd, so that it is not looked through each time.
        if self.copies_stale_at.is_none_or(|at| now < at) {
            return;
        }
        let frozen = |session: &Self| session.copies.values().filter(|copies| copies.is_frozen()).count();
        let before = frozen(self);
        self.copies.retain(|_, copies| copies.stale_at() > now);
        self.copies_stale_at = self.copies.values().map(Copies::stale_at).min();
        if frozen(self) < before {
            self.redraw();
        }
    }

    /// When something about frozen keys may change by itself.
    pub(crate) const fn next_thaw(&self) -> Option<Uptime> {
        self.copies_stale_at
    }

    /// Whether the key of `peer` is shown by one laptop only; when not, the one that is in is turned away as well.
    fn is_one_laptop(&mut self, now: Uptime, peer: Fingerprint, process: u64) -> bool {
        let copies = self.copies.entry(peer).or_default();
        let was_frozen = copies.is_frozen();
        let is_one = copies.show(now, process);
        let stale_at = copies.stale_at();
        self.copies_stale_at = Some(self.copies_stale_at.map_or(stale_at, |at| at.min(stale_at)));
        if !is_one {
            for link in self.links_of(peer) {
                self.close(link, Refusal::Copied);
            }
            self.roster.leave(peer);
        }
        if is_one == was_frozen {
            self.redraw();
        }
        is_one
    }

    /// Whether the holder of `peer`, who has no seat, finds one.
    pub(crate) fn has_seat_for(&self, peer: Fingerprint) -> bool {
        self.roster.taken() + self.waiting_strangers(peer) < self.config.stations_max
    }

    /// Strangers other than `peer` whose seat waits for the disk.
    fn waiting_strangers(&self, peer: Fingerprint) -> usize {
        let waits = |waiting: &&Waiting| match waiting {
            Waiting::Welcome {
                record: Record::Station { peer: other, .. },
                ..
            } => *other != peer && self.roster.get(*other).is_none(),
            Waiting::Welcome { .. }
            | Waiting::Pinned { .. }
            | Waiting::Decided(_)
            | Waiting::Reports { .. }
            | Waiting::TakenOver { .. }
            | Waiting::Deputy { .. }
            | Waiting::Ruling(_)
            | Waiting::Removed { .. } => false,
        };
        let refused = self.again.iter().map(|(_, waiting)| waiting);
        self.waiting
            .iter()
            .map(|(_, waiting)| waiting)
            .chain(refused)
            .filter(waits)
            .count()
    }
}

/// Compares without telling by the time it takes how much of a guess was right.
fn same(shown: JoinToken, token: JoinToken) -> bool {
    let difference = shown
        .0
        .iter()
        .zip(token.0)
        .fold(0, |difference, (shown, right)| difference | (shown ^ right));
    std::hint::black_box(difference) == 0
}
