//! The session itself: what it knows, and which part of it answers which event.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::net::IpAddr;
use std::time::Duration;

use consort_proto::agreement::SEATS_MAX;
use consort_proto::message::{Proposal, Refusal};
use consort_proto::{Agreement, Binding, Fingerprint, JoinToken, Name, ToCoordinator, ToStation, Uptime};

use crate::call::{self, Called, Plucked};
use crate::copies::Copies;
use crate::decisions::{Decided, Past};
use crate::door::{Door, DoorConfig};
use crate::effect::Effect;
use crate::event::{Event, LinkId};
use crate::knocking::Knock;
use crate::neighbour::Neighbours;
use crate::pace::Pace;
use crate::record::{Record, Ruled, Ruling, Saved, Ticket};
use crate::room::{self, RoomMove};
use crate::roster::Roster;
use crate::takeover::Wanted;
use crate::view::{DoorView, Newcomer, StationView, View};

/// How many, how often, and whether strangers may knock.
#[derive(Clone, Debug)]
pub struct Config {
    /// The most stations that are ever let in: as many as an agreement names. The largest ensembles on record that rehearse
    /// together have fewer.
    pub stations_max: usize,
    /// The pause between two heartbeats, of stations and to them.
    pub beat_every: Duration,
    /// The same once more than [`stations_at_ease`](Self::stations_at_ease) seats are taken: the air is shared by all.
    pub beat_every_crowded: Duration,
    /// Seats up to which hearts beat at the shorter pause.
    pub stations_at_ease: usize,
    /// Whether stations that are not known yet may join from the start.
    pub joining: bool,
    /// How long a joining code is shown, and how many wrong ones it stands.
    pub door: DoorConfig,
}

impl Default for Config {
    fn default() -> Self {
        Self {
            stations_max: SEATS_MAX,
            beat_every: Duration::from_millis(250),
            beat_every_crowded: Duration::from_millis(500),
            stations_at_ease: 60,
            joining: true,
            door: DoorConfig::default(),
        }
    }
}

/// The coordinator's mind.
///
/// Call [`handle`](Self::handle) for everything that happens, drain [`poll_effect`](Self::poll_effect) after each call,
/// and hand in [`Event::Tick`] when [`poll_timeout`](Self::poll_timeout) has come.
#[derive(Debug)]
pub struct Session {
    pub(crate) config: Config,
    /// What rests on the disk and was sent to everyone.
    pub(crate) agreement: Agreement,
    pub(crate) start: Option<Uptime>,
    /// Whether it was shown that the start has passed.
    pub(crate) shown_playing: bool,
    /// When the string was called that is.
    pub(crate) called_at: Uptime,
    /// Who hears whom.
    pub(crate) neighbours: Neighbours,
    pub(crate) past: Vec<Past>,
    pub(crate) epoch: u32,
    pub(crate) token: JoinToken,
    pub(crate) joining: bool,
    pub(crate) door: Door,
    /// Keys that are let in without a token.
    pub(crate) pinned: BTreeSet<Fingerprint>,
    pub(crate) newcomer: Option<Newcomer>,
    /// Keys that may change the agreement as deputies.
    pub(crate) deputies: BTreeSet<Fingerprint>,
    /// How many links each key looks at the board over.
    pub(crate) watching: BTreeMap<Fingerprint, usize>,
    /// Who waits for the leader to be let in without a code, and to whom the leader said no.
    pub(crate) knocks: Vec<Knock>,
    pub(crate) declined: BTreeSet<Fingerprint>,
    /// Who wants which seat.
    pub(crate) wanted: BTreeMap<u32, Wanted>,
    /// Which programs showed each key of late.
    pub(crate) copies: BTreeMap<Fingerprint, Copies>,
    /// Nothing of them is stale before then.
    pub(crate) copies_stale_at: Option<Uptime>,
    /// A measured pitch, and whose harpist did; without one, this laptop.
    pub(crate) proposal: Option<(Option<Name>, Proposal)>,
    /// What the leader ruled beside the agreement, as it rests on the disk.
    pub(crate) ruled: Ruled,
    pub(crate) roster: Roster,
    pub(crate) links: BTreeMap<LinkId, Link>,
    /// What waits for the disk, and the ticket that it waits for, in their order.
    pub(crate) waiting: VecDeque<(Ticket, Waiting)>,
    pub(crate) last_ticket: Ticket,
    /// Everything up to here that the disk did not take has been dealt with.
    pub(crate) refused_up_to: Ticket,
    pub(crate) disk_trouble: bool,
    /// Records that the disk did not take, to be tried again.
    pub(crate) again: Vec<(Record, Waiting)>,
    pub(crate) again_at: Option<Uptime>,
    pub(crate) beat_at: Option<Uptime>,
    /// When those who may have missed something are sent one beside that.
    pub(crate) hurried_beat_at: Option<Uptime>,
    pub(crate) effects: VecDeque<Effect>,
}

