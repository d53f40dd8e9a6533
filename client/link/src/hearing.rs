//! What happens on an open link: the introduction, the coordinator's words, its silence and its end.

use std::net::SocketAddr;

use consort_proto::message::Refusal;
use consort_proto::{Binding, Fingerprint, ToCoordinator, ToStation, Uptime};

use crate::dialling::{AFTER_REFUSAL, AFTER_SEAT_TAKEN, INTRODUCTION};
use crate::effect::Effect;
use crate::event::{Attempt, AttemptFailure};
use crate::link::Link;
use crate::seat::Asked;
use crate::view::LinkState;
use crate::{MAY_HAVE_MISSED_FOR, SILENT_AFTER, UNSURE_AFTER};

impl Link {
    /// The first call that is answered is the one that counts.
    pub(crate) fn connected(
        &mut self,
        now: Uptime,
        attempt: Attempt,
        peer: Fingerprint,
        address: SocketAddr,
        binding: Binding,
    ) {
        let expect = self.calls.get(attempt).map(|call| call.expect);
        if expect == Some(None) && !self.stranger_answered(now, attempt, peer, address, binding) {
            return;
        }
        let Some(call) = self.calls.get_mut(attempt) else {
            self.effects.push_back(Effect::Close { attempt });
            return;
        };
        if call.expect.is_some_and(|expect| expect != peer) || call.answered {
            return;
        }
        call.expect = Some(peer);
        call.answered = true;
        call.address = address;
        call.until = now + INTRODUCTION;
        self.give_up_calls(now, |other, call| other != attempt && !call.answered);
        self.greet(now, attempt, peer);
    }

    pub(crate) fn attempt_failed(&mut self, now: Uptime, attempt: Attempt, why: AttemptFailure) {
        let Some(call) = self.calls.remove(attempt) else {
            return;
        };
        let trouble = match why {
            AttemptFailure::NoAnswer => None,
            AttemptFailure::OtherKey => Some(LinkState::OtherKey),
            AttemptFailure::OtherVersion => Some(LinkState::OtherVersion),
        };
        // Anybody can announce an address: only where the coordinator is known to be does another key say something.
        match call.expect {
            Some(expect) if trouble.is_some() && self.dialling.is_firm((call.address, expect)) => {
                self.trouble = trouble;
                self.strange_place = Some(call.address);
            }
            Some(_) => self.nobody_answers(call.address),
            None => self.pairing.again(now, call.address, &mut self.random),
        }
        self.call_ended(now);
        self.redraw();
    }

    /// Nobody is at `address`: whoever answered there before has gone.
    fn nobody_answers(&mut self, address: SocketAddr) {
        if self.strange_place == Some(address) {
            self.strange_place = None;
            self.trouble = None;
            self.redraw();
        }
    }

    pub(crate) fn link_closed(&mut self, now: Uptime, attempt: Attempt) {
        let Some(call) = self.calls.remove(attempt) else {
            return;
        };
        if self.pairing.is_with(attempt) {
            self.pairing.ended(attempt);
            self.pairing.again(now, call.address, &mut self.random);
        }
        if self.joined == Some(attempt) {
            self.joined = None;
            self.offline_since.get_or_insert(now);
            self.in_doubt = false;
            self.dialling.start_over(now, &mut self.random);
        } else {
            self.call_ended(now);
        }
        self.redraw();
    }

