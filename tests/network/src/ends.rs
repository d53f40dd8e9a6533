//! How links end: closed by one side, broken, or idle for too long; each end learns it in its own time.

use std::time::Duration;

use consort_proto::ToStation;
use consort_proto::message::Refusal;
use consort_session::LinkId;

use super::Broken;
use super::agenda::Due;
use super::hall::Hall;
use super::wires::{Wire, WireId};

/// The longest time until an end learns that its link is gone, in milliseconds.
const NOTICED_MS: u64 = 6000;

impl Hall {
    /// The coordinator says why, and closes its end.
    pub(super) fn dismiss(&mut self, id: WireId, why: Refusal) {
        self.say_down(id, ToStation::Refused(why));
        let Some(wire) = self.wires.get_mut(id) else { return };
        wire.up_end = false;
        let said = wire.down.back().map_or(self.now, |(last, _)| *last);
        self.after(said.since(self.now) + Duration::from_millis(10), Due::GoneDown(id));
    }

    /// The station closes its end; what it said may still arrive, or not.
    pub(super) fn hang_up(&mut self, id: WireId) {
        let abruptly = self.faulty && self.chance.is(50);
        let noticed = self.notice();
        let now = self.now;
        let Some(wire) = self.wires.get_mut(id) else { return };
        wire.down_end = false;
        wire.down.clear();
        if abruptly {
            wire.up.clear();
        }
        let said = wire.up.back().map_or(now, |(last, _)| *last);
        self.after(said.since(now) + noticed, Due::GoneUp(id));
    }

    /// Breaks the links that `which` picks: nothing passes any more, and each end learns it in its own time.
    pub(super) fn break_wires(&mut self, which: impl Fn(&Wire) -> bool) {
        let broken: Vec<WireId> = self
            .wires
            .iter_mut()
            .filter(|wire| !wire.dead && which(wire))
            .map(|wire| {
                wire.dead = true;
                wire.up.clear();
                wire.down.clear();
                wire.id
            })
            .collect();
        for id in broken {
            self.tally.breaks += 1;
            let (up, down) = (self.notice(), self.notice());
            self.after(up, Due::GoneUp(id));
            self.after(down, Due::GoneDown(id));
        }
    }

    /// The coordinator is no more: its ends are closed, and nobody is left to learn it.
    pub(super) fn close_up_ends(&mut self) {
        self.wires.iter_mut().for_each(|wire| wire.up_end = false);
    }

    /// This life of the station is over.
    pub(super) fn close_down_ends(&mut self, station: usize) {
        let ends = self.wires.iter_mut();
        ends.filter(|wire| wire.station.is_some_and(|(of, ..)| of == station))
            .for_each(|wire| wire.down_end = false);
    }

    pub(super) fn gone_up(&mut self, id: WireId) -> Result<(), Broken> {
        let Some(wire) = self.wires.get_mut(id) else {
            return Ok(());
        };
        let was_open = std::mem::replace(&mut wire.up_end, false);
        self.wires.sweep(id);
        if was_open {
            let event = consort_session::Event::LinkClosed { link: LinkId(id) };
            self.coordinator(event)?;
        }
        Ok(())
    }

    pub(super) fn gone_down(&mut self, id: WireId) -> Result<(), Broken> {
        let Some(wire) = self.wires.get_mut(id) else {
            return Ok(());
        };
        let was_open = std::mem::replace(&mut wire.down_end, false);
        let station = wire.station;
        self.wires.sweep(id);
        match station {
            Some((station, _, attempt)) if was_open => {
                self.station(station, consort_link::Event::LinkClosed { attempt })
            }
            Some(_) | None => Ok(()),
        }
    }

    /// Fifteen seconds without a packet end a link.
    pub(super) fn idle_out(&mut self, station: usize, cut: u64) {
        let player = &self.players[station];
        if player.cut.is_some() && player.cuts == cut {
            self.break_wires(|wire| wire.station.is_some_and(|(of, ..)| of == station));
        }
    }

    fn notice(&mut self) -> Duration {
        let most = if self.faulty { NOTICED_MS } else { 60 };
        self.chance.ms(1, most)
    }
}