/// One link and how far its station has come.
#[derive(Debug)]
pub(crate) struct Link {
    pub(crate) peer: Fingerprint,
    pub(crate) from: IpAddr,
    pub(crate) binding: Binding,
    pub(crate) state: LinkState,
    /// The newest of the messages that the station knows.
    pub(crate) newest: u16,
    pub(crate) pace: Pace,
    pub(crate) heard_at: Uptime,
    /// Until when it may have missed something, since nothing was heard of it for a while.
    pub(crate) missed_until: Uptime,
}

/// How far a link's station has come.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum LinkState {
    /// It has not introduced itself.
    Open,
    /// It wants to prove the code, and was answered.
    Pairing,
    /// Its proof is being looked at.
    Checking,
    /// Its proof was right; it is told so as soon as the disk has its key.
    Proven,
    /// It is let in as soon as the disk has it.
    Admitted,
    /// It was welcomed.
    Joined,
}

/// What happens once a record cannot be lost any more.
#[derive(Clone, Debug)]
pub(crate) enum Waiting {
    /// The agreement comes into force.
    Decided(Box<Decided>),
    /// The station on this link is welcomed.
    Welcome { link: LinkId, record: Record },
    /// The station on this link is told that its key is kept.
    Pinned { link: Option<LinkId>, record: Record },
    /// The reports count and are acknowledged.
    Reports { record: Record, heard_at: Uptime },
    /// The station is turned away or let back in.
    Removed { peer: Fingerprint, removed: bool },
    /// The seat changes hands.
    TakenOver { from: Fingerprint, to: Fingerprint },
    /// The station may change the agreement, or may not any more.
    Deputy { peer: Fingerprint, granted: bool },
    /// The ruling holds.
    Ruling(Ruling),
}

/// A disk that took no record is tried again after this time.
const AGAIN_AFTER: Duration = Duration::from_secs(2);
/// Nothing is due.
const NEVER: Uptime = Uptime(Duration::MAX);

impl Session {
    /// Opens what was saved, once more, at `now`.
    pub fn open(now: Uptime, config: Config, saved: Saved) -> Self {
        let mut session = Self {
            joining: config.joining,
            door: Door::closed(config.door),
            pinned: saved.pinned.into_iter().collect(),
            newcomer: None,
            deputies: saved.deputies.into_iter().collect(),
            watching: BTreeMap::new(),
            knocks: Vec::new(),
            declined: BTreeSet::new(),
            wanted: BTreeMap::new(),
            copies: BTreeMap::new(),
            copies_stale_at: None,
            proposal: None,
            ruled: saved.ruled,
            config,
            agreement: saved.agreement,
            start: saved.start_in.map(|left| now + left),
            shown_playing: false,
            called_at: now,
            neighbours: Neighbours::default(),
            past: saved.past.into_iter().map(|past| Past::restore(now, past)).collect(),
            epoch: saved.epoch,
            token: saved.token,
            roster: Roster::restore(saved.stations),
            links: BTreeMap::new(),
            waiting: VecDeque::new(),
            last_ticket: Ticket(0),
            refused_up_to: Ticket(0),
            disk_trouble: false,
            again: Vec::new(),
            again_at: None,
            beat_at: None,
            hurried_beat_at: None,
            effects: VecDeque::new(),
        };
        if session.joining {
            session.set_joining(now, true);
        }
        session
    }

