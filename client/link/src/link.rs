//! The link itself: what the station knows of its coordinator and of its own harp.

use std::collections::{BTreeMap, VecDeque};
use std::net::SocketAddr;
use std::time::Duration;

use consort_proto::message::{Content, NEWEST};
use consort_proto::{
    Agreement, Document, Fingerprint, Harp, Hello, JoinLink, JoinToken, Name, Readiness, Report, Revision, Round,
    Sequence, SessionId, StringNumber, StringStory, Tenure, ToCoordinator, Tolerance, Tuning, Uptime,
};

use crate::BEAT_EVERY;
use crate::calls::Calls;
use crate::dialling::Dialling;
use crate::effect::Effect;
use crate::event::{Attempt, Event};
use crate::journal::{Journal, NOBODYS};
use crate::pairing::Pairing;
use crate::random::Random;
use crate::seat::Seating;
use crate::sighting::Stranger;
use crate::view::{LinkState, LinkView};

/// What a link starts from.
#[derive(Clone, Debug)]
pub struct Config {
    /// The harpist.
    pub name: Name,
    /// The harp.
    pub harp: Harp,
    /// Random at each start of the program.
    pub process: u64,
    /// Coordinators that were joined before.
    pub known: Vec<Known>,
    /// Reports that an earlier run of the program left unacknowledged.
    pub journal: Vec<Report>,
    /// The number of the next report.
    pub next: Sequence,
    /// The agreement as last heard.
    pub agreement: Option<Agreement>,
    /// The seat that was held in its session.
    pub tenure: Tenure,
    /// What the strings did in that agreement's round, from the top; empty when nothing is remembered.
    pub stories: Vec<StringStory>,
    /// What the harp is tuned to while no agreement is known.
    pub own: (Tuning, Tolerance),
    /// Makes pauses differ between stations.
    pub seed: u64,
}

impl Config {
    /// What the link of a station starts from that has never been in a session; `process` and `seed` are 1.
    pub fn first(name: Name, harp: Harp) -> Self {
        Self {
            name,
            harp,
            process: 1,
            known: Vec::new(),
            journal: Vec::new(),
            next: Sequence(1),
            agreement: None,
            tenure: Tenure::default(),
            stories: Vec::new(),
            own: (Tuning::default(), Tolerance::default()),
            seed: 1,
        }
    }
}

/// A coordinator whose key is known.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Known {
    /// Its key.
    pub coordinator: Fingerprint,
    /// Where it was last reached.
    pub address: Option<SocketAddr>,
}

