//! Calling coordinators: whom, where, how long, and the pauses between.

use std::net::SocketAddr;
use std::time::Duration;

use consort_proto::{Fingerprint, ToCoordinator, Uptime};

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
    /// When to call it.
    at: Uptime,
    /// Turns since the link was last up.
    turns: u32,
    begun: Uptime,
    /// When a sighting last had the calls begin anew.
    hurried_at: Option<Uptime>,
    last: Attempt,
}

/// Where a coordinator may be, and which one.
type Place = (SocketAddr, Fingerprint);

/// How long a call may take, by turn, over and over: now and then one waits for a slow network.
const PATIENCE: [Duration; 4] = [
    Duration::from_secs(2),
    Duration::from_secs(2),
    Duration::from_secs(2),
    Duration::from_secs(5),
];
/// Calls that may be out to one place at once. A handshake that has lost a packet waits longer and longer before it says it
/// again, so that a fresh one beside it is often answered first; the first that is answered ends the others.
const CALLS_AT_ONCE: usize = 4;
/// Coordinators that may have answered, been greeted, and not welcomed this station yet. A call from the time without a
/// network has learnt to wait long before it says anything again: when its greeting gets lost, a fresh one is faster.
const GREETED_AT_ONCE: usize = 2;
/// The shortest time after a greeting until somebody is called beside it, and what may be added.
const BESIDE_GREETED: (Duration, Duration) = (Duration::from_millis(600), Duration::from_millis(400));
/// Who greeted somebody else not longer ago than this is pushed out by itself, not by a copy.
const SUPERSEDES_FOR: Duration = Duration::from_secs(10);
/// The pause between calls to several places in one turn.
const STAGGER: Duration = Duration::from_millis(150);
/// How long the coordinator may take to write a newcomer down and welcome it.
pub(crate) const INTRODUCTION: Duration = Duration::from_secs(5);
/// The longest pause after a call that came to nothing when the next one is due already.
const AFTER_NOTHING: Duration = Duration::from_millis(500);
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
            at: now,
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

    /// As [`hurry`](Self::hurry), for a sighting.
    pub(crate) fn hurry_now_and_then(&mut self, now: Uptime) {
        if self.hurried_at.is_none_or(|at| at + HURRY_EVERY <= now) {
            self.hurried_at = Some(now);
            self.hurry(now);
        }
    }

    /// Calls at once, from the first place on.
    pub(crate) const fn hurry(&mut self, now: Uptime) {
        self.at = now;
        self.place = 0;
    }

    /// The link went down: calls soon, and often at first.
    pub(crate) fn start_over(&mut self, now: Uptime, random: &mut Random) {
        self.turns = 0;
        self.begun = now;
        self.place = 0;
        self.at = now + random.pause(Duration::from_millis(200));
    }

    /// All places were called; the next turn follows after a pause, whether or not anybody answers until then.
    fn turn_ended(&mut self, now: Uptime, random: &mut Random) {
        let (least, more) = match now.since(self.begun).as_secs() {
            0..60 => (Duration::from_millis(600), Duration::from_millis(400)),
            60..600 => (Duration::from_secs(1), Duration::from_secs(1)),
            _ => (Duration::from_secs(3), Duration::from_secs(2)),
        };
        self.turns = self.turns.saturating_add(1);
        self.place = 0;
        self.at = now + least + random.pause(more);
    }

    /// Calls nobody for `pause`.
    pub(crate) fn rest(&mut self, now: Uptime, pause: Duration) {
        self.place = 0;
        self.at = now + pause;
    }
}

impl Link {
    /// When the next call is due; none while as many as may be have answered and look who this is.
    pub(crate) fn next_dial(&self) -> Option<Uptime> {
        // Most of the time the link is up.
        if self.is_up() || self.has_greeted_enough() {
            return None;
        }
        self.dialling.left().next()?;
        let at = self.dialling.at;
        Some(at.max(self.pairing.known_wait_until().unwrap_or(at)))
    }

    /// Whether nobody else is to be called before one that answered has said more. A try with a code is not disturbed.
    fn has_greeted_enough(&self) -> bool {
        self.greeted().count() >= GREETED_AT_ONCE || self.greeted().any(|attempt| self.pairing.is_with(attempt))
    }

