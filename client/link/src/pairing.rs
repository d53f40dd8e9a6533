//! Joining by code: which coordinators that are not known are tried, and what comes of it.
//!
//! A code is worth a few guesses to whoever gets a try at it, so it is tried with few keys, and seldom.
//! What has to be computed with random numbers and the link's own key material is the shell's.

use std::collections::{BTreeMap, BTreeSet};
use std::net::SocketAddr;
use std::time::Duration;

use consort_proto::message::Refusal;
use consort_proto::{Binding, Fingerprint, JoinCode, Name, Proof, SessionId, Share, Uptime};

use crate::dialling::{AFTER_REFUSAL, Call, INTRODUCTION};
use crate::effect::Effect;
use crate::event::Attempt;
use crate::knocking::Asking;
use crate::link::Link;
use crate::random::Random;
use crate::view::LinkState;

/// What a link knows of coordinators that it does not know.
#[derive(Debug, Default)]
pub(crate) struct Pairing {
    /// Where they may be: the typed address first, then sightings, the newest first.
    places: Vec<Place>,
    typed: Option<Typed>,
    /// The leader is asked, in a code's place.
    pub(crate) asking: Option<Asking>,
    exchange: Option<Exchange>,
    tries: BTreeMap<Fingerprint, Tries>,
    /// No call before this time.
    not_before: Uptime,
}

/// Where a coordinator may be.
#[derive(Debug)]
struct Place {
    address: SocketAddr,
    /// The tag of the key that it claims to have; `None` for a typed address.
    tag: Option<String>,
    /// When it may be called next.
    next: Uptime,
}

/// The code that the harpist typed.
#[derive(Debug)]
struct Typed {
    code: JoinCode,
    at: Uptime,
    /// Who said no to it.
    refused: BTreeSet<Fingerprint>,
    /// The last no, which the harpist is told if nobody else is meant.
    no: Option<No>,
}

/// A no to a code.
#[derive(Clone, Debug)]
struct No {
    peer: Fingerprint,
    why: Refusal,
    /// When the coordinator that said it may be tried again, if it said so.
    ends: Option<Uptime>,
    /// Whoever else is near has said something by then.
    stands: Uptime,
}

/// The try that is under way.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Exchange {
    attempt: Attempt,
    pub(crate) peer: Fingerprint,
    pub(crate) address: SocketAddr,
    stage: Stage,
}

#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Stage {
    /// The leader is asked.
    Asking,
    /// The coordinator's share is to come.
    Started,
    /// Its proof is to come.
    Confirmed,
    /// Its proof is there and was not looked at yet.
    Checking,
    /// Its key is on the way to the disk.
    Pinning,
}

/// Tries with one key.
#[derive(Clone, Copy, Debug)]
struct Tries {
    count: u32,
    last: Uptime,
}

/// Places kept; more are made up.
const PLACES_MAX: usize = 16;
/// Keys with which one code is tried: in a building with three ensembles the right one is among them.
const KEYS_MAX: usize = 3;
/// Tries with one key before it rests.
const TRIES_MAX: u32 = 3;
/// How long it then rests.
const TRIES_REST: Duration = Duration::from_secs(30);
/// Keys whose tries are remembered.
const TRIED_MAX: usize = 32;
/// The pause between two calls.
const STAGGER: Duration = Duration::from_millis(150);
/// How long a call may take.
const PATIENCE: Duration = Duration::from_secs(3);
/// How long a try may take: as long as the coordinator lets it.
const EXCHANGE: Duration = Duration::from_secs(10);
/// The pause before a place is called again where nobody answered.
const AGAIN: Duration = Duration::from_millis(500);
/// The pause where others were joining.
const AFTER_NOT_NOW: Duration = Duration::from_secs(1);
/// Known coordinators wait this long while a code is there, so that whoever is meant by it can be heard: discovery
/// resolves within a tenth of that where it works at all.
const KNOWN_WAIT: Duration = Duration::from_secs(2);
/// Whoever is near and was not tried yet has this long to answer before a no stands.
const OTHERS_WAIT: Duration = Duration::from_secs(8);
/// A code is shown no longer than this, so that nothing is gained by keeping it.
const KEPT: Duration = Duration::from_secs(15 * 60);

