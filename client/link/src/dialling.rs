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
    pub(crate) expect: Fingerprint,
    pub(crate) address: SocketAddr,
    /// Whether the handshake is done.
    pub(crate) answered: bool,
    /// When it is given up, unless it has led to a welcome.
    pub(crate) until: Uptime,
}

/// Where coordinators may be, and when to call there next.
#[derive(Debug)]
pub(crate) struct Dialling {
    /// The most promising first.
    places: Vec<(SocketAddr, Fingerprint)>,
    /// The place to be called next in this turn.
    place: usize,
    /// When to call it; `None` while the calls of a turn are out.
    at: Option<Uptime>,
    /// Turns since the link was last up.
    turns: u32,
    begun: Uptime,
    last: Attempt,
}

/// How long a call may take, by turn; a fresh one soon beats a long one on a bad network.
const PATIENCE: [Duration; 4] = [
    Duration::from_secs(1),
    Duration::from_secs(1),
    Duration::from_secs(2),
    Duration::from_secs(3),
];
/// The pause between calls to several places in one turn.
const STAGGER: Duration = Duration::from_millis(150);
/// How long the coordinator may take to write a newcomer down and welcome it.
pub(crate) const INTRODUCTION: Duration = Duration::from_secs(5);
/// The pause after a refusal: a person has to do something first.
pub(crate) const AFTER_REFUSAL: Duration = Duration::from_secs(10);
/// Places kept; more are stale.
const PLACES_MAX: usize = 16;

impl Dialling {
    pub(crate) const fn starting_at(now: Uptime) -> Self {
        Self {
            places: Vec::new(),
            place: 0,
            at: Some(now),
            turns: 0,
            begun: now,
            last: Attempt(0),
        }
    }

    /// Puts places first, in the given order; whether any was new.
    pub(crate) fn learn(&mut self, places: impl IntoIterator<Item = (SocketAddr, Fingerprint)>) -> bool {
        let fresh: Vec<_> = places.into_iter().collect();
        let any = fresh.iter().any(|place| !self.places.contains(place));
        self.places.retain(|place| !fresh.contains(place));
        self.places.splice(0..0, fresh);
        self.places.truncate(PLACES_MAX);
        any
    }

    /// Nothing to call.
    pub(crate) const fn is_lost(&self) -> bool {
        self.places.is_empty()
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
    /// A coordinator was heard of: called when its tag is that of a known key, else only shown.
    pub(crate) fn sighted(&mut self, now: Uptime, tag: String, addresses: &[SocketAddr]) {
        let key = self.keys().find(|key| key.tag() == tag);
        let Some(key) = key else {
            if self.stranger.as_ref() != Some(&tag) {
                self.stranger = Some(tag);
                self.redraw();
            }
            return;
        };
        let news = self.dialling.learn(addresses.iter().map(|&address| (address, key)));
        let resting = matches!(self.trouble, Some(crate::LinkState::Refused(_)));
        if news && !self.is_up() && !resting {
            self.dialling.hurry(now);
        }
        self.redraw();
    }

    /// When the next call is due.
    pub(crate) fn next_dial(&self) -> Option<Uptime> {
        self.dialling
            .at
            .filter(|_| !self.is_up() && !self.places_left().is_empty())
    }

    /// Makes the calls that are due.
    pub(crate) fn dial(&mut self, now: Uptime) {
        self.remember_known_places();
        while self.next_dial().is_some_and(|at| at <= now) {
            let Some(&(address, expect)) = self.dialling.places.get(self.dialling.place) else {
                self.dialling.at = None;
                return;
            };
            self.dialling.place += 1;
            let more = self.dialling.place < self.dialling.places.len();
            self.dialling.at = more.then_some(now + STAGGER);
            self.dialling.last.0 += 1;
            let attempt = self.dialling.last;
            let patience = PATIENCE[(self.dialling.turns as usize).min(PATIENCE.len() - 1)];
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
    }

    /// A call came to nothing.
    pub(crate) fn call_ended(&mut self, now: Uptime) {
        let idle = !self.calls.keys().any(|&attempt| Some(attempt) != self.joined);
        self.dialling.call_ended(now, idle, &mut self.random);
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
            if self.joined == Some(attempt) {
                self.joined = None;
            }
            self.effects.push_back(Effect::Close { attempt });
        }
    }

    fn is_up(&self) -> bool {
        self.joined.is_some() && self.offline_since.is_none()
    }

    fn places_left(&self) -> &[(SocketAddr, Fingerprint)] {
        self.dialling.places.get(self.dialling.place..).unwrap_or_default()
    }

    /// Where known coordinators were last reached is worth a call, after what was learnt since.
    fn remember_known_places(&mut self) {
        for (&key, address) in &self.known {
            let Some(address) = *address else { continue };
            if !self.dialling.places.contains(&(address, key)) && self.dialling.places.len() < PLACES_MAX {
                self.dialling.places.push((address, key));
            }
        }
    }
}