    /// Takes in what happened at `now`.
    pub fn handle(&mut self, now: Uptime, event: Event) {
        match event {
            Event::LinkOpened {
                link,
                peer,
                from,
                binding,
            } => {
                self.links.insert(
                    link,
                    Link {
                        peer,
                        from,
                        binding,
                        state: LinkState::Open,
                        newest: 0,
                        pace: Pace::starting_at(now),
                        heard_at: now,
                        missed_until: now,
                    },
                );
            }
            Event::Heard { link, message } => self.hear(now, link, message),
            Event::Code(code) => {
                self.door.drawn(code);
                self.draw_code();
                self.redraw();
            }
            Event::Proof { link, right } => self.proof_checked(now, link, right),
            Event::LinkClosed { link } => self.link_closed(now, link),
            Event::Persisted(ticket) => self.persisted(now, ticket),
            Event::NotPersisted(ticket) => self.not_persisted(now, ticket),
            Event::Watching { peer, looks } => self.note_watching(peer, looks),
            Event::Woke => {
                self.roster.excuse(now);
                self.redraw();
            }
            Event::Command(command) => self.decide(now, command),
            Event::Tick => {}
        }
        self.keep_time(now);
    }

    /// The next thing to be done; drain it after every [`handle`](Self::handle).
    pub fn poll_effect(&mut self) -> Option<Effect> {
        self.effects.pop_front()
    }

    /// When to hand in [`Event::Tick`], if nothing happens before.
    pub fn poll_timeout(&self) -> Option<Uptime> {
        let mut next = NEVER;
        for at in [
            self.beat_at,
            self.hurried_beat_at,
            self.again_at,
            self.roster.next_change(),
            self.door.next_change(),
            self.next_knock_end(),
            self.next_wanted_end(),
            self.next_thaw(),
            self.start.filter(|_| !self.shown_playing),
        ] {
            next = next.min(at.unwrap_or(NEVER));
        }
        (next < NEVER).then_some(next)
    }

    /// What lets new stations in.
    pub const fn token(&self) -> JoinToken {
        self.token
    }

    /// What everyone may see at `now`.
    pub fn view(&self, now: Uptime) -> View {
        let place_of = |peer| self.roster.get(peer).map(|station| station.place);
        let mut placed: Vec<_> = self.roster.iter().collect();
        placed.sort_by_key(|(_, station)| station.place);
        let stations = placed.into_iter().map(|(peer, station)| {
            let readiness = station.strings.readiness(&self.agreement);
            StationView {
                peer,
                seat: station.tenure.seat,
                place: station.place,
                name: station.name.clone(),
                harp: station.strings.harp().clone(),
                confirmed_ago: station.traces.confirmed_ago(now, &readiness),
                to_confirm: station.traces.to_confirm(now, &readiness),
                overhears: self.neighbours.suspect(peer).and_then(place_of),
                outlook: station.course.outlook(now, station.strings.harp(), &readiness),
                readiness,
                presence: station.presence(now),
                removed: station.removed,
                help: station.help,
                copied: self.copies.get(&peer).is_some_and(Copies::is_frozen),
                deputy: self.deputies.contains(&peer),
                wanted_by: self.wanted.get(&station.tenure.seat).map(|wanted| wanted.by.clone()),
            }
        });
        let stations: Vec<StationView> = stations.collect();
        View {
            agreement: self.agreement.clone(),
            epoch: self.epoch,
            start_in: self.start.map(|start| start.since(now)),
            playing: self.start.is_some_and(|start| start <= now),
            called: self.called(now, &stations),
            room: self.room(now),
            joining: self.joining,
            code: self.door.view(now),
            newcomer: self.newcomer.clone(),
            knocking: self.knocks.iter().map(|knock| knock.who.clone()).collect(),
            watching: self.watching.keys().map(|&peer| (peer, self.is_deputy(peer))).collect(),
            proposal: self.proposal.clone(),
            next_pitch: self.ruled.next_pitch,
            board: self.ruled.board,
            silenced: self.ruled.silenced,
            can_undo: !self.past.is_empty(),
            disk_trouble: self.disk_trouble,
            stations,
        }
    }

    /// What the leader can change that is not written down, as it is at `now`.
    pub fn door(&self, now: Uptime) -> DoorView {
        DoorView {
            joining: self.joining,
            code: self.door.view(now),
            knocking: self.knocks.iter().map(|knock| knock.who.clone()).collect(),
            proposal: self.proposal.clone(),
            wanted: self
                .wanted
                .iter()
                .map(|(&seat, wanted)| (seat, wanted.by.clone()))
                .collect(),
        }
    }

