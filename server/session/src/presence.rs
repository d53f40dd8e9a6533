//! Heartbeats to the stations, so that each knows that the coordinator lives and which revision is the newest.

use std::time::Duration;

use consort_proto::{ToStation, Uptime};

use crate::UNSURE_AFTER;
use crate::event::LinkId;
use crate::session::{Link, LinkState, Session};

/// What was said to a station while nothing was heard of it has arrived within this time, or will be said on its next link.
const MAY_HAVE_MISSED_FOR: Duration = Duration::from_secs(3);

impl Session {
    /// Sends a heartbeat to everyone when it is time, to those who may have missed something more often, and sets the time
    /// of the next one.
    pub(crate) fn beat(&mut self, now: Uptime) {
        let is_due = |at: Option<Uptime>| at.is_none_or(|at| at <= now);
        let to_all = is_due(self.beat_at);
        if !to_all && (self.hurried_beat_at.is_none() || !is_due(self.hurried_beat_at)) {
            return;
        }
        let joined = self.links.iter().filter(|(_, link)| link.state == LinkState::Joined);
        let joined: Vec<(LinkId, bool)> = joined.map(|(&id, link)| (id, link.may_have_missed(now))).collect();
        let pause = self.beat_every();
        if to_all {
            self.beat_at = (!joined.is_empty()).then_some(now + pause);
        }
        let any_missed = joined.iter().any(|&(_, missed)| missed);
        self.hurried_beat_at = any_missed.then_some(now + pause * 2 / 5);
        for (link, missed) in joined {
            if to_all || missed {
                self.send_beat(link);
            }
        }
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

impl Link {
    /// The station was heard, after so long a silence.
    pub(crate) fn heard(&mut self, now: Uptime) -> Duration {
        let quiet = now.since(std::mem::replace(&mut self.heard_at, now));
        if quiet >= UNSURE_AFTER {
            self.missed_until = now + MAY_HAVE_MISSED_FOR;
        }
        quiet
    }

    /// Whether what was said of late may not have arrived: what is lost is found out by what comes after it.
    fn may_have_missed(&self, now: Uptime) -> bool {
        now < self.missed_until || now.since(self.heard_at) >= UNSURE_AFTER
    }
}
