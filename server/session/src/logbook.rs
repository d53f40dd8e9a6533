//! The session as it stands in a logbook: what it is opened with, and everything that can happen to it.

use consort_logbook::{Core, choices, fields, wrapped};
use consort_proto::Uptime;

use crate::door::DoorConfig;
use crate::effect::Effect;
use crate::event::{Command, Event, LinkId};
use crate::record::{Past, Ruled, Saved, SavedStation, Ticket};
use crate::session::{Config, Session};

/// What a session is opened with.
#[derive(Clone, Debug)]
pub struct Opening {
    /// Its limits.
    pub config: Config,
    /// What was written down before.
    pub saved: Saved,
}

impl Core for Session {
    const PROGRAM: &'static str = "coordinator";
    type Start = Opening;
    type Event = Event;
    type Effect = Effect;

    fn start(now: Uptime, Opening { config, saved }: Opening) -> Self {
        Self::open(now, config, saved)
    }

    fn handle(&mut self, now: Uptime, event: Event) {
        self.handle(now, event);
    }

    fn poll_effect(&mut self) -> Option<Effect> {
        self.poll_effect()
    }
}

wrapped!(LinkId, Ticket);

fields! {
    Opening { config, saved }
    Config { stations_max, beat_every, beat_every_crowded, stations_at_ease, joining, door }
    DoorConfig { open_for, wrong_per_code, rest, codes, wrong_per_peer, counted_for, tries, try_for }
    Saved { agreement, start_in, past, epoch, token, pinned, deputies, stations, ruled }
    Ruled { next_pitch, silenced, board }
    Past { revision, tuning, tolerance, start_in }
    SavedStation { peer, tenure, name, harp, acked, removed, stories, place }
}

choices! {
    Event {
        "link opened" LinkOpened { link, peer, from, binding },
        "heard" Heard { link, message },
        "code" Code(code),
        "proof" Proof { link, right },
        "link closed" LinkClosed { link },
        "persisted" Persisted(ticket),
        "not persisted" NotPersisted(ticket),
        "watching" Watching { peer, looks },
        "woke" Woke,
        "command" Command(command),
        "tick" Tick,
    }
    Command {
        "pitch" Pitch(a4),
        "next pitch" NextPitch(a4),
        "temperament" Temperament(temperament),
        "setting" Setting(setting),
        "tolerance" Tolerance(tolerance),
        "start" Start(wait),
        "round" NewRound,
        "undo" Undo,
        "joining" Joining(open),
        "remove" Remove(peer),
        "let back" LetBack(peer),
        "admit" Admit(peer),
        "decline" Decline(peer),
        "give up" GiveUp { seat, yes },
        "call" Call(note),
        "deputy" Deputy { peer, granted },
        "drop proposal" DropProposal,
        "order" Order(peers),
        "renew board" RenewBoard,
        "tones" Tones { allowed },
        "propose" Propose(proposal),
    }
}
