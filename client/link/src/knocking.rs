//! Joining without a code: the leader is asked, and asked again until she has looked.
//!
//! The harpist compares tags: the coordinator's on her desk with the one on the leader's screen, and the other way round.

use std::time::Duration;

use consort_proto::message::Refusal;
use consort_proto::{Fingerprint, ToCoordinator, Uptime};

use crate::dialling::AFTER_REFUSAL;
use crate::effect::Effect;
use crate::event::Attempt;
use crate::link::Link;
use crate::pairing::{Exchange, Stage};
use crate::view::LinkState;

/// Whom the harpist asks to be let in by.
#[derive(Clone, Debug)]
pub(crate) struct Asking {
    /// The tag of the key that has to answer; `None` for whoever is at the typed address.
    pub(crate) tag: Option<String>,
    /// Until when.
    until: Uptime,
    /// When it is asked next.
    pub(crate) next: Uptime,
}

/// A leader who has not looked for so long is spoken to, not asked by a program.
const ASK_FOR: Duration = Duration::from_secs(180);
/// The pause between two questions: as long as a leader takes to find the button.
const ASK_AGAIN: Duration = Duration::from_secs(2);
/// An answer that the leader is asked is shown so long, unless it comes again.
const ASKED_SHOWN: Duration = Duration::from_secs(10);

impl Link {
    /// The harpist asks the leader of the coordinator with this tag to be let in.
    pub(crate) fn ask_in(&mut self, now: Uptime, tag: Option<String>) {
        self.forget_trouble();
        self.pairing.start_asking(Asking {
            tag,
            until: now + ASK_FOR,
            next: now,
        });
        self.invitation = None;
        self.redraw();
    }

    /// When the leader is asked next, or not any more.
    pub(crate) fn next_asking(&self) -> Option<Uptime> {
        let until = self.pairing.asking.as_ref().map(|asking| asking.until);
        let call = self.pairing.next_to_ask().filter(|_| !self.is_introducing_itself());
        [until, call].into_iter().flatten().min()
    }

    /// Makes the call that is due, and gives up a leader who does not look.
    pub(crate) fn keep_asking(&mut self, now: Uptime) {
        if self.pairing.asking.take_if(|asking| asking.until <= now).is_some() {
            self.redraw();
        }
        while self.pairing.next_to_ask().is_some_and(|at| at <= now) && !self.is_introducing_itself() {
            let Some(address) = self.pairing.place_to_ask() else {
                return;
            };
            self.pairing_call(now, address);
        }
    }

    /// Whether the holder of `peer`, who answered, is the one who is asked; then it is.
    pub(crate) fn asks(&mut self, now: Uptime, attempt: Attempt, peer: Fingerprint) -> bool {
        let tag = peer.tag();
        let asking = self.pairing.asking.as_mut();
        let Some(asking) = asking.filter(|asking| asking.tag.as_ref().is_none_or(|asked| *asked == tag)) else {
            return false;
        };
        asking.next = now + ASK_AGAIN;
        // From now on nobody else will do, whatever answers at the typed address.
        asking.tag = Some(tag);
        let name = self.name.clone();
        self.send(attempt, ToCoordinator::Knock(name));
        true
    }

    /// The leader let this station in: the coordinator's key is written down.
    pub(crate) fn admitted(&mut self, attempt: Attempt) {
        let Some(Exchange { peer, address, .. }) = self.proceed(attempt, Stage::Asking, Stage::Pinning) else {
            return;
        };
        self.pairing.asking = None;
        self.effects.push_back(Effect::Pin {
            coordinator: peer,
            address,
        });
    }

    /// The leader has not looked yet, or said no.
    pub(crate) fn asking_refused(&mut self, now: Uptime, peer: Fingerprint, why: Refusal) {
        if why == Refusal::NotNow {
            self.call_ended(now);
            return;
        }
        self.trouble = Some(LinkState::Refused(why));
        self.strange_place = None;
        self.refused_by = Some(peer.tag());
        if why == Refusal::Asked {
            self.trouble_ends = Some(now + ASKED_SHOWN);
            self.call_ended(now);
        } else {
            self.pairing.asking = None;
            self.trouble_ends = None;
            if !self.is_up() {
                self.dialling.rest(now, AFTER_REFUSAL);
            }
        }
        self.redraw();
    }
}