    /// The string that is called, on each harp.
    fn called(&self, now: Uptime, stations: &[StationView]) -> Option<Called> {
        let note = self.agreement.called?;
        let ago = |station: &StationView| self.roster.get(station.peer).map(|own| own.traces.ago(now));
        let here = stations
            .iter()
            .filter(|station| !station.removed && station.presence.counts());
        let here: Vec<_> = here
            .map(|station| (station, ago(station).unwrap_or_default()))
            .collect();
        let plucked = here.iter().map(|(station, ago)| Plucked {
            seat: station.place,
            harp: &station.harp,
            readiness: &station.readiness,
            ago,
        });
        Some(call::side_by_side(note, now.since(self.called_at), plucked))
    }

    /// What the room did to everyone's strings.
    fn room(&self, now: Uptime) -> Vec<RoomMove> {
        let stations = self.roster.iter().filter(|(_, station)| !station.removed);
        let movements = stations.flat_map(|(_, station)| {
            station
                .traces
                .movements(now, station.tenure.seat, station.strings.harp())
        });
        room::watch(&movements.collect::<Vec<_>>())
    }

    fn hear(&mut self, now: Uptime, id: LinkId, message: ToCoordinator) {
        let Some(link) = self.links.get_mut(&id) else { return };
        let quiet = link.heard(now);
        let (peer, state) = (link.peer, link.state);
        if state == LinkState::Joined {
            self.roster.heard(peer, now);
            if quiet >= crate::UNSURE_AFTER {
                // What was lost meanwhile is found out by what arrives now: the sooner, the sooner it is said again.
                self.send_beat(id);
            }
        }
        match (state, message) {
            (LinkState::Open, ToCoordinator::Hello(hello)) => self.admit(now, id, peer, hello),
            (LinkState::Open, ToCoordinator::Knock(name)) => self.knock(now, id, peer, name),
            (LinkState::Open, ToCoordinator::PairStart(share)) => self.pair(now, id, peer, share),
            (LinkState::Pairing, ToCoordinator::PairConfirm { name, proof }) => self.confirm(id, name, proof),
            (LinkState::Joined, ToCoordinator::Reports(reports)) => self.take_reports(now, id, peer, reports),
            (LinkState::Joined, ToCoordinator::Leave) => {
                // A heartbeat that was overtaken by the goodbye must not bring the station back.
                self.links.remove(&id);
                self.roster.leave(peer);
                self.redraw();
            }
            (LinkState::Joined, ToCoordinator::TakeOver { seat }) => self.want_seat(now, id, peer, seat),
            (LinkState::Joined, ToCoordinator::GiveUp { seat, yes }) => self.give_up_seat(peer, seat, yes),
            (LinkState::Joined, ToCoordinator::Help(wanted)) => {
                if self.roster.set_help(peer, wanted) {
                    self.redraw();
                }
            }
            (LinkState::Joined, ToCoordinator::Propose(proposal)) => {
                self.proposal = self
                    .roster
                    .get(peer)
                    .map(|station| (Some(station.name.clone()), proposal));
                self.redraw();
            }
            // A heartbeat may overtake a hello; reports may have been sent just before an old link was given up.
            (_, ToCoordinator::Beat | ToCoordinator::Leave) | (LinkState::Admitted, ToCoordinator::Reports(_)) => {}
            (
                LinkState::Open | LinkState::Pairing | LinkState::Checking | LinkState::Proven,
                ToCoordinator::Reports(_),
            )
            | (
                LinkState::Open | LinkState::Pairing | LinkState::Checking | LinkState::Proven | LinkState::Admitted,
                ToCoordinator::TakeOver { .. }
                | ToCoordinator::GiveUp { .. }
                | ToCoordinator::Help(_)
                | ToCoordinator::Propose(_),
            )
            | (
                LinkState::Pairing | LinkState::Checking | LinkState::Proven | LinkState::Admitted | LinkState::Joined,
                ToCoordinator::Hello(_) | ToCoordinator::PairStart(_) | ToCoordinator::Knock(_),
            )
            | (
                LinkState::Open | LinkState::Checking | LinkState::Proven | LinkState::Admitted | LinkState::Joined,
                ToCoordinator::PairConfirm { .. },
            ) => {
                self.give_up_try(now, id);
                self.close(id, Refusal::Misspoke);
            }
        }
    }

    fn link_closed(&mut self, now: Uptime, id: LinkId) {
        self.give_up_try(now, id);
        if self
            .links
            .remove(&id)
            .is_some_and(|link| link.state == LinkState::Joined)
        {
            self.roster.note_presence(now);
            self.redraw();
        }
    }

