//! What the leader decides: each change of the agreement is a new revision, on disk before anyone hears of it.

use consort_proto::message::Refusal;
use consort_proto::{Agreement, Fingerprint, Revision, Round, Tolerance, Tuning, Uptime};

use crate::PAST_MAX;
use crate::event::{Command, LinkId};
use crate::record::{self, Record, Ruled, Ruling};
use crate::session::{Session, Waiting};

/// What an undo brings back.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Past {
    revision: Revision,
    tuning: Tuning,
    tolerance: Tolerance,
    start: Option<Uptime>,
}

impl Past {
    /// What was saved, in a session that is opened at `now`.
    pub(crate) fn restore(now: Uptime, saved: record::Past) -> Self {
        let record::Past {
            revision,
            tuning,
            tolerance,
            start_in,
        } = saved;
        Self {
            revision,
            tuning,
            tolerance,
            start: start_in.map(|left| now + left),
        }
    }
}

/// An agreement that comes into force once it is on disk.
#[derive(Clone, Debug)]
pub(crate) struct Decided {
    agreement: Agreement,
    start: Option<Uptime>,
    past: Vec<Past>,
}

impl Session {
    /// Carries out what the leader decided.
    pub(crate) fn decide(&mut self, now: Uptime, command: Command) {
        match command {
            Command::Joining(open) => self.set_joining(now, open),
            Command::Remove(peer) => self.set_removed(peer, true),
            Command::LetBack(peer) => self.set_removed(peer, false),
            Command::NewRound => self.begin_round(now),
            Command::NextPitch(a4) => {
                self.proposal = None;
                self.redraw();
                // The pitch that is agreed is nothing to be kept for later.
                self.rule(Ruling::NextPitch(a4.filter(|a4| *a4 != self.agreement.tuning.a4)));
            }
            Command::Undo => self.change(now, |decided| {
                if let Some(Past {
                    revision: _,
                    tuning,
                    tolerance,
                    start,
                }) = decided.past.pop()
                {
                    decided.agreement.tuning = tuning;
                    decided.agreement.tolerance = tolerance;
                    // A start that has passed since is not brought back: the round that ended its performance stays.
                    if decided.start != start {
                        decided.start = start.filter(|&start| start > now);
                    }
                }
            }),
            Command::Pitch(a4) => {
                // Whatever was proposed, the leader has decided.
                self.proposal = None;
                self.change_undoably(now, |decided| decided.agreement.tuning.a4 = a4);
            }
            Command::Temperament(temperament) => {
                self.change_undoably(now, |decided| decided.agreement.tuning.temperament = temperament);
            }
            Command::Setting(setting) => {
                self.change_undoably(now, |decided| decided.agreement.tuning.setting = setting)
            }
            Command::Tolerance(tolerance) => {
                self.change_undoably(now, |decided| decided.agreement.tolerance = tolerance)
            }
            Command::Call(called) => self.change(now, |decided| decided.agreement.called = called),
            Command::Admit(peer) => self.let_in(peer),
            Command::Decline(peer) => self.decline(peer),
            Command::GiveUp { seat, yes } => self.answer_for_seat(seat, yes),
            Command::Deputy { peer, granted } => self.set_deputy(peer, granted),
            Command::Tones { allowed } => self.rule(Ruling::Tones { allowed }),
            Command::Order(first) => self.order_seats(&first),
            Command::RenewBoard => {
                let number = self.newest_ruled().board + 1;
                self.rule(Ruling::Board(number));
            }
            Command::Propose(proposal) => {
                self.proposal = Some((None, proposal));
                self.redraw();
            }
            Command::DropProposal => {
                if self.proposal.take().is_some() {
                    self.redraw();
                }
            }
            Command::Start(left) => self.change_undoably(now, |decided| decided.start = left.map(|left| now + left)),
        }
    }

    /// Puts an agreement that rests on the disk into force, and tells everyone.
    pub(crate) fn put_in_force(&mut self, now: Uptime, decided: Decided) {
        let Decided { agreement, start, past } = decided;
        if agreement.round != self.agreement.round {
            self.roster.begin_round(&self.agreement);
            self.ruled.next_pitch = None;
        }
        if agreement.called != self.agreement.called {
            self.called_at = now;
        }
        self.agreement = agreement;
        self.start = start;
        self.past = past;
        self.roster.follow_all(now, &self.agreement);
        self.send_agreement_to_all(now);
    }

