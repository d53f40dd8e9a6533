//! The hall: programs, disks, network and people, moved forward from one due time to the next.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::ops::RangeInclusive;
use std::time::Duration;

use consort_link::Link;
use consort_logbook::Logged;
use consort_proto::{
    Accidental, Agreement, Cents, Fingerprint, Harp, HarpString, JoinToken, Kind, Letter, Material, Mechanism, Name,
    Note, Report, Revision, Round, Sequence, SessionId, StringStory, Tenure, Tolerance, Tuning, Uptime,
};
use consort_session::{Session, StationView};

use super::agenda::{Agenda, Due};
use super::bundle::Wires;
use super::chance::Chance;
use super::disk::Disk;
use super::logbooks::Kept;
use super::wires::Cut;
use super::{Broken, Plan, Tally};

pub(super) const COORDINATOR: Fingerprint = Fingerprint([1; 32]);
pub(super) const TOKEN: JoinToken = JoinToken([9; 16]);
pub(super) const STRANGER: Fingerprint = Fingerprint([99; 32]);
pub(super) const SESSION: SessionId = SessionId([5; 16]);

/// One station with its disk.
#[derive(Debug)]
pub(super) struct Player {
    pub(super) key: Fingerprint,
    pub(super) life: u64,
    pub(super) link: Option<Logged<Link>>,
    /// What rests on its disk.
    pub(super) journal: BTreeMap<Sequence, Report>,
    /// On its way to its disk.
    pub(super) writing: VecDeque<Report>,
    pub(super) next: Sequence,
    pub(super) known: bool,
    /// What it kept of the agreement and its strings, perhaps some changes ago.
    pub(super) kept: (Option<Agreement>, Tenure, Vec<StringStory>),
    /// What it shows now.
    pub(super) held: Option<Agreement>,
    pub(super) cut: Option<Cut>,
    /// Counts its cuts.
    pub(super) cuts: u64,
    /// When anything of it last reached the coordinator.
    pub(super) last_heard: Option<Uptime>,
    /// When anything of the coordinator last reached it in this life, and when it last called.
    pub(super) last_arrival: Uptime,
    pub(super) last_call: Uptime,
    /// What the coordinator has acknowledged to it.
    pub(super) acked: Sequence,
    /// Everything that it has reported in any life and that was not acknowledged yet.
    pub(super) issued: BTreeMap<Sequence, Report>,
    /// What of it has rested on its disk.
    pub(super) noted: BTreeSet<Sequence>,
}

#[derive(Debug)]
pub(super) struct Hall {
    pub(super) plan: Plan,
    pub(super) chance: Chance,
    pub(super) now: Uptime,
    /// Everything that will happen.
    pub(super) agenda: Agenda,
    pub(super) session: Option<Logged<Session>>,
    pub(super) life: u64,
    pub(super) disk: Disk,
    pub(super) players: Vec<Player>,
    pub(super) wires: Wires,
    pub(super) harp: Harp,
    pub(super) faulty: bool,
    /// What the board was last drawn with; nothing while the coordinator is down.
    pub(super) board: Vec<StationView>,
    /// Whom it shows as ready: the place on the board, and which station that is.
    pub(super) ready: Vec<(usize, usize)>,
    pub(super) board_revision: Revision,
    pub(super) board_epoch: u32,
    pub(super) healed: bool,
    /// Whether what the board shows as ready was compared with the disk since either changed.
    pub(super) judged: bool,
    /// Which frequencies of each string are in tune, and by which revision.
    pub(super) in_tune: (Revision, Vec<RangeInclusive<f64>>),
    pub(super) tally: Tally,
    /// Until when nothing but a new picture can have the board show somebody as ready who was not heard.
    pub(super) heard_until: Uptime,
    /// Until when every station has heard something not long ago.
    pub(super) told_until: Uptime,
    /// What the programs' logbooks hold, if they keep any.
    pub(super) logbooks: Option<Kept>,
}