/// The station's side of a session.
///
/// Call [`handle`](Self::handle) for everything that happens, drain [`poll_effect`](Self::poll_effect) after each call,
/// and hand in [`Event::Tick`] when [`poll_timeout`](Self::poll_timeout) has come.
#[derive(Debug)]
pub struct Link {
    pub(crate) name: Name,
    pub(crate) harp: Harp,
    pub(crate) process: u64,
    pub(crate) own: (Tuning, Tolerance),
    pub(crate) agreement: Option<Agreement>,
    /// The session that the coordinator named when it welcomed this station.
    pub(crate) session: Option<SessionId>,
    pub(crate) start: Option<Uptime>,
    /// Whether the start has passed and no round was called since.
    pub(crate) playing: bool,
    pub(crate) stories: Vec<StringStory>,
    pub(crate) journal: Journal,
    pub(crate) known: BTreeMap<Fingerprint, Option<SocketAddr>>,
    /// The key and token of a pasted join link, until it has led to a welcome.
    pub(crate) invitation: Option<(Fingerprint, JoinToken)>,
    /// Coordinators that are near and not known, and until when each is shown.
    pub(crate) strangers: Vec<(Stranger, Uptime)>,
    pub(crate) seating: Seating,
    /// Whether the harpist wants help.
    pub(crate) help: bool,
    /// The pause between two heartbeats.
    pub(crate) beat_every: Duration,
    /// The tag of the coordinator that said no, or that is asked.
    pub(crate) refused_by: Option<String>,
    pub(crate) pairing: Pairing,
    /// An address that was typed before anybody could be expected there.
    pub(crate) typed: Option<SocketAddr>,
    pub(crate) dialling: Dialling,
    pub(crate) random: Random,
    pub(crate) calls: Calls,
    pub(crate) joined: Option<Attempt>,
    pub(crate) last_heard: Uptime,
    /// Whether the leader has silenced the reference tones.
    pub(crate) silenced: bool,
    /// Whether no agreement was heard on this link yet.
    pub(crate) asks_anew: bool,
    pub(crate) offline_since: Option<Uptime>,
    /// Whether nothing was heard for so long that the coordinator is called anew, just in case.
    pub(crate) in_doubt: bool,
    pub(crate) trouble: Option<LinkState>,
    /// Where somebody else answered, while that is the trouble.
    pub(crate) strange_place: Option<SocketAddr>,
    /// When the trouble is over by itself.
    pub(crate) trouble_ends: Option<Uptime>,
    pub(crate) beat_at: Option<Uptime>,
    /// When somebody who was greeted was last given up.
    pub(crate) left_greeted_at: Option<Uptime>,
    /// Until when the coordinator may have missed something, since it was not heard for a while.
    pub(crate) missed_until: Uptime,
    /// Whether the coordinator has named a newer revision than is held here.
    pub(crate) behind: bool,
    pub(crate) effects: VecDeque<Effect>,
}

/// Nothing is due.
const NEVER: Uptime = Uptime(Duration::MAX);

impl Link {
    /// A link that has not called anyone yet.
    pub fn new(now: Uptime, config: Config) -> Self {
        let mut stories = config.stories;
        stories.resize_with(config.harp.len(), StringStory::default);
        let session = config.agreement.as_ref().map(|agreement| agreement.session);
        let seating = Seating {
            held: session.map(|session| (session, config.tenure)),
            ..Seating::default()
        };
        Self {
            name: config.name,
            harp: config.harp,
            process: config.process,
            own: config.own,
            agreement: config.agreement,
            session: None,
            start: None,
            playing: false,
            stories,
            journal: Journal::restore(config.journal, config.next, now),
            known: config
                .known
                .into_iter()
                .map(|known| (known.coordinator, known.address))
                .collect(),
            invitation: None,
            strangers: Vec::new(),
            seating,
            help: false,
            beat_every: BEAT_EVERY,
            refused_by: None,
            pairing: Pairing::default(),
            typed: None,
            dialling: Dialling::starting_at(now),
            random: Random(config.seed),
            calls: Calls::default(),
            joined: None,
            last_heard: now,
            silenced: false,
            asks_anew: true,
            offline_since: None,
            in_doubt: false,
            trouble: None,
            strange_place: None,
            trouble_ends: None,
            beat_at: None,
            left_greeted_at: None,
            missed_until: now,
            behind: false,
            effects: VecDeque::new(),
        }
    }

