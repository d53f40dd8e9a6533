//! The joining code at the door: when there is one, how many wrong ones it stands, and who may try at the same time.

use std::collections::BTreeMap;
use std::net::{IpAddr, Ipv6Addr};
use std::time::Duration;

use consort_proto::message::Refusal;
use consort_proto::{Fingerprint, JoinCode, Uptime};

use crate::event::LinkId;
use crate::view::CodeView;

/// How long a code is shown, and how many wrong ones it stands.
///
/// The defaults let a stranger guess 50 times at one of 10⁷ codes while the door is open: right once in 200,000 openings.
#[derive(Clone, Copy, Debug)]
pub struct DoorConfig {
    /// How long joining by code stays open once the leader has opened it.
    pub open_for: Duration,
    /// Wrong codes after which the code is taken away.
    pub wrong_per_code: usize,
    /// The pause before the next code; twice as long after each.
    pub rest: Duration,
    /// Codes in one opening; after the last one the leader has to open again.
    pub codes: u32,
    /// Wrong codes from one address, or one key, within [`DoorConfig::counted_for`].
    pub wrong_per_peer: usize,
    /// How long a wrong code is held against its address and key.
    pub counted_for: Duration,
    /// Tries at the same time.
    pub tries: usize,
    /// How long a try may take.
    pub try_for: Duration,
}

impl Default for DoorConfig {
    fn default() -> Self {
        Self {
            open_for: Duration::from_secs(15 * 60),
            wrong_per_code: 10,
            rest: Duration::from_secs(30),
            codes: 5,
            wrong_per_peer: 3,
            counted_for: Duration::from_secs(60),
            tries: 4,
            // Four messages on a network that loses a fifth of all packets take two seconds at most.
            try_for: Duration::from_secs(10),
        }
    }
}

/// The door for stations that are not known yet.
///
/// A try counts as wrong from its beginning until it has been right, so that nobody gains anything by breaking it off.
#[derive(Debug)]
pub(crate) struct Door {
    config: DoorConfig,
    state: State,
    closes_at: Uptime,
    /// Codes shown since the leader opened it.
    shown: u32,
    /// The code that comes next, drawn ahead of time.
    next: Option<JoinCode>,
    tries: BTreeMap<LinkId, Try>,
    wrong: Vec<(Uptime, Who)>,
}

#[derive(Clone, Copy, Debug)]
enum State {
    Closed,
    /// Open, but no code has been drawn yet.
    Waiting,
    Open {
        code: JoinCode,
        wrong: usize,
    },
    Resting {
        until: Uptime,
    },
}

/// Somebody who is proving the code.
#[derive(Clone, Copy, Debug)]
struct Try {
    peer: Fingerprint,
    from: IpAddr,
    until: Uptime,
}

/// Against whom a wrong code is held.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Who {
    Key(Fingerprint),
    Address(IpAddr),
}

impl Door {
    pub(crate) const fn closed(config: DoorConfig) -> Self {
        Self {
            config,
            state: State::Closed,
            closes_at: Uptime(Duration::ZERO),
            shown: 0,
            next: None,
            tries: BTreeMap::new(),
            wrong: Vec::new(),
        }
    }

    /// The leader opens it, with a fresh code, or closes it; returns the tries that end with that.
    pub(crate) fn set_open(&mut self, now: Uptime, open: bool) -> Vec<LinkId> {
        self.state = if open { State::Waiting } else { State::Closed };
        self.closes_at = now + self.config.open_for;
        self.shown = 0;
        self.show_next();
        std::mem::take(&mut self.tries).into_keys().collect()
    }

    /// Takes in a code for the time when the next one is needed.
    pub(crate) fn drawn(&mut self, code: JoinCode) {
        self.next = Some(code);
        self.show_next();
    }

    /// Whether another code has to be drawn.
    pub(crate) const fn wants_code(&self) -> bool {
        self.next.is_none()
    }

    fn show_next(&mut self) {
        if matches!(self.state, State::Waiting)
            && let Some(code) = self.next.take()
        {
            self.shown += 1;
            self.state = State::Open { code, wrong: 0 };
        }
    }

