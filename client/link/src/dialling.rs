//! Calling coordinators: whom, where, how long, and the pauses between.

use std::net::SocketAddr;
use std::time::Duration;

use consort_proto::{Fingerprint, Uptime};

use crate::effect::Effect;
use crate::event::Attempt;
use crate::link::Link;
use crate::random::Random;

/// A call that was made and not given up.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Call {
    /// Whose key has to be shown; `None` for whoever has to prove the code.
    pub(crate) expect: Option<Fingerprint>,
    pub(crate) address: SocketAddr,
    /// Whether the handshake is done.
    pub(crate) answered: bool,
    /// When it is given up, unless it has led to a welcome.
    pub(crate) until: Uptime,
}

/// Where coordinators may be, and when to call there next.
#[derive(Debug)]
pub(crate) struct Dialling {
    /// From a join link, typed, or reached before; the most promising first.
    firm: Vec<Place>,
    /// From discovery, the newest first: anybody can announce some, so they never push out a firm place.
    hints: Vec<Place>,
    /// The place to be called next in this turn.
    place: usize,
    /// When to call it; `None` while the calls of a turn are out.
    at: Option<Uptime>,
    /// Turns since the link was last up.
    turns: u32,
    begun: Uptime,
    /// When a sighting last had the calls begin anew.
    hurried_at: Option<Uptime>,
    last: Attempt,
}

/// Where a coordinator may be, and which one.
type Place = (SocketAddr, Fingerprint);

/// How long a call may take, by turn, over and over: a fresh one soon beats a long one on a bad network, above all when
/// the network has just come back, and now and then one waits for a slow network.
const PATIENCE: [Duration; 6] = [
    Duration::from_secs(1),
    Duration::from_secs(1),
    Duration::from_secs(2),
    Duration::from_secs(1),
    Duration::from_secs(1),
    Duration::from_secs(3),
];
/// The pause between calls to several places in one turn.
const STAGGER: Duration = Duration::from_millis(150);
/// How long the coordinator may take to write a newcomer down and welcome it.
pub(crate) const INTRODUCTION: Duration = Duration::from_secs(5);
/// The pause after a refusal: a person has to do something first.
pub(crate) const AFTER_REFUSAL: Duration = Duration::from_secs(10);
/// The pause of a laptop whose seat was taken over: its harp is played elsewhere, and a person would say so otherwise.
pub(crate) const AFTER_SEAT_TAKEN: Duration = Duration::from_secs(3_600);
/// Firm places kept, and hints kept; more are stale.
const PLACES_MAX: usize = 16;
/// Sightings begin the calls anew at most this often, so that a flood of false ones neither floods the network nor keeps
/// the later places from their turn.
const HURRY_EVERY: Duration = Duration::from_secs(3);

impl Dialling {
    pub(crate) const fn starting_at(now: Uptime) -> Self {
        Self {
            firm: Vec::new(),
            hints: Vec::new(),
            place: 0,
            at: Some(now),
            turns: 0,
            begun: now,
            hurried_at: None,
            last: Attempt(0),
        }
    }

    /// Puts firm places first, in the given order.
    pub(crate) fn learn(&mut self, places: impl IntoIterator<Item = Place>) {
        let fresh: Vec<Place> = places.into_iter().collect();
        self.hints.retain(|place| !fresh.contains(place));
        put_first(&mut self.firm, fresh);
    }

    /// Takes in what discovery says; whether any of it was new.
    pub(crate) fn hint(&mut self, places: impl IntoIterator<Item = Place>) -> bool {
        let mut fresh: Vec<Place> = places.into_iter().take(PLACES_MAX).collect();
        fresh.retain(|place| !self.firm.contains(place));
        let any = fresh.iter().any(|place| !self.hints.contains(place));
        put_first(&mut self.hints, fresh);
        any
    }

    /// Whether the place is from a join link, typed, or was reached before.
    pub(crate) fn is_firm(&self, place: Place) -> bool {
        self.firm.contains(&place)
    }

    /// Nothing to call.
    pub(crate) const fn is_lost(&self) -> bool {
        self.firm.is_empty() && self.hints.is_empty()
    }

    /// The places in the order in which they are called, from the next one on, with their number in the turn.
    fn left(&self) -> impl Iterator<Item = (usize, Place)> {
        let all = self.firm.iter().chain(&self.hints).copied();
        all.enumerate().skip(self.place)
    }

    /// As [`hurry`](Self::hurry), for a sighting; `idle` when no call is out that would end in the next turn.
    pub(crate) fn hurry_now_and_then(&mut self, now: Uptime, idle: bool) {
        match self.hurried_at.map(|at| at + HURRY_EVERY).filter(|&at| at > now) {
            None => {
                self.hurried_at = Some(now);
                self.hurry(now);
            }
            Some(at) if idle && self.at.is_none() => {
                self.place = 0;
                self.at = Some(at);
            }
            Some(_) => {}
        }
    }