    /// Takes in what happened at `now`.
    pub fn handle(&mut self, now: Uptime, event: Event) {
        match event {
            Event::JoinLink(link) => self.invited(now, link),
            Event::JoinCode(code) => self.code_typed(now, code),
            Event::Address(address) => {
                let keys: Vec<Fingerprint> = self.keys().collect();
                if keys.is_empty() {
                    // Nobody can be expected there yet: a join link will say whom.
                    self.typed = Some(address);
                }
                self.pairing.at_address(now, address);
                self.dialling.learn(keys.into_iter().map(|key| (address, key)));
                self.dialling.hurry(now);
                self.redraw();
            }
            Event::AskIn(tag) => self.ask_in(now, tag),
            Event::TakeOver { seat } => self.want_seat(seat),
            Event::GiveUp { yes } => self.give_up_seat(yes),
            Event::Help(wanted) => self.want_help(wanted),
            Event::Propose(proposal) => {
                if let Some(attempt) = self.joined {
                    self.send(attempt, ToCoordinator::Propose(proposal));
                }
            }
            Event::Renewed => self.renewed(now),
            Event::Sighted { who, addresses } => self.sighted(now, who, &addresses),
            Event::Connected {
                attempt,
                peer,
                address,
                binding,
            } => self.connected(now, attempt, peer, address, binding),
            Event::AttemptFailed { attempt, why } => self.attempt_failed(now, attempt, why),
            Event::LinkClosed { attempt } => self.link_closed(now, attempt),
            Event::Heard { attempt, message } => self.hear(now, attempt, message),
            Event::Proof { attempt, right } => self.proof_checked(now, attempt, right),
            Event::Pinned { coordinator, address } => self.pinned(now, coordinator, address),
            Event::Observed(content) => self.observe(now, content, Duration::ZERO),
            Event::Plucked { reading, since } => self.observe(now, Content::Reading(reading), since),
            Event::NetworkChanged => {
                if !self.is_up() && !matches!(self.trouble, Some(LinkState::Refused(_))) {
                    self.dialling.hurry(now);
                }
            }
            Event::Woke => self.woke(now),
            Event::Journalled(sequence) => {
                let reports = self.journal.on_disk(now, sequence, self.session);
                if let Some(attempt) = self.joined.filter(|_| !reports.is_empty()) {
                    self.send(attempt, ToCoordinator::Reports(reports));
                }
            }
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
        let silent = self.joined.filter(|_| self.offline_since.is_none()).map(|_| {
            self.last_heard
                + if self.in_doubt {
                    crate::SILENT_AFTER
                } else {
                    crate::UNSURE_AFTER
                }
        });
        let asked = self.seating.asked.as_ref().map(|(_, until)| *until);
        let start = self.start.filter(|_| !self.playing);
        let mut next = NEVER;
        for at in [
            self.beat_at,
            silent,
            start,
            asked,
            self.trouble_ends,
            self.next_dial(),
            self.next_pairing(),
            self.next_asking(),
            self.next_stranger_end(),
        ] {
            next = next.min(at.unwrap_or(NEVER));
        }
        for (attempt, call) in self.calls.iter() {
            if Some(attempt) != self.joined {
                next = next.min(call.until);
            }
        }
        (next < NEVER).then_some(next)
    }

    /// What a desk may show at `now`.
    pub fn view(&self, now: Uptime) -> LinkView<'_> {
        let session = self.agreement.as_ref().map(|agreement| agreement.session);
        LinkView {
            typed_address: self.pairing.typed_address(),
            state: self.state(),
            agreement: self.agreement.as_ref(),
            start_in: self.start.map(|start| start.since(now)),
            playing: self.playing,
            unsent: session.map_or(0, |session| self.journal.count(session)),
            strangers: self.strangers.iter().map(|(stranger, _)| stranger).collect(),
            tenure: session
                .map(|session| self.seating.tenure_in(session))
                .unwrap_or_default(),
            seats: &self.seating.seats,
            places: &self.seating.places,
            wants_seat: self.seating.wanted,
            denied_seat: self.seating.denied,
            asked: self.seating.asked.as_ref().map(|(asked, _)| asked),
            help: self.help,
            refused_by: self.refused_by.as_deref(),
            silenced: self.silenced,
        }
    }

    /// What the harp is tuned to: the agreement, or the harpist's own choice while there is none.
    pub fn tuning(&self) -> &Tuning {
        self.agreement
            .as_ref()
            .map_or(&self.own.0, |agreement| &agreement.tuning)
    }

    /// How far off a string may be.
    pub fn tolerance(&self) -> &Tolerance {
        self.agreement
            .as_ref()
            .map_or(&self.own.1, |agreement| &agreement.tolerance)
    }

    /// Whether the start has passed and no round was called since: nothing is judged.
    pub const fn is_playing(&self) -> bool {
        self.playing
    }

    /// The harp.
    pub const fn harp(&self) -> &Harp {
        &self.harp
    }

