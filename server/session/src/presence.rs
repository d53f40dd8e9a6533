//! Heartbeats to the stations, so that each knows that the coordinator lives and which revision is the newest.

use consort_proto::{ToStation, Uptime};

use crate::session::Session;

impl Session {
    /// Sends a heartbeat to everyone when it is time, and sets the time of the next one.
    pub(crate) fn beat(&mut self, now: Uptime) {
        let joined: Vec<_> = self.joined().map(|(link, _)| link).collect();
        if joined.is_empty() {
            self.beat_at = None;
            return;
        }
        if self.beat_at.is_some_and(|at| at > now) {
            return;
        }
        self.beat_at = Some(now + self.config.beat_every);
        let (epoch, revision) = (self.epoch, self.agreement.revision);
        for link in joined {
            self.send(link, ToStation::Beat { epoch, revision });
        }
    }
}