    pub(crate) fn hear(&mut self, now: Uptime, attempt: Attempt, message: ToStation) {
        let Some(call) = self.calls.get(attempt).filter(|call| call.answered) else {
            return;
        };
        let (Some(coordinator), address) = (call.expect, call.address) else {
            return;
        };
        if self.joined == Some(attempt) {
            self.last_heard = now;
            let called = self.offline_since.is_some() || self.in_doubt;
            if called && !matches!(message, ToStation::Refused(_)) {
                (self.offline_since, self.in_doubt) = (None, false);
                self.missed_until = now + MAY_HAVE_MISSED_FOR;
                // It was only quiet: what was called meanwhile is not needed, unless the coordinator has been greeted there,
                // since it may have given this link up for that one.
                self.give_up_calls(now, |other, call| other != attempt && !call.answered);
                self.redraw();
            }
        }
        match message {
            ToStation::PairReply { session, share } => self.share_heard(attempt, session, share),
            ToStation::PairAccept { ensemble, proof } => self.proof_heard(attempt, ensemble, proof),
            ToStation::Admitted { .. } => self.admitted(attempt),
            ToStation::Refused(why) if self.pairing.is_asking_on(attempt) => {
                self.give_up_calls(now, |other, _| other == attempt);
                self.asking_refused(now, coordinator, why);
            }
            ToStation::Refused(why) if self.pairing.is_with(attempt) => {
                self.give_up_calls(now, |other, _| other == attempt);
                self.code_refused(now, coordinator, address, why);
            }
            // Whoever proves the code cannot know yet that this side has kept its key.
            ToStation::Welcome { .. } if self.pairing.is_with(attempt) => {}
            ToStation::Welcome {
                session, acked, tenure, ..
            } => {
                self.session = Some(session);
                self.silenced = false;
                self.seating.places.clear();
                self.seated(session, tenure);
                self.welcomed(now, attempt, coordinator, address);
                let renumbered = self.journal.outrun(now, acked);
                if !renumbered.is_empty() {
                    self.effects.push_back(Effect::Forget {
                        session: None,
                        up_to: acked,
                    });
                    let renumbered = renumbered.into_iter().map(Effect::Journal);
                    self.effects.extend(renumbered);
                }
                self.forget(acked);
                for reports in self.journal.batches(now, session) {
                    self.send(attempt, ToCoordinator::Reports(reports));
                }
                if self.help {
                    self.send(attempt, ToCoordinator::Help(true));
                }
            }
            ToStation::Agreement(document) if self.joined == Some(attempt) => self.agree(now, *document),
            ToStation::TakeOverAsked { seat, name, by } if self.joined == Some(attempt) => {
                self.seat_wanted(now, Asked { seat, name, by });
            }
            ToStation::TakeOverDenied { seat } if self.joined == Some(attempt) => self.seat_denied(seat),
            ToStation::Places(places) if self.joined == Some(attempt) => {
                self.seating.places = places.into_iter().collect();
                self.redraw();
            }
            ToStation::Tones { allowed } if self.joined == Some(attempt) => {
                self.silenced = !allowed;
                self.redraw();
            }
            ToStation::Acked(sequence) if self.joined == Some(attempt) => self.forget(sequence),
            ToStation::Beat { revision, .. } if self.joined == Some(attempt) => self.note_newest(now, revision),
            ToStation::Refused(Refusal::Superseded)
                if self.joined == Some(attempt) && self.may_supersede_itself(now) =>
            {
                // By this station's own newer link, whose welcome is on its way, or which was given up just then.
                self.link_closed(now, attempt);
                self.effects.push_back(Effect::Close { attempt });
            }
            ToStation::Refused(why) => {
                self.trouble = Some(LinkState::Refused(why));
                self.strange_place = None;
                self.calls.remove(attempt);
                if self.joined == Some(attempt) {
                    self.joined = None;
                }
                self.effects.push_back(Effect::Close { attempt });
                let pause = match why {
                    Refusal::SeatTaken => AFTER_SEAT_TAKEN,
                    _ => AFTER_REFUSAL,
                };
                self.dialling.rest(now, pause);
                self.redraw();
            }
            // A welcome comes first; anything before it is not meant for this link.
            ToStation::Agreement(_)
            | ToStation::TakeOverAsked { .. }
            | ToStation::TakeOverDenied { .. }
            | ToStation::Tones { .. }
            | ToStation::Places(_)
            | ToStation::Acked(_)
            | ToStation::Beat { .. } => {}
        }
    }

    fn welcomed(&mut self, now: Uptime, attempt: Attempt, coordinator: Fingerprint, address: SocketAddr) {
        // Also whoever was greeted as well: what is closed is not said again, so that its greeting comes late at most when
        // it is on its way already.
        self.give_up_calls(now, |other, _| other != attempt);
        self.asks_anew |= self.joined != Some(attempt);
        self.joined = Some(attempt);
        self.last_heard = now;
        (self.offline_since, self.in_doubt) = (None, false);
        self.forget_trouble();
        self.pairing.drop_code();
        self.invitation = self.invitation.filter(|(invited, _)| *invited != coordinator);
        if self.known.insert(coordinator, Some(address)) != Some(Some(address)) {
            self.effects.push_back(Effect::Remember { coordinator, address });
        }
        self.dialling.learn([(address, coordinator)]);
        self.redraw();
    }

    fn forget(&mut self, acked: consort_proto::Sequence) {
        let Some(session) = self.session else { return };
        if self.journal.forget(session, acked) {
            self.effects.push_back(Effect::Forget {
                session: Some(session),
                up_to: acked,
            });
            self.redraw();
        }
    }

    /// After a sleep the link is taken for gone and the coordinator called anew, unless it is heard before it answers.
    pub(crate) fn woke(&mut self, now: Uptime) {
        if self.joined.is_some() && self.offline_since.is_none() {
            self.offline_since = Some(self.last_heard);
            self.dialling.start_over(now, &mut self.random);
            self.redraw();
        }
        if !matches!(self.trouble, Some(LinkState::Refused(_))) {
            self.dialling.hurry(now);
        }
    }

    /// Everything that is due at `now`.
    pub(crate) fn keep_time(&mut self, now: Uptime) {
        if self.joined.is_some() && self.offline_since.is_none() {
            let quiet = now.since(self.last_heard);
            if quiet >= UNSURE_AFTER && !std::mem::replace(&mut self.in_doubt, true) {
                self.dialling.start_over(now, &mut self.random);
                self.beat_at = Some(now);
            }
            if quiet >= SILENT_AFTER {
                self.offline_since = Some(self.last_heard);
                self.redraw();
            }
        }
        let joined = self.joined;
        let late = |attempt: Attempt, until: Uptime| Some(attempt) != joined && until <= now;
        let unanswered: Vec<SocketAddr> = self
            .calls
            .iter()
            .filter(|(attempt, call)| late(*attempt, call.until))
            .map(|(_, call)| call.address)
            .collect();
        if !unanswered.is_empty() {
            unanswered.into_iter().for_each(|address| self.nobody_answers(address));
            self.give_up_calls(now, |attempt, call| late(attempt, call.until));
            self.call_ended(now);
        }
        if self.trouble_ends.take_if(|at| *at <= now).is_some() {
            self.trouble = None;
            self.redraw();
        }
        self.keep_start(now);
        self.keep_seat(now);
        self.keep_strangers(now);
        self.keep_pairing(now);
        self.keep_asking(now);
        self.dial(now);
        self.beat(now);
    }
}
