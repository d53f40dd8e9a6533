//! Joining by code: who may try, what becomes of a try, and the key that is kept when it was right.
//!
//! The session decides; what has to be computed with random numbers and the link's own key material is the shell's.

use consort_proto::message::Refusal;
use consort_proto::{Fingerprint, Name, Proof, Share, Uptime};

use crate::effect::Effect;
use crate::event::LinkId;
use crate::record::Record;
use crate::session::{LinkState, Session, Waiting};

impl Session {
    /// A station that shows no token wants to prove the code.
    pub(crate) fn pair(&mut self, now: Uptime, id: LinkId, peer: Fingerprint, share: Share) {
        let Some(link) = self.links.get(&id) else { return };
        let (from, binding) = (link.from, link.binding);
        let refusal = match self.roster.get(peer) {
            Some(station) if station.removed => Some(Refusal::Removed),
            _ if !self.joining => Some(Refusal::JoiningClosed),
            None if !self.has_seat_for(peer) => Some(Refusal::Full),
            Some(_) | None => None,
        };
        let admitted = refusal.map_or_else(|| self.door.admit(now, id, peer, from), Err);
        match admitted {
            Ok(code) => {
                self.set_state(id, LinkState::Pairing);
                self.effects.push_back(Effect::AnswerShare {
                    link: id,
                    peer,
                    binding,
                    code,
                    share,
                });
            }
            Err(why) => self.close(id, why),
        }
    }

    /// The station's proof is there: the shell looks whether it is right.
    pub(crate) fn confirm(&mut self, id: LinkId, name: Name, proof: Proof) {
        self.set_state(id, LinkState::Checking);
        self.effects.push_back(Effect::CheckProof { link: id, name, proof });
    }

    /// The shell has looked.
    pub(crate) fn proof_checked(&mut self, now: Uptime, id: LinkId, right: bool) {
        let Some((state, peer)) = self.links.get(&id).map(|link| (link.state, link.peer)) else {
            return;
        };
        if !matches!(state, LinkState::Pairing | LinkState::Checking) {
            return;
        }
        if !right {
            self.give_up_try(now, id);
            self.close(id, Refusal::WrongCode);
            return;
        }
        self.door.right(id);
        self.set_state(id, LinkState::Proven);
        let record = Record::Pinned { peer };
        self.persist(record.clone(), Waiting::Pinned { link: Some(id), record });
    }

    /// The key of the station on this link rests on the disk: it is told so, and may introduce itself now or later.
    pub(crate) fn pinned(&mut self, id: Option<LinkId>, record: &Record) {
        let Record::Pinned { peer } = *record else { return };
        self.pinned.insert(peer);
        // Whom the leader let in hears of it when it asks again.
        let Some(id) = id else { return };
        if self.links.get(&id).is_some_and(|link| link.state == LinkState::Proven) {
            self.set_state(id, LinkState::Open);
            self.effects.push_back(Effect::Accept {
                link: id,
                ensemble: self.agreement.ensemble.clone(),
            });
        }
    }

    /// A try is over and was not right.
    pub(crate) fn give_up_try(&mut self, now: Uptime, id: LinkId) {
        if self.door.wrong(now, id) {
            self.redraw();
        }
    }

    /// The leader opens the door for strangers, with a fresh code, or closes it.
    pub(crate) fn set_joining(&mut self, now: Uptime, open: bool) {
        self.joining = open;
        self.declined.clear();
        if !open {
            self.knocks.clear();
        }
        for id in self.door.set_open(now, open) {
            // What was typed is on the screen no more.
            self.close(id, Refusal::WrongCode);
        }
        self.draw_code();
        self.redraw();
    }

    /// Asks for a code where the door has none in reserve.
    pub(crate) fn draw_code(&mut self) {
        if self.door.wants_code() && !self.effects.contains(&Effect::DrawCode) {
            self.effects.push_back(Effect::DrawCode);
        }
    }

    /// Everything at the door that is due at `now`.
    pub(crate) fn keep_door(&mut self, now: Uptime) {
        let (late, changed) = self.door.keep_time(now);
        for id in late {
            self.give_up_try(now, id);
            self.close(id, Refusal::NotNow);
        }
        if changed {
            self.draw_code();
            self.redraw();
        }
    }

    fn set_state(&mut self, id: LinkId, state: LinkState) {
        if let Some(link) = self.links.get_mut(&id) {
            link.state = state;
        }
    }
}