    /// A new round, with the pitch that was decided for it: that one can be taken back, the round cannot.
    fn begin_round(&mut self, now: Uptime) {
        let next = |decided: &mut Decided| {
            decided.agreement.round = Round(decided.agreement.round.0 + 1);
            // The performance that has begun is over, or in its intermission.
            decided.start = decided.start.filter(|&start| start > now);
        };
        match self.newest_ruled().next_pitch {
            None => self.change(now, next),
            Some(a4) => self.change_undoably(now, |decided| {
                next(decided);
                decided.agreement.tuning.a4 = a4;
            }),
        }
    }

    fn change_undoably(&mut self, now: Uptime, change: impl FnOnce(&mut Decided)) {
        self.change(now, |decided| {
            let Agreement {
                revision,
                tuning,
                tolerance,
                ..
            } = decided.agreement;
            let past = Past {
                revision,
                tuning,
                tolerance,
                start: decided.start,
            };
            change(decided);
            if decided.past.len() == PAST_MAX {
                decided.past.remove(0);
            }
            decided.past.push(past);
        });
    }

    /// Changes the newest agreement, in force or on its way to the disk; what changes nothing is not written.
    fn change(&mut self, now: Uptime, change: impl FnOnce(&mut Decided)) {
        let newest = self.waiting.iter().rev().find_map(|(_, waiting)| match waiting {
            Waiting::Decided(decided) => Some(Decided::clone(decided)),
            Waiting::Welcome { .. }
            | Waiting::Pinned { .. }
            | Waiting::Reports { .. }
            | Waiting::TakenOver { .. }
            | Waiting::Deputy { .. }
            | Waiting::Ruling(_)
            | Waiting::Removed { .. } => None,
        });
        let newest: Decided = newest.unwrap_or_else(|| Decided {
            agreement: self.agreement.clone(),
            start: self.start,
            past: self.past.clone(),
        });
        let mut decided = newest.clone();
        change(&mut decided);
        if decided.agreement == newest.agreement && decided.start == newest.start {
            return;
        }
        decided.agreement.revision = Revision(newest.agreement.revision.0 + 1);
        let record = Record::Agreement {
            agreement: Box::new(decided.agreement.clone()),
            start_in: decided.start.map(|start| start.since(now)),
            undo_to: decided.past.last().map(|past| past.revision),
        };
        self.persist(record, Waiting::Decided(Box::new(decided)));
    }

    /// The leader rules something; what is so already is not written.
    fn rule(&mut self, ruling: Ruling) {
        let newest = self.newest_ruled();
        if newest.clone().with(&ruling) != newest {
            self.persist(Record::Ruling(ruling.clone()), Waiting::Ruling(ruling));
        }
    }

    /// The seats of `first` are shown first, the others after them as they were.
    fn order_seats(&mut self, first: &[Fingerprint]) {
        let pending = self.waiting.iter().rev().find_map(|(_, waiting)| match waiting {
            Waiting::Ruling(Ruling::Order(order)) => Some(order.clone()),
            Waiting::Ruling(_)
            | Waiting::Decided(_)
            | Waiting::Welcome { .. }
            | Waiting::Pinned { .. }
            | Waiting::Reports { .. }
            | Waiting::TakenOver { .. }
            | Waiting::Deputy { .. }
            | Waiting::Removed { .. } => None,
        });
        let before = pending.unwrap_or_else(|| self.roster.order());
        let mut order: Vec<Fingerprint> = Vec::new();
        for peer in first.iter().chain(&before) {
            if before.contains(peer) && !order.contains(peer) {
                order.push(*peer);
            }
        }
        if order != before {
            let ruling = Ruling::Order(order);
            self.persist(Record::Ruling(ruling.clone()), Waiting::Ruling(ruling));
        }
    }

    /// What was ruled, in force or on its way to the disk.
    fn newest_ruled(&self) -> Ruled {
        let mut round = self.agreement.round;
        self.waiting
            .iter()
            .fold(self.ruled.clone(), |ruled, (_, waiting)| match waiting {
                Waiting::Ruling(ruling) => ruled.with(ruling),
                Waiting::Decided(decided) if decided.agreement.round != round => {
                    round = decided.agreement.round;
                    ruled.with(&Ruling::NextPitch(None))
                }
                Waiting::Decided(_)
                | Waiting::Welcome { .. }
                | Waiting::Pinned { .. }
                | Waiting::Reports { .. }
                | Waiting::TakenOver { .. }
                | Waiting::Deputy { .. }
                | Waiting::Removed { .. } => ruled,
            })
    }