impl Pairing {
    /// Somebody claims to be a coordinator.
    pub(crate) fn sighted(&mut self, now: Uptime, tag: &str, addresses: &[SocketAddr]) {
        for &address in addresses.iter().take(PLACES_MAX) {
            if self.places.iter().any(|place| place.is(address, Some(tag))) {
                continue;
            }
            let first = self.places.iter().take_while(|place| place.tag.is_none()).count();
            let (tag, next) = (Some(tag.to_owned()), now);
            self.places.insert(first, Place { address, tag, next });
            self.places.truncate(PLACES_MAX);
        }
    }

    /// The harpist says where the coordinator is.
    pub(crate) fn at_address(&mut self, now: Uptime, address: SocketAddr) {
        self.places.retain(|place| place.tag.is_some());
        let (tag, next) = (None, now);
        self.places.insert(0, Place { address, tag, next });
        self.places.truncate(PLACES_MAX);
    }

    /// The address that the harpist typed, if any.
    pub(crate) fn typed_address(&self) -> Option<SocketAddr> {
        let typed = self.places.iter().find(|place| place.tag.is_none());
        typed.map(|place| place.address)
    }

    /// Whether a code waits for its coordinator, or one is proving it.
    pub(crate) const fn is_wanted(&self) -> bool {
        self.typed.is_some() || self.asking.is_some() || self.exchange.is_some()
    }

    /// Whether somebody may be there who is meant by it.
    pub(crate) fn has_somebody(&self) -> bool {
        self.exchange.is_some() || self.untried().next().is_some() || self.place_to_ask().is_some()
    }

    /// The code is not needed any more.
    pub(crate) fn drop_code(&mut self) {
        self.typed = None;
        self.asking = None;
    }

    /// The leader is asked from now on, and no code is tried.
    pub(crate) fn start_asking(&mut self, asking: Asking) {
        self.typed = None;
        self.places.iter_mut().for_each(|place| place.next = asking.next);
        self.asking = Some(asking);
    }

    /// Where the leader who is asked may be.
    pub(crate) fn place_to_ask(&self) -> Option<SocketAddr> {
        let asked = self.asking.as_ref()?;
        let meant = |place: &&Place| place.tag == asked.tag || place.tag.is_none();
        let place = self.places.iter().filter(meant).min_by_key(|place| place.next);
        place.map(|place| place.address)
    }

    /// When the leader is asked next.
    pub(crate) fn next_to_ask(&self) -> Option<Uptime> {
        let asking = self.asking.as_ref().filter(|_| self.exchange.is_none())?;
        let address = self.place_to_ask()?;
        let place = self.places.iter().filter(|place| place.address == address);
        let next = place.map(|place| place.next).min()?;
        Some(next.max(asking.next).max(self.not_before))
    }

    /// Until when known coordinators wait for whom the code is from.
    pub(crate) fn known_wait_until(&self) -> Option<Uptime> {
        self.typed.as_ref().map(|typed| typed.at + KNOWN_WAIT)
    }

    /// Whether this attempt asks the leader.
    pub(crate) fn is_asking_on(&self, attempt: Attempt) -> bool {
        let exchange = self.exchange.as_ref();
        exchange.is_some_and(|exchange| exchange.attempt == attempt && exchange.stage == Stage::Asking)
    }

    /// Whether this attempt is the try that is under way.
    pub(crate) fn is_with(&self, attempt: Attempt) -> bool {
        self.exchange.is_some_and(|exchange| exchange.attempt == attempt)
    }

