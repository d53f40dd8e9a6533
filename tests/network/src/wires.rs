//! Links between the programs: streams that keep their order and break as a whole, datagrams that get lost.

use std::collections::VecDeque;
use std::time::Duration;

use consort_link::Attempt;
use consort_proto::{Binding, Fingerprint, ToCoordinator, ToStation, Uptime};
use consort_session::LinkId;

use super::Broken;
use super::agenda::Due;
use super::hall::{COORDINATOR, Hall, STRANGER};
use super::programs::ADDRESS;

pub(super) type WireId = u64;

/// Which way nothing passes.
#[derive(Clone, Copy, Debug)]
pub(super) enum Cut {
    Up,
    Down,
    Both,
}

impl Cut {
    const fn stops_up(self) -> bool {
        matches!(self, Self::Up | Self::Both)
    }

    const fn stops_down(self) -> bool {
        matches!(self, Self::Down | Self::Both)
    }
}

/// An established link between one attempt and one link of the coordinator.
#[derive(Debug)]
pub(super) struct Wire {
    pub(super) id: WireId,
    /// Which station, in which of its lives; `None` for a stranger, who has no station here.
    pub(super) station: Option<(usize, u64, Attempt)>,
    /// On its way to the coordinator, with the time of arrival.
    pub(super) up: VecDeque<(Uptime, ToCoordinator)>,
    pub(super) down: VecDeque<(Uptime, ToStation)>,
    /// Whether the coordinator's end is open.
    pub(super) up_end: bool,
    pub(super) down_end: bool,
    /// Whether the station was welcomed on it.
    pub(super) welcomed: bool,
    /// Nothing passes any more, though the ends may not know it yet.
    pub(super) dead: bool,
}

/// How often a stream tries again while it is cut.
const AGAIN: Duration = Duration::from_millis(250);
/// How long a call that meets nobody takes to say so, if it does.
const NO_ANSWER: Duration = Duration::from_millis(900);

impl Hall {
    /// A call arrives, or does not.
    pub(super) fn dialled(&mut self, station: usize, attempt: Attempt) -> Result<(), Broken> {
        let life = self.players[station].life;
        let lost = self.session.is_none() || self.players[station].cut.is_some();
        if lost || (self.faulty && self.chance.is(20)) {
            // Half of the time even that is not said.
            if self.chance.is(50) {
                self.after(NO_ANSWER, Due::CallLost { station, life, attempt });
            }
            return Ok(());
        }
        let peer = self.players[station].key;
        let wire = self.wire(Some((station, life, attempt)));
        let link = LinkId(wire);
        let binding = Binding([wire as u8; 32]);
        self.coordinator(consort_session::Event::LinkOpened {
            link,
            peer,
            from: ADDRESS.ip(),
            binding,
        })?;
        let connected = consort_link::Event::Connected {
            attempt,
            peer: COORDINATOR,
            address: ADDRESS,
            binding,
        };
        self.station(station, connected)
    }

    pub(super) fn wire(&mut self, station: Option<(usize, u64, Attempt)>) -> WireId {
        self.wires.lay(|id| Wire {
            id,
            station,
            up: VecDeque::new(),
            down: VecDeque::new(),
            up_end: true,
            down_end: true,
            welcomed: false,
            dead: false,
        })
    }

    pub(super) fn wire_of(&self, station: usize, attempt: Attempt) -> Option<WireId> {
        let wanted = Some((station, self.players[station].life, attempt));
        let found = self.wires.iter().find(|wire| wire.station == wanted);
        found.map(|wire| wire.id)
    }

    // --- to the coordinator ---

    pub(super) fn say_up(&mut self, id: WireId, message: ToCoordinator) {
        let delay = self.delay();
        let fleeting = matches!(message, ToCoordinator::Beat);
        let lost = fleeting && self.faulty && self.chance.is(20);
        let now = self.now;
        let Some(wire) = self.wires.get_mut(id).filter(|wire| wire.down_end && !wire.dead) else {
            return;
        };
        if fleeting {
            if !lost {
                self.after(delay, Due::BeatUp(id));
            }
            return;
        }
        let arrival = wire.up.back().map_or(now, |(last, _)| *last).max(now + delay);
        wire.up.push_back((arrival, message));
        self.after(arrival.since(now), Due::Up(id));
    }

    pub(super) fn arrive_up(&mut self, id: WireId) -> Result<(), Broken> {
        let cut = self.cut_of(id).is_some_and(Cut::stops_up);
        loop {
            let now = self.now;
            let Some(wire) = self.wires.get_mut(id).filter(|wire| wire.up_end) else {
                return Ok(());
            };
            if wire.up.front().is_none_or(|(at, _)| *at > now) {
                return Ok(());
            }
            if cut {
                self.after(AGAIN, Due::Up(id));
                return Ok(());
            }
            if let Some((_, message)) = wire.up.pop_front() {
                self.heard(id, message)?;
            }
        }
    }