    fn persisted(&mut self, now: Uptime, ticket: Ticket) {
        if std::mem::take(&mut self.disk_trouble) {
            self.redraw();
        }
        while let Some((_, done)) = self.waiting.pop_front_if(|(oldest, _)| *oldest <= ticket) {
            match done {
                Waiting::Decided(decided) => self.put_in_force(now, *decided),
                Waiting::Welcome { link, record } => self.welcome(now, link, record),
                Waiting::Pinned { link, record } => self.pinned(link, &record),
                Waiting::Reports { record, heard_at } => self.count(heard_at, record),
                Waiting::Removed { peer, removed } => self.put_removal_in_force(now, peer, removed),
                Waiting::TakenOver { from, to } => self.put_take_over_in_force(now, from, to),
                Waiting::Deputy { peer, granted } => self.put_deputy_in_force(peer, granted),
                Waiting::Ruling(ruling) => self.put_ruling_in_force(&ruling),
            }
            self.redraw();
        }
    }

    fn not_persisted(&mut self, now: Uptime, ticket: Ticket) {
        if ticket <= self.refused_up_to {
            // The first refusal spoke for this one, too; what was handed over since then stands on its own.
            return;
        }
        self.refused_up_to = self.last_ticket;
        let first = self.waiting.partition_point(|(waits, _)| *waits < ticket);
        for (_, lost) in self.waiting.split_off(first) {
            match &lost {
                // The leader was told, and decides again.
                Waiting::Decided(_)
                | Waiting::Removed { .. }
                | Waiting::TakenOver { .. }
                | Waiting::Deputy { .. }
                | Waiting::Ruling(_) => {}
                Waiting::Welcome { record, .. } | Waiting::Pinned { record, .. } | Waiting::Reports { record, .. } => {
                    self.again.push((record.clone(), lost));
                }
            }
        }
        self.disk_trouble = true;
        self.again_at.get_or_insert(now + AGAIN_AFTER);
        self.redraw();
    }

    /// Everything that is due at `now`.
    fn keep_time(&mut self, now: Uptime) {
        if self.again_at.is_some_and(|at| at <= now) {
            self.again_at = None;
            for (record, waiting) in std::mem::take(&mut self.again) {
                self.write(record, waiting);
            }
        }
        self.keep_door(now);
        self.keep_knocks(now);
        self.keep_wanted(now);
        self.keep_copies(now);
        self.beat(now);
        let playing = self.start.is_some_and(|start| start <= now);
        if self.roster.note_presence(now) | (std::mem::replace(&mut self.shown_playing, playing) != playing) {
            self.redraw();
        }
    }

    /// Writes `record` down; `waiting` happens once it cannot be lost any more.
    pub(crate) fn persist(&mut self, record: Record, waiting: Waiting) {
        let queues = match waiting {
            Waiting::Welcome { .. } | Waiting::Pinned { .. } | Waiting::Reports { .. } => !self.again.is_empty(),
            // The leader waits for the outcome and decides again.
            Waiting::Decided(_)
            | Waiting::Removed { .. }
            | Waiting::TakenOver { .. }
            | Waiting::Deputy { .. }
            | Waiting::Ruling(_) => false,
        };
        if queues {
            // Behind what the disk did not take yet: an acknowledgement speaks for every earlier report, too.
            self.again.push((record, waiting));
        } else {
            self.write(record, waiting);
        }
    }

    fn write(&mut self, record: Record, waiting: Waiting) {
        self.last_ticket.0 += 1;
        self.waiting.push_back((self.last_ticket, waiting));
        self.effects.push_back(Effect::Persist {
            ticket: self.last_ticket,
            record,
        });
    }

    pub(crate) fn send(&mut self, link: LinkId, message: ToStation) {
        self.effects.push_back(Effect::Send { link, message });
    }

    /// Says why, and ends the link.
    pub(crate) fn close(&mut self, id: LinkId, why: Refusal) {
        self.links.remove(&id);
        self.effects.push_back(Effect::Close { link: id, why });
    }

    /// The links of stations that were welcomed.
    pub(crate) fn joined(&self) -> impl Iterator<Item = (LinkId, Fingerprint)> {
        self.links
            .iter()
            .filter(|(_, link)| link.state == LinkState::Joined)
            .map(|(&id, link)| (id, link.peer))
    }

    /// Has the image drawn anew, once however often it is asked.
    pub(crate) fn redraw(&mut self) {
        if !self.effects.contains(&Effect::Redraw) {
            self.effects.push_back(Effect::Redraw);
        }
    }
}