    /// The call has ended.
    pub(crate) fn ended(&mut self, attempt: Attempt) {
        self.exchange.take_if(|exchange| exchange.attempt == attempt);
    }

    /// A place is called again after this pause.
    pub(crate) fn again(&mut self, now: Uptime, address: SocketAddr, random: &mut Random) {
        self.rest_place(address, now + AGAIN + random.pause(AGAIN));
    }

    fn rest_place(&mut self, address: SocketAddr, next: Uptime) {
        let places = self.places.iter_mut().filter(|place| place.address == address);
        places.for_each(|place| place.next = next);
    }

    /// The places at which somebody may be who has not said no to the code.
    fn untried(&self) -> impl Iterator<Item = &Place> {
        let refused = self.typed.iter().flat_map(|typed| &typed.refused);
        let refused: Vec<String> = refused.map(Fingerprint::tag).collect();
        let of_code = self.places.iter().filter(|_| self.typed.is_some());
        of_code.filter(move |place| place.tag.as_ref().is_none_or(|tag| !refused.contains(tag)))
    }

    /// When the next call is due.
    fn next(&self) -> Option<Uptime> {
        self.typed.as_ref()?;
        let next = self.untried().map(|place| place.next).min();
        next.filter(|_| self.exchange.is_none())
            .map(|next| next.max(self.not_before))
    }

    /// Counts a try with `peer`; refuses when there were too many.
    fn count(&mut self, now: Uptime, peer: Fingerprint) -> Result<(), Refusal> {
        self.tries.retain(|_, tries| tries.last + TRIES_REST > now);
        if self.tries.len() >= TRIED_MAX && !self.tries.contains_key(&peer) {
            return Err(Refusal::Resting { left: TRIES_REST });
        }
        let tries = self.tries.entry(peer).or_insert(Tries { count: 0, last: now });
        if tries.count >= TRIES_MAX {
            let left = (tries.last + TRIES_REST).since(now);
            return Err(Refusal::Resting { left });
        }
        tries.count += 1;
        tries.last = now;
        Ok(())
    }
}

impl Place {
    fn is(&self, address: SocketAddr, tag: Option<&str>) -> bool {
        self.address == address && self.tag.as_deref() == tag
    }
}

impl Link {
    /// The harpist typed a code: it is tried with coordinators that are not known.
    pub(crate) fn code_typed(&mut self, now: Uptime, code: JoinCode) {
        if let Some(exchange) = self.pairing.exchange.take() {
            self.give_up_calls(now, |attempt, _| attempt == exchange.attempt);
        }
        self.pairing.places.iter_mut().for_each(|place| place.next = now);
        self.pairing.asking = None;
        self.pairing.typed = Some(Typed {
            code,
            at: now,
            refused: BTreeSet::new(),
            no: None,
        });
        self.invitation = None;
        self.forget_trouble();
        self.redraw();
    }

    /// Whatever was in the way is not shown any more.
    pub(crate) fn forget_trouble(&mut self) {
        self.trouble = None;
        self.strange_place = None;
        self.trouble_ends = None;
        self.refused_by = None;
    }

    /// When something about the code is due.
    pub(crate) fn next_pairing(&self) -> Option<Uptime> {
        let typed = self.pairing.typed.as_ref();
        let lapses = typed.map(|typed| typed.at + KEPT);
        let stands = typed.and_then(|typed| Some(typed.no.as_ref()?.stands));
        let stands = stands.filter(|_| self.pairing.exchange.is_none());
        let call = self.pairing.next().filter(|_| !self.is_introducing_itself());
        [lapses, stands, call].into_iter().flatten().min()
    }