    pub(super) fn beat_up(&mut self, id: WireId) -> Result<(), Broken> {
        let open = self.wires.get(id).is_some_and(|wire| wire.up_end && !wire.dead);
        if open && !self.cut_of(id).is_some_and(Cut::stops_up) {
            self.heard(id, ToCoordinator::Beat)?;
        }
        Ok(())
    }

    fn heard(&mut self, id: WireId, message: ToCoordinator) -> Result<(), Broken> {
        let link = LinkId(id);
        let event = consort_session::Event::Heard { link, message };
        let Some((station, ..)) = self.wires.get(id).and_then(|wire| wire.station) else {
            self.tally.strange_words += 1;
            return self.coordinator_unmoved(event);
        };
        self.players[station].last_heard = Some(self.now);
        self.coordinator(event)
    }

    // --- to a station ---

    pub(super) fn say_down(&mut self, id: WireId, message: ToStation) {
        let delay = self.delay();
        let fleeting = matches!(message, ToStation::Beat { .. });
        let lost = fleeting && self.faulty && self.chance.is(20);
        let now = self.now;
        let Some(wire) = self.wires.get_mut(id).filter(|wire| wire.up_end && !wire.dead) else {
            return;
        };
        if let ToStation::Beat { epoch, revision } = message {
            if !lost {
                let wire = id;
                self.after(delay, Due::BeatDown { wire, epoch, revision });
            }
            return;
        }
        let arrival = wire.down.back().map_or(now, |(last, _)| *last).max(now + delay);
        wire.down.push_back((arrival, message));
        self.after(arrival.since(now), Due::Down(id));
    }

    pub(super) fn arrive_down(&mut self, id: WireId) -> Result<(), Broken> {
        let cut = self.cut_of(id).is_some_and(Cut::stops_down);
        loop {
            let now = self.now;
            let Some(wire) = self.wires.get_mut(id).filter(|wire| wire.down_end) else {
                return Ok(());
            };
            if wire.down.front().is_none_or(|(at, _)| *at > now) {
                return Ok(());
            }
            if cut {
                self.after(AGAIN, Due::Down(id));
                return Ok(());
            }
            if let Some((_, message)) = wire.down.pop_front() {
                self.told(id, message)?;
            }
        }
    }

    pub(super) fn beat_down(&mut self, id: WireId, beat: ToStation) -> Result<(), Broken> {
        let open = self.wires.get(id).is_some_and(|wire| wire.down_end && !wire.dead);
        if open && !self.cut_of(id).is_some_and(Cut::stops_down) {
            self.told(id, beat)?;
        }
        Ok(())
    }

    fn told(&mut self, id: WireId, message: ToStation) -> Result<(), Broken> {
        let Some((station, _, attempt)) = self.wires.get(id).and_then(|wire| wire.station) else {
            return match message {
                ToStation::Refused(_) => Ok(()),
                told => Err(self.broken(format!("a stranger was told {told:?}"))),
            };
        };
        self.arrived(station);
        if let ToStation::Acked(acked) | ToStation::Welcome { acked, .. } = message {
            self.note_acked(station, acked)?;
        }
        self.station(station, consort_link::Event::Heard { attempt, message })
    }

    /// How many words are on their way to stations.
    pub(super) fn on_the_way(&self) -> usize {
        let wires = self.wires.iter();
        wires
            .filter(|wire| wire.station.is_some())
            .map(|wire| wire.down.len())
            .sum()
    }

    /// The station is welcomed on this wire; `false` when it already is on another one.
    pub(super) fn welcome_on(&mut self, id: WireId) -> bool {
        let of = |wire: &Wire| wire.station.map(|(station, ..)| station);
        let station = self.wires.get(id).and_then(of);
        let another = self
            .wires
            .iter()
            .any(|wire| wire.id != id && of(wire) == station && wire.welcomed && wire.up_end);
        if let Some(wire) = self.wires.get_mut(id) {
            wire.welcomed = true;
        }
        !another
    }

    pub(super) fn peer_of(&self, id: WireId) -> Fingerprint {
        let station = self.wires.get(id).and_then(|wire| wire.station);
        station.map_or(STRANGER, |(station, ..)| self.players[station].key)
    }

    /// Which station has this key.
    pub(super) fn player_of(&self, peer: Fingerprint) -> Option<usize> {
        self.players.iter().position(|player| player.key == peer)
    }

    fn cut_of(&self, id: WireId) -> Option<Cut> {
        let (station, ..) = self.wires.get(id)?.station?;
        self.players[station].cut
    }

    fn delay(&mut self) -> Duration {
        let slow = self.faulty && self.chance.is(10);
        self.chance.ms(2, if slow { 2000 } else { 30 })
    }
}
