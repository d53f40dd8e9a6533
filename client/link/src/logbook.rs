//! The link as it stands in a logbook: what it is started with, and everything that can happen to it.

use consort_logbook::{Core, choices, fields, wrapped};
use consort_proto::Uptime;

use crate::effect::Effect;
use crate::event::{Attempt, AttemptFailure, Event};
use crate::link::{Config, Known, Link};
use crate::sighting::Stranger;

impl Core for Link {
    const PROGRAM: &'static str = "station";
    type Start = Config;
    type Event = Event;
    type Effect = Effect;

    fn start(now: Uptime, config: Config) -> Self {
        Self::new(now, config)
    }

    fn handle(&mut self, now: Uptime, event: Event) {
        self.handle(now, event);
    }

    fn poll_effect(&mut self) -> Option<Effect> {
        self.poll_effect()
    }
}

wrapped!(Attempt);

fields! {
    Config { name, harp, process, known, journal, next, agreement, tenure, stories, own, seed }
    Known { coordinator, address }
    Stranger { tag, name }
}

choices! {
    Event {
        "join link" JoinLink(link),
        "join code" JoinCode(code),
        "address" Address(address),
        "ask in" AskIn(tag),
        "take over" TakeOver { seat },
        "give up" GiveUp { yes },
        "help" Help(wanted),
        "propose" Propose(proposal),
        "renewed" Renewed,
        "sighted" Sighted { who, addresses },
        "connected" Connected { attempt, peer, address, binding },
        "attempt failed" AttemptFailed { attempt, why },
        "link closed" LinkClosed { attempt },
        "heard" Heard { attempt, message },
        "proof" Proof { attempt, right },
        "pinned" Pinned { coordinator, address },
        "observed" Observed(content),
        "plucked" Plucked { reading, since },
        "network changed" NetworkChanged,
        "woke" Woke,
        "journalled" Journalled(sequence),
        "tick" Tick,
    }
    AttemptFailure { "no answer" NoAnswer, "other key" OtherKey, "other version" OtherVersion }
}