    /// Makes the calls that are due, and lets go of a code that nobody shows any more.
    pub(crate) fn keep_pairing(&mut self, now: Uptime) {
        if self.pairing.typed.as_ref().is_some_and(|typed| typed.at + KEPT <= now) {
            self.pairing.typed = None;
            self.redraw();
        }
        let no = self.pairing.typed.as_ref().and_then(|typed| typed.no.clone());
        if let Some(no) = no.filter(|no| no.stands <= now && self.pairing.exchange.is_none()) {
            self.tell_no(now, no);
        }
        while self.pairing.next().is_some_and(|at| at <= now) && !self.is_introducing_itself() {
            // Whoever waits longest, so that a flood of new ones keeps nobody from being called.
            let due = self.pairing.untried().min_by_key(|place| place.next);
            let Some(address) = due.map(|place| place.address) else {
                return;
            };
            self.pairing_call(now, address);
        }
    }

    /// Calls whoever is at `address`.
    pub(crate) fn pairing_call(&mut self, now: Uptime, address: SocketAddr) {
        self.pairing.rest_place(address, now + PATIENCE + AGAIN);
        self.pairing.not_before = now + STAGGER;
        self.call(now, address, None, PATIENCE);
    }

    /// Somebody answered who was not expected: tried with the code, unless it is a known one.
    ///
    /// Says whether the call goes on as one to a known coordinator.
    pub(crate) fn stranger_answered(
        &mut self,
        now: Uptime,
        attempt: Attempt,
        peer: Fingerprint,
        address: SocketAddr,
        binding: Binding,
    ) -> bool {
        let busy = self.pairing.exchange.is_some() || self.is_introducing_itself();
        if !busy && !self.is_up() && self.keys().any(|known| known == peer) {
            return true;
        }
        if !busy && self.asks(now, attempt, peer) {
            self.begin_exchange(now, attempt, peer, address, Stage::Asking);
            self.pairing.rest_place(address, now);
            return false;
        }
        let typed = self.pairing.typed.as_ref();
        let code = typed.filter(|typed| !busy && !typed.refused.contains(&peer) && !self.known.contains_key(&peer));
        let Some(code) = code.map(|typed| typed.code) else {
            self.give_up_calls(now, |other, _| other == attempt);
            self.call_ended(now);
            return false;
        };
        if let Err(why) = self.pairing.count(now, peer) {
            self.give_up_calls(now, |other, _| other == attempt);
            self.code_refused(now, peer, address, why);
            return false;
        }
        self.begin_exchange(now, attempt, peer, address, Stage::Started);
        self.effects.push_back(Effect::Pair {
            attempt,
            peer,
            binding,
            code,
        });
        false
    }

    fn begin_exchange(&mut self, now: Uptime, attempt: Attempt, peer: Fingerprint, address: SocketAddr, stage: Stage) {
        self.pairing.exchange = Some(Exchange {
            attempt,
            peer,
            address,
            stage,
        });
        if let Some(call) = self.calls.get_mut(attempt) {
            *call = Call {
                expect: Some(peer),
                address,
                answered: true,
                until: now + EXCHANGE,
            };
        }
        self.give_up_calls(now, |other, call| other != attempt && !call.answered);
    }

    /// The coordinator's share: this station proves that it knows the code.
    pub(crate) fn share_heard(&mut self, attempt: Attempt, session: SessionId, share: Share) {
        if self.proceed(attempt, Stage::Started, Stage::Confirmed).is_some() {
            let name = self.name.clone();
            self.effects.push_back(Effect::Confirm {
                attempt,
                session,
                share,
                name,
            });
        }
    }

    /// The coordinator's proof: the shell looks whether it is right.
    pub(crate) fn proof_heard(&mut self, attempt: Attempt, ensemble: Name, proof: Proof) {
        if self.proceed(attempt, Stage::Confirmed, Stage::Checking).is_some() {
            self.effects.push_back(Effect::CheckProof {
                attempt,
                ensemble,
                proof,
            });
        }
    }