    /// Lets the holder of `peer` try, with the code to compare with; else says why not.
    pub(crate) fn admit(
        &mut self,
        now: Uptime,
        link: LinkId,
        peer: Fingerprint,
        from: IpAddr,
    ) -> Result<JoinCode, Refusal> {
        let from = network(from);
        let (code, wrong) = match self.state {
            State::Closed => return Err(Refusal::JoiningClosed),
            State::Waiting => return Err(Refusal::NotNow),
            State::Resting { until } => return Err(Refusal::Resting { left: until.since(now) }),
            State::Open { code, wrong } => (code, wrong),
        };
        for who in [Who::Key(peer), Who::Address(from)] {
            let held: Vec<Uptime> = self.held_against(who).collect();
            if let Some(&first) = held.iter().rev().nth(self.config.wrong_per_peer.saturating_sub(1)) {
                let left = (first + self.config.counted_for).since(now);
                return Err(Refusal::Resting { left });
            }
            let trying = self.tries.values().filter(|other| other.is(who)).count();
            if held.len() + trying >= self.config.wrong_per_peer {
                return Err(Refusal::NotNow);
            }
        }
        let is_trying = self.tries.values().any(|other| other.peer == peer);
        let trying = self.tries.len();
        if is_trying || trying >= self.config.tries || wrong + trying >= self.config.wrong_per_code {
            return Err(Refusal::NotNow);
        }
        let until = now + self.config.try_for;
        self.tries.insert(link, Try { peer, from, until });
        Ok(code)
    }

    /// The try on `link` was right.
    pub(crate) fn right(&mut self, link: LinkId) {
        self.tries.remove(&link);
    }

    /// The try on `link`, if there is one, was wrong or was broken off; says whether there was.
    pub(crate) fn wrong(&mut self, now: Uptime, link: LinkId) -> bool {
        let Some(Try { peer, from, .. }) = self.tries.remove(&link) else {
            return false;
        };
        self.wrong.extend([(now, Who::Key(peer)), (now, Who::Address(from))]);
        if let State::Open { wrong, .. } = &mut self.state {
            *wrong += 1;
            if *wrong >= self.config.wrong_per_code {
                self.state = match self.shown {
                    shown if shown >= self.config.codes => State::Closed,
                    shown => State::Resting {
                        until: now + self.config.rest * 2_u32.pow(shown.saturating_sub(1)),
                    },
                };
            }
        }
        true
    }

    /// Everything that is due at `now`; returns the tries that took too long, and whether the door looks otherwise.
    pub(crate) fn keep_time(&mut self, now: Uptime) -> (Vec<LinkId>, bool) {
        let before = std::mem::discriminant(&self.state);
        match self.state {
            State::Waiting | State::Open { .. } | State::Resting { .. } if self.closes_at <= now => {
                self.state = State::Closed;
            }
            State::Resting { until } if until <= now => {
                self.state = State::Waiting;
                self.show_next();
            }
            State::Closed | State::Waiting | State::Open { .. } | State::Resting { .. } => {}
        }
        let counted_for = self.config.counted_for;
        self.wrong.retain(|(at, _)| *at + counted_for > now);
        let late = self.tries.iter().filter(|(_, other)| other.until <= now);
        let changed = before != std::mem::discriminant(&self.state);
        (late.map(|(&link, _)| link).collect(), changed)
    }

    /// When something is due, if nothing happens before.
    pub(crate) fn next_change(&self) -> Option<Uptime> {
        let of_state = match self.state {
            State::Closed => None,
            State::Waiting | State::Open { .. } => Some(self.closes_at),
            State::Resting { until } => Some(until.min(self.closes_at)),
        };
        self.tries.values().map(|other| other.until).chain(of_state).min()
    }

    /// What the leader sees of it.
    pub(crate) fn view(&self, now: Uptime) -> CodeView {
        match self.state {
            State::Closed | State::Waiting => CodeView::Closed,
            State::Open { code, wrong } => CodeView::Open { code, wrong },
            State::Resting { until } => CodeView::Resting { left: until.since(now) },
        }
    }

    fn held_against(&self, who: Who) -> impl Iterator<Item = Uptime> {
        let held = self.wrong.iter().filter(move |(_, other)| *other == who);
        held.map(|(at, _)| *at)
    }
}

impl Try {
    fn is(&self, who: Who) -> bool {
        match who {
            Who::Key(peer) => self.peer == peer,
            Who::Address(from) => self.from == from,
        }
    }
}

/// What counts as one address: of IPv6 the network's half, since a computer has as many of the other half as it likes.
fn network(from: IpAddr) -> IpAddr {
    match from.to_canonical() {
        IpAddr::V4(from) => from.into(),
        IpAddr::V6(from) => Ipv6Addr::from(u128::from(from) >> 64 << 64).into(),
    }
}