    /// A ruling rests on the disk.
    pub(crate) fn put_ruling_in_force(&mut self, ruling: &Ruling) {
        self.ruled = std::mem::take(&mut self.ruled).with(ruling);
        let joined: Vec<LinkId> = self.joined().map(|(link, _)| link).collect();
        match ruling {
            Ruling::Tones { .. } => joined.into_iter().for_each(|link| self.send_tones(link)),
            Ruling::Order(order) => {
                self.roster.put_in_order(order);
                joined.into_iter().for_each(|link| self.send_places(link));
            }
            Ruling::NextPitch(_) | Ruling::Board(_) => {}
        }
    }

    fn set_removed(&mut self, peer: Fingerprint, removed: bool) {
        let Some(station) = self.roster.get(peer) else { return };
        if !removed && station.removed && !self.has_seat_for(peer) {
            // Its seat has gone to somebody else since.
            return;
        }
        // The newest decision counts, also while it is on its way to the disk.
        let decided = self.waiting.iter().rev().find_map(|(_, waiting)| match waiting {
            Waiting::Removed { peer: whose, removed } if *whose == peer => Some(*removed),
            Waiting::Removed { .. }
            | Waiting::Decided(_)
            | Waiting::Welcome { .. }
            | Waiting::Pinned { .. }
            | Waiting::TakenOver { .. }
            | Waiting::Deputy { .. }
            | Waiting::Ruling(_)
            | Waiting::Reports { .. } => None,
        });
        if decided.unwrap_or(station.removed) == removed {
            return;
        }
        if removed {
            // At once: a station that should go must not report while the disk is busy.
            self.turn_away(peer);
        }
        self.persist(Record::Removed { peer, removed }, Waiting::Removed { peer, removed });
    }

    /// A removal, or its end, rests on the disk.
    pub(crate) fn put_removal_in_force(&mut self, now: Uptime, peer: Fingerprint, removed: bool) {
        self.roster.set_removed(peer, removed);
        if removed {
            // It may have come back while the disk was busy.
            self.turn_away(peer);
        }
        self.send_agreement_to_all(now);
    }

    /// The leader lets a station change the agreement, or does not any more.
    fn set_deputy(&mut self, peer: Fingerprint, granted: bool) {
        if self.is_known(peer) && self.deputies.contains(&peer) != granted {
            self.persist(Record::Deputy { peer, granted }, Waiting::Deputy { peer, granted });
        }
    }

    /// What was granted, or taken back, rests on the disk.
    pub(crate) fn put_deputy_in_force(&mut self, peer: Fingerprint, granted: bool) {
        if granted {
            self.deputies.insert(peer);
        } else {
            self.deputies.remove(&peer);
        }
    }

    /// Somebody looks at the board, or one link fewer does.
    pub(crate) fn note_watching(&mut self, peer: Fingerprint, looks: bool) {
        let links = self.watching.entry(peer).or_default();
        *links = if looks { *links + 1 } else { links.saturating_sub(1) };
        if *links == 0 {
            self.watching.remove(&peer);
        }
        self.redraw();
    }

    /// Whether the holder of `peer` may look at the board: it was let in once, and not turned away since.
    pub fn is_known(&self, peer: Fingerprint) -> bool {
        let station = self.roster.get(peer);
        station.is_some_and(|station| !station.removed) || (station.is_none() && self.pinned.contains(&peer))
    }

    /// Whether the holder of `peer` may change the agreement as a deputy.
    pub fn is_deputy(&self, peer: Fingerprint) -> bool {
        self.is_known(peer) && self.deputies.contains(&peer)
    }

    fn turn_away(&mut self, peer: Fingerprint) {
        let links: Vec<LinkId> = self
            .links
            .iter()
            .filter(|(_, link)| link.peer == peer)
            .map(|(&link, _)| link)
            .collect();
        links.into_iter().for_each(|link| self.close(link, Refusal::Removed));
        self.roster.leave(peer);
    }
}