    /// The shell has looked.
    pub(crate) fn proof_checked(&mut self, now: Uptime, attempt: Attempt, right: bool) {
        let Some(exchange) = self.pairing.exchange.filter(|exchange| exchange.attempt == attempt) else {
            return;
        };
        if !right {
            self.give_up_calls(now, |other, _| other == attempt);
            self.code_refused(now, exchange.peer, exchange.address, Refusal::WrongCode);
        } else if self.proceed(attempt, Stage::Checking, Stage::Pinning).is_some() {
            self.pairing.tries.remove(&exchange.peer);
            self.pairing.typed = None;
            self.effects.push_back(Effect::Pin {
                coordinator: exchange.peer,
                address: exchange.address,
            });
        }
    }

    /// The key of a coordinator that proved to know the code rests on the disk: from now on it is a known one.
    pub(crate) fn pinned(&mut self, now: Uptime, coordinator: Fingerprint, address: SocketAddr) {
        self.known.insert(coordinator, Some(address));
        self.dialling.learn([(address, coordinator)]);
        let proven = |exchange: &Exchange| exchange.peer == coordinator && exchange.stage == Stage::Pinning;
        let exchange = self.pairing.exchange.filter(proven);
        if exchange.is_some() {
            self.pairing.exchange = None;
            self.choose(now, coordinator);
        }
        let open = exchange.and_then(|exchange| Some((exchange.attempt, self.calls.get_mut(exchange.attempt)?)));
        match open {
            Some((attempt, call)) => {
                call.until = now + INTRODUCTION;
                self.greet(now, attempt, coordinator);
            }
            // The link has gone meanwhile.
            None => self.dialling.hurry(now),
        }
        self.redraw();
    }

    /// Somebody said no to the code: another may be meant by it, and when nobody is left the harpist is told.
    pub(crate) fn code_refused(&mut self, now: Uptime, peer: Fingerprint, address: SocketAddr, why: Refusal) {
        if why == Refusal::NotNow {
            let pause = AFTER_NOT_NOW + self.random.pause(AFTER_NOT_NOW);
            self.pairing.rest_place(address, now + pause);
            self.call_ended(now);
            return;
        }
        let Some(typed) = &mut self.pairing.typed else {
            return;
        };
        typed.refused.insert(peer);
        let (tried, heard_of) = (typed.refused.len(), typed.at + KNOWN_WAIT);
        // A typed address says who is meant.
        let typed_address = self.pairing.places.iter().any(|place| place.is(address, None));
        let others = self.pairing.untried().any(|place| place.address != address);
        let stands = match () {
            () if typed_address || tried >= KEYS_MAX => now,
            () if others => heard_of.max(now + OTHERS_WAIT),
            // The one that is meant may not have been heard of yet.
            () => heard_of.max(now),
        };
        let ends = match why {
            Refusal::Resting { left } => Some(now + left),
            _ => None,
        };
        let no = No {
            peer,
            why,
            ends,
            stands,
        };
        if stands <= now {
            return self.tell_no(now, no);
        }
        if let Some(typed) = &mut self.pairing.typed {
            typed.no = Some(no);
        }
        self.call_ended(now);
    }

    /// Nobody else is meant by the code: the harpist is told who said no to it, and why.
    fn tell_no(&mut self, now: Uptime, no: No) {
        self.pairing.typed = None;
        self.trouble = Some(LinkState::Refused(no.why));
        self.strange_place = None;
        self.refused_by = Some(no.peer.tag());
        self.trouble_ends = no.ends;
        // A person has to do something first.
        if !self.is_up() {
            self.dialling.rest(now, AFTER_REFUSAL);
        }
        self.redraw();
    }

    /// Takes the try on this attempt from one stage to the next, if it is there.
    pub(crate) fn proceed(&mut self, attempt: Attempt, from: Stage, to: Stage) -> Option<Exchange> {
        let exchange = self.pairing.exchange.as_mut();
        let exchange = exchange.filter(|exchange| exchange.attempt == attempt && exchange.stage == from)?;
        exchange.stage = to;
        Some(*exchange)
    }
}