    /// Calls at once, from the first place on.
    pub(crate) const fn hurry(&mut self, now: Uptime) {
        self.at = Some(now);
        self.place = 0;
    }

    /// The link went down: calls soon, and often at first.
    pub(crate) fn start_over(&mut self, now: Uptime, random: &mut Random) {
        self.turns = 0;
        self.begun = now;
        self.place = 0;
        self.at = Some(now + random.pause(Duration::from_millis(200)));
    }

    /// A call came to nothing; when it was the last one out, the next turn follows after a pause.
    pub(crate) fn call_ended(&mut self, now: Uptime, idle: bool, random: &mut Random) {
        if idle && self.at.is_none() {
            let cap = match now.since(self.begun).as_secs() {
                0..60 => Duration::from_millis(500),
                60..600 => Duration::from_secs(2),
                _ => Duration::from_secs(5),
            };
            self.turns = self.turns.saturating_add(1);
            self.place = 0;
            self.at = Some(now + random.pause(cap));
        }
    }

    /// Calls nobody for `pause`.
    pub(crate) fn rest(&mut self, now: Uptime, pause: Duration) {
        self.place = 0;
        self.at = Some(now + pause);
    }
}

impl Link {
    /// When the next call is due; none while a coordinator that answered writes this station down.
    pub(crate) fn next_dial(&self) -> Option<Uptime> {
        let at = self
            .dialling
            .at
            .map(|at| at.max(self.pairing.known_wait_until().unwrap_or(at)));
        at.filter(|_| !self.is_up() && !self.is_introducing_itself() && self.dialling.left().next().is_some())
    }

    /// Makes the calls that are due.
    pub(crate) fn dial(&mut self, now: Uptime) {
        self.remember_known_places();
        while self.next_dial().is_some_and(|at| at <= now) {
            let next = self.dialling.left().find(|(_, place)| self.is_wanted(*place));
            let Some((number, (address, expect))) = next else {
                self.dialling.at = None;
                return;
            };
            self.dialling.place = number + 1;
            let more = self.dialling.left().next().is_some();
            self.dialling.at = more.then_some(now + STAGGER);
            let patience = PATIENCE[self.dialling.turns as usize % PATIENCE.len()];
            self.call(now, address, Some(expect), patience);
        }
    }

    /// Calls `address`, for so long.
    pub(crate) fn call(&mut self, now: Uptime, address: SocketAddr, expect: Option<Fingerprint>, patience: Duration) {
        self.dialling.last.0 += 1;
        let attempt = self.dialling.last;
        self.calls.insert(
            attempt,
            Call {
                expect,
                address,
                answered: false,
                until: now + patience,
            },
        );
        self.effects.push_back(Effect::Dial {
            attempt,
            address,
            expect,
        });
        self.redraw();
    }

    /// Whether a place is worth a call: nobody is being called there, and it is the invitation's, if there is one.
    fn is_wanted(&self, (address, expect): Place) -> bool {
        let mut calls = self.calls.values();
        !calls.any(|call| !call.answered && (call.address, call.expect) == (address, Some(expect)))
            && self.invitation.is_none_or(|(invited, _)| invited == expect)
    }

    /// A call came to nothing.
    pub(crate) fn call_ended(&mut self, now: Uptime) {
        let idle = self.is_idle();
        self.dialling.call_ended(now, idle, &mut self.random);
    }

    /// Whether no call is out.
    pub(crate) fn is_idle(&self) -> bool {
        !self.calls.keys().any(|&attempt| Some(attempt) != self.joined)
    }

    /// Gives up the calls that `unwanted` picks.
    pub(crate) fn give_up_calls(&mut self, unwanted: impl Fn(Attempt, &Call) -> bool) {
        let gone: Vec<Attempt> = self
            .calls
            .iter()
            .filter(|(attempt, call)| unwanted(**attempt, call))
            .map(|(&attempt, _)| attempt)
            .collect();
        for attempt in gone {
            self.calls.remove(&attempt);
            self.pairing.ended(attempt);
            if self.joined == Some(attempt) {
                self.joined = None;
            }
            self.effects.push_back(Effect::Close { attempt });
        }
    }

    pub(crate) fn is_up(&self) -> bool {
        self.joined.is_some() && self.offline_since.is_none()
    }

    /// Where known coordinators were last reached is worth a call, after what was learnt since.
    fn remember_known_places(&mut self) {
        for (&key, address) in &self.known {
            let Some(address) = *address else { continue };
            if !self.dialling.firm.contains(&(address, key)) && self.dialling.firm.len() < PLACES_MAX {
                self.dialling.firm.push((address, key));
            }
        }
    }
}

/// Puts `fresh` first in a list of at most [`PLACES_MAX`].
fn put_first(list: &mut Vec<Place>, fresh: Vec<Place>) {
    list.retain(|place| !fresh.contains(place));
    list.splice(0..0, fresh);
    list.truncate(PLACES_MAX);
}