impl Hall {
    pub(super) fn new(plan: Plan, logbooks: Option<Kept>) -> Self {
        let agreement = Agreement {
            session: SESSION,
            revision: Revision(1),
            ensemble: name("Hall of numbers"),
            tuning: Tuning::default(),
            tolerance: Tolerance::default(),
            round: Round(1),
            called: None,
        };
        let mut hall = Self {
            plan,
            chance: Chance::new(plan.seed),
            now: Uptime::default(),
            agenda: Agenda::empty(plan.stations),
            session: None,
            life: 0,
            disk: Disk::new(agreement),
            players: (0..plan.stations).map(Player::new).collect(),
            wires: Wires::default(),
            harp: small_harp(),
            faulty: true,
            board: Vec::new(),
            ready: Vec::new(),
            board_revision: Revision(0),
            board_epoch: 0,
            healed: false,
            judged: false,
            in_tune: (Revision(0), Vec::new()),
            tally: Tally::default(),
            heard_until: Uptime::default(),
            told_until: Uptime::default(),
            logbooks,
        };
        hall.after(Duration::ZERO, Due::Opening);
        for station in 0..plan.stations {
            let first = hall.chance.ms(0, 2000);
            hall.after(first, Due::Pluck(station));
        }
        for (most, due) in [(6000, Due::Decide), (2000, Due::Fault), (5000, Due::Stranger)] {
            let first = hall.chance.ms(0, most);
            hall.after(first, due);
        }
        hall
    }

    pub(super) const fn tally(&self) -> Tally {
        self.tally
    }

    pub(super) fn run_until(&mut self, end: Duration) -> Result<(), Broken> {
        while let Some((now, due)) = self.agenda.next(Uptime(end)) {
            self.now = now;
            self.happen(due)?;
            self.check()?;
        }
        self.now = Uptime(end);
        Ok(())
    }

    fn happen(&mut self, due: Due) -> Result<(), Broken> {
        match due {
            Due::Opening => self.open(),
            Due::CoordinatorTick => self.coordinator(consort_session::Event::Tick),
            Due::StationTick(station) => self.station(station, consort_link::Event::Tick),
            Due::DiskStep { life } if life == self.life => self.disk_step(),
            Due::JournalStep { station, life } if life == self.players[station].life => self.journal_step(station),
            Due::Dialled { station, life, attempt } if life == self.players[station].life => {
                self.dialled(station, attempt)
            }
            Due::CallLost { station, life, attempt } if life == self.players[station].life => {
                let why = consort_link::AttemptFailure::NoAnswer;
                self.station(station, consort_link::Event::AttemptFailed { attempt, why })
            }
            Due::DiskStep { .. } | Due::JournalStep { .. } | Due::Dialled { .. } | Due::CallLost { .. } => Ok(()),
            Due::Up(wire) => self.arrive_up(wire),
            Due::Down(wire) => self.arrive_down(wire),
            Due::BeatUp(wire) => self.beat_up(wire),
            Due::BeatDown { wire, epoch, revision } => {
                self.beat_down(wire, consort_proto::ToStation::Beat { epoch, revision })
            }
            Due::GoneUp(wire) => self.gone_up(wire),
            Due::GoneDown(wire) => self.gone_down(wire),
            Due::IdleOut { station, cut } => {
                self.idle_out(station, cut);
                Ok(())
            }
            Due::Pluck(station) => self.pluck(station),
            Due::Decide => self.decide(),
            Due::Fault => self.fault(),
            Due::Stranger => self.stranger(),
        }
    }

    pub(super) fn after(&mut self, wait: Duration, due: Due) {
        self.agenda.arrange(self.now + wait, due);
    }

    pub(super) fn broken(&self, what: impl Into<String>) -> Broken {
        Broken {
            seed: self.plan.seed,
            at: self.now.0,
            what: what.into(),
        }
    }
}

impl Player {
    fn new(number: usize) -> Self {
        Self {
            key: Fingerprint([number as u8 + 10; 32]),
            life: 0,
            link: None,
            journal: BTreeMap::new(),
            writing: VecDeque::new(),
            next: Sequence(1),
            known: false,
            kept: (None, Tenure::default(), Vec::new()),
            held: None,
            cut: None,
            cuts: 0,
            last_heard: None,
            last_arrival: Uptime::default(),
            last_call: Uptime::default(),
            acked: Sequence(0),
            issued: BTreeMap::new(),
            noted: BTreeSet::new(),
        }
    }

    /// A report rests on the station's disk.
    pub(super) fn keep(&mut self, report: Report) {
        self.journal.insert(report.sequence, report);
        self.noted.insert(report.sequence);
        self.next = self.next.max(Sequence(report.sequence.0 + 1));
    }
}

pub(super) fn name(text: &str) -> Name {
    text.parse().expect("a name")
}

/// Few strings, so that a harp is ready now and then.
fn small_harp() -> Harp {
    let strings = [Letter::A, Letter::G, Letter::F].map(|letter| HarpString {
        open: Note::new(letter, Accidental::Natural, 4),
        material: Material::Gut,
        mechanism: Mechanism::Lever,
        regulation: [Cents(0.0); 2],
    });
    Harp::new("Three strings".to_owned(), Kind::Lever, strings.to_vec()).expect("a harp")
}