    /// The calls that were answered and have not led to a welcome.
    fn greeted(&self) -> impl Iterator<Item = Attempt> {
        let answered = self.calls.iter().filter(|(_, call)| call.answered);
        let attempts = answered.map(|(attempt, _)| attempt);
        attempts.filter(|&attempt| Some(attempt) != self.joined)
    }

    /// Says who this is; a fresh call follows only if that leads to nothing soon.
    pub(crate) fn greet(&mut self, now: Uptime, attempt: Attempt, coordinator: Fingerprint) {
        let hello = self.hello(coordinator);
        self.send(attempt, ToCoordinator::Hello(hello));
        let (least, more) = BESIDE_GREETED;
        self.dialling.rest(now, least + self.random.pause(more));
    }

    /// Whether a newer link that pushed out an older one is this station's own.
    pub(crate) fn may_supersede_itself(&self, now: Uptime) -> bool {
        let left = self.left_greeted_at.is_some_and(|at| now.since(at) < SUPERSEDES_FOR);
        left || self.is_introducing_itself()
    }

    /// Whether a call was answered that has not led to a welcome yet.
    pub(crate) fn is_introducing_itself(&self) -> bool {
        self.greeted().next().is_some()
    }

    /// Makes the calls that are due.
    pub(crate) fn dial(&mut self, now: Uptime) {
        if self.is_up() {
            return;
        }
        self.remember_known_places();
        while self.next_dial().is_some_and(|at| at <= now) {
            let next = self.dialling.left().find(|(_, place)| self.is_wanted(*place));
            let Some((number, (address, expect))) = next else {
                self.dialling.turn_ended(now, &mut self.random);
                return;
            };
            self.dialling.place = number + 1;
            let patience = PATIENCE[self.dialling.turns as usize % PATIENCE.len()];
            if self.dialling.left().next().is_some() {
                self.dialling.at = now + STAGGER;
            } else {
                self.dialling.turn_ended(now, &mut self.random);
            }
            self.call(now, address, Some(expect), patience);
        }
    }

    /// Calls `address`, for so long.
    pub(crate) fn call(&mut self, now: Uptime, address: SocketAddr, expect: Option<Fingerprint>, patience: Duration) {
        self.dialling.last.0 += 1;
        let attempt = self.dialling.last;
        self.calls.add(
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

    /// Whether a place is worth a call: few are out to it, and it is the invitation's, if there is one.
    fn is_wanted(&self, (address, expect): Place) -> bool {
        let calls = self.calls.iter();
        let there = calls.filter(|(_, call)| !call.answered && (call.address, call.expect) == (address, Some(expect)));
        there.count() < CALLS_AT_ONCE && self.invitation.is_none_or(|(invited, _)| invited == expect)
    }

    /// A call came to nothing. The next one is due anyway; after a coordinator that kept this station waiting it is not
    /// made by all stations at the same moment.
    pub(crate) fn call_ended(&mut self, now: Uptime) {
        if self.dialling.at <= now {
            self.dialling.rest(now, self.random.pause(AFTER_NOTHING));
        }
    }

    /// Gives up the calls that `unwanted` picks.
    pub(crate) fn give_up_calls(&mut self, now: Uptime, unwanted: impl Fn(Attempt, &Call) -> bool) {
        let gone: Vec<Attempt> = self
            .calls
            .iter()
            .filter(|(attempt, call)| unwanted(*attempt, call))
            .map(|(attempt, _)| attempt)
            .collect();
        for attempt in gone {
            let greeted = self.calls.remove(attempt).is_some_and(|call| call.answered);
            if greeted && self.joined != Some(attempt) {
                self.left_greeted_at = Some(now);
            }
            self.pairing.ended(attempt);
            if self.joined == Some(attempt) {
                self.joined = None;
            }
            self.effects.push_back(Effect::Close { attempt });
        }
    }

    /// Whether the coordinator is heard, so that nobody needs to be called.
    pub(crate) const fn is_up(&self) -> bool {
        self.joined.is_some() && self.offline_since.is_none() && !self.in_doubt
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