    /// What each string did in this round, from the top.
    pub fn stories(&self) -> &[StringStory] {
        &self.stories
    }

    /// What each string is, judged here as it is judged everywhere.
    pub fn readiness(&self) -> Readiness {
        Readiness::judge(&self.harp, &self.stories, self.tuning(), self.tolerance())
    }

    /// How the link stands.
    pub fn state(&self) -> LinkState {
        if self.joined.is_some() && self.offline_since.is_none() {
            LinkState::Joined
        } else if let Some(trouble) = self.trouble {
            trouble
        } else if self.pairing.is_wanted() {
            if self.pairing.has_somebody() {
                LinkState::Reaching
            } else {
                LinkState::Searching
            }
        } else if let Some(since) = self.offline_since {
            LinkState::Offline(since)
        } else if self.keys().next().is_none() {
            LinkState::Alone
        } else if self.dialling.is_lost() {
            LinkState::Searching
        } else {
            LinkState::Reaching
        }
    }

    fn observe(&mut self, now: Uptime, content: Content, age: Duration) {
        let Some(story) = self.stories.get_mut(content.string().index()) else {
            return;
        };
        match content {
            // Music, not tuning: only what is heard inside a round counts.
            Content::Reading(_) if self.playing => return,
            Content::Reading(reading) => story.hear(reading),
            Content::Mark { mark, .. } => story.set_mark(mark),
        }
        self.report(now, content, age);
    }

    /// Numbers what the coordinator is to hear, and has it written down.
    fn report(&mut self, now: Uptime, content: Content, age: Duration) {
        let (session, round) = match &self.agreement {
            Some(agreement) => (agreement.session, agreement.round),
            // Kept on this station's disk, and told to nobody.
            None => (NOBODYS, Round::default()),
        };
        let tenure = self.seating.tenure_in(session);
        let report = self.journal.note(now, |sequence| Report {
            sequence,
            session,
            round,
            tenure,
            age,
            content,
        });
        self.effects.push_back(Effect::Journal(report));
        self.redraw();
    }

    /// Takes over an agreement of the session that welcomed this station, unless it is older than what is held.
    pub(crate) fn agree(&mut self, now: Uptime, mut document: Document) {
        if self.session != Some(document.agreement.session) {
            return;
        }
        self.note_document(&mut document);
        let Document {
            agreement, start_in, ..
        } = document;
        let held = self.agreement.as_ref();
        let (same_session, held_revision, held_round) = held.map_or((false, Revision(0), Round(0)), |held| {
            (held.session == agreement.session, held.revision, held.round)
        });
        // Within one link revisions only go up. On a new one the coordinator is asked anew: it may have been opened with
        // an older file, and is who decides all the same.
        if same_session && agreement.revision < held_revision && !std::mem::take(&mut self.asks_anew) {
            return;
        }
        (self.asks_anew, self.behind) = (false, false);
        if !same_session || agreement.round != held_round {
            self.stories.iter_mut().for_each(StringStory::begin_round);
        }
        self.start = start_in.map(|left| now + left);
        self.keep_start(now);
        self.agreement = Some(agreement);
        if !same_session {
            self.report_marks(now);
        }
        self.redraw();
    }

    /// From the start on, and until a round is called, which takes the start away, nothing is judged.
    pub(crate) fn keep_start(&mut self, now: Uptime) {
        let playing = self.start.is_some_and(|start| start <= now);
        if std::mem::replace(&mut self.playing, playing) != playing {
            self.redraw();
        }
    }

    /// What the harpist said of her strings holds in any session, and a new one has not heard of it.
    fn report_marks(&mut self, now: Uptime) {
        let marked = (1..).zip(&self.stories).filter_map(|(number, story)| {
            let string = StringNumber::new(number).ok()?;
            let mark = story.mark()?;
            Some(Content::Mark {
                string,
                mark: Some(mark),
            })
        });
        let marked: Vec<Content> = marked.collect();
        for content in marked {
            self.report(now, content, Duration::ZERO);
        }
    }

