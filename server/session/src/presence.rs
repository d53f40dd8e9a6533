//! Heartbeats to the stations, so that each knows that the coordinator lives and which revision is the newest.

use std::time::Duration;

use consort_proto::{ToStation, Uptime};

use crate::event::LinkId;
use crate::session::Session;

impl Session {
    /// Sends a heartbeat to everyone when it is time, and sets the time of the next one.
    pub(crate) fn beat(&mut self, now: Uptime) {
        if self.beat_at.is_some_and(|at| at > now) {
            return;
        }
        let joined: Vec<_> = self.joined().map(|(link, _)| link).collect();
        if joined.is_empty() {
            self.beat_at = None;
            return;
        }
        self.beat_at = Some(now + self.beat_every());
        joined.into_iter().for_each(|link| self.send_beat(link));
    }

    /// Says that this coordinator lives, and which revision is the newest.
    pub(crate) fn send_beat(&mut self, link: LinkId) {
        let (epoch, revision) = (self.epoch, self.agreement.revision);
        self.send(link, ToStation::Beat { epoch, revision });
    }

    /// The pause between two heartbeats; every change of the seats sends it to everyone.
    pub(crate) fn beat_every(&self) -> Duration {
        if self.roster.taken() <= self.config.stations_at_ease {
            self.config.beat_every
        } else {
            self.config.beat_every_crowded
        }
    }
}