    /// The harpist wants help, or does not any more; said again on each new link.
    fn want_help(&mut self, wanted: bool) {
        if self.help == wanted {
            return;
        }
        self.help = wanted;
        if let Some(attempt) = self.joined {
            self.send(attempt, ToCoordinator::Help(wanted));
        }
        self.redraw();
    }

    /// Everyone is called anew, as whoever this laptop is now.
    fn renewed(&mut self, now: Uptime) {
        if let Some(joined) = self.joined {
            self.send(joined, ToCoordinator::Leave);
        }
        self.give_up_calls(now, |_, _| true);
        self.offline_since = None;
        self.seating = Seating::default();
        self.forget_trouble();
        self.dialling.hurry(now);
        self.redraw();
    }

    /// A pasted join link is a choice: from now on only its coordinator is called.
    fn invited(&mut self, now: Uptime, link: JoinLink) {
        let JoinLink {
            addresses,
            coordinator,
            token,
        } = link;
        self.choose(now, coordinator);
        self.pairing.drop_code();
        self.invitation = Some((coordinator, token));
        self.forget_trouble();
        let addresses = addresses.into_iter().chain(self.typed.take());
        self.dialling.learn(addresses.map(|address| (address, coordinator)));
        self.dialling.hurry(now);
        self.redraw();
    }

    /// Leaves whichever other coordinator there was.
    pub(crate) fn choose(&mut self, now: Uptime, coordinator: Fingerprint) {
        if let Some(joined) = self.joined
            && self
                .calls
                .get(joined)
                .is_some_and(|call| call.expect != Some(coordinator))
        {
            self.send(joined, ToCoordinator::Leave);
            self.offline_since = None;
        }
        self.give_up_calls(now, |_, call| call.expect != Some(coordinator));
    }

    pub(crate) fn hello(&self, to: Fingerprint) -> Hello {
        let token = self
            .invitation
            .filter(|(coordinator, _)| *coordinator == to)
            .map(|(_, token)| token);
        Hello {
            name: self.name.clone(),
            harp: self.harp.clone(),
            token,
            process: self.process,
            newest: NEWEST,
        }
    }

    pub(crate) fn keys(&self) -> impl Iterator<Item = Fingerprint> {
        let invited = self.invitation.map(|(coordinator, _)| coordinator);
        invited
            .into_iter()
            .chain(self.known.keys().copied().filter(move |known| Some(*known) != invited))
    }

    /// Sends a heartbeat when it is time, and sets the time of the next one.
    pub(crate) fn beat(&mut self, now: Uptime) {
        let Some(attempt) = self.joined else {
            self.beat_at = None;
            return;
        };
        if self.beat_at.is_none_or(|at| at <= now) {
            // What is lost is found out by what comes after it: the sooner, the sooner it is said again.
            let doubtful = self.in_doubt || self.offline_since.is_some() || now < self.missed_until;
            let hurried = self.behind || doubtful;
            let pause = if hurried {
                self.beat_every * 2 / 5
            } else {
                self.beat_every
            };
            self.beat_at = Some(now + pause);
            self.send(attempt, ToCoordinator::Beat);
        }
    }

    /// The coordinator names its newest revision: whoever is behind says at once what has arrived and what has not.
    pub(crate) fn note_newest(&mut self, now: Uptime, revision: Revision) {
        let held = self
            .agreement
            .as_ref()
            .filter(|held| Some(held.session) == self.session);
        let behind = held.is_some_and(|held| held.revision < revision);
        if behind && !self.behind {
            self.beat_at = Some(now);
        }
        self.behind = behind;
    }

    pub(crate) fn send(&mut self, attempt: Attempt, message: ToCoordinator) {
        self.effects.push_back(Effect::Send { attempt, message });
    }

    pub(crate) fn redraw(&mut self) {
        if !self.effects.contains(&Effect::Redraw) {
            self.effects.push_back(Effect::Redraw);
        }
    }
}
