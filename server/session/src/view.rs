//! What a session looks like from outside: the image for board, control page and status.

use std::time::Duration;

use consort_outlook::Outlook;
use consort_proto::message::Proposal;
use consort_proto::{Agreement, Fingerprint, Harp, JoinCode, Name, Readiness, ReferencePitch};

use crate::call::Called;
use crate::cheapest::{self, Cost};
use crate::room::RoomMove;

/// Everything a board or a status line may show, at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// What everyone tunes to.
    pub agreement: Agreement,
    /// How often the session has been opened.
    pub epoch: u32,
    /// Time left until the start, if one is set; zero once it has passed.
    pub start_in: Option<Duration>,
    /// Whether the start has passed and no round was called since: nothing that is heard now is of a tuning.
    pub playing: bool,
    /// The string that everyone is asked for, side by side; `None` while none is called.
    pub called: Option<Called>,
    /// What the room did to the strings since they were set.
    pub room: Vec<RoomMove>,
    /// Whether unknown stations may join.
    pub joining: bool,
    /// The joining code.
    pub code: CodeView,
    /// The last station that took a seat for the first time since the coordinator started.
    pub newcomer: Option<Newcomer>,
    /// Who knocks without a code and waits for the leader, in the order in which they came.
    pub knocking: Vec<Newcomer>,
    /// Keys that look at the board over a link of their own, and whether each may change the agreement.
    pub watching: Vec<(Fingerprint, bool)>,
    /// The newest reference pitch that was measured, and whose harpist did, or this laptop for `None`; until the leader has
    /// seen to it.
    pub proposal: Option<(Option<Name>, Proposal)>,
    /// The reference pitch from the next round on, if another was decided.
    pub next_pitch: Option<ReferencePitch>,
    /// How often the leader has had the board's address made anew.
    pub board: u32,
    /// Whether the reference tones of all desks are silenced.
    pub silenced: bool,
    /// Whether the last change can be taken back.
    pub can_undo: bool,
    /// Whether the disk refuses to keep what is reported.
    pub disk_trouble: bool,
    /// The stations in the order in which their seats are shown.
    pub stations: Vec<StationView>,
}

/// What a session shows of its door and of open questions: none of it is written down.
#[derive(Clone, Debug, PartialEq)]
pub struct DoorView {
    /// Whether unknown stations may join.
    pub joining: bool,
    /// The joining code.
    pub code: CodeView,
    /// Who knocks without a code.
    pub knocking: Vec<Newcomer>,
    /// The newest reference pitch that somebody has measured, and who; this laptop without a name.
    pub proposal: Option<(Option<Name>, Proposal)>,
    /// Which seats are wanted, and by whom.
    pub wanted: Vec<(u32, Newcomer)>,
}

/// What the leader sees of the joining code.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum CodeView {
    /// There is none.
    Closed,
    /// It may be told to players.
    Open {
        /// The code.
        code: JoinCode,
        /// Wrong ones that were tried since it is shown.
        wrong: usize,
    },
    /// Too many wrong ones were tried; the next one comes by itself.
    Resting {
        /// In how long.
        left: Duration,
    },
}

/// A station by its harpist and its key.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Newcomer {
    /// The harpist.
    pub name: Name,
    /// Its key.
    pub peer: Fingerprint,
}

/// One station in a [`View`].
#[derive(Clone, Debug, PartialEq)]
pub struct StationView {
    /// Its key.
    pub peer: Fingerprint,
    /// The number of its seat, in the order of joining, from 1.
    pub seat: u32,
    /// The number under which the seat is shown, in the leader's order.
    pub place: u32,
    /// The harpist.
    pub name: Name,
    /// The harp.
    pub harp: Harp,
    /// What its strings are.
    pub readiness: Readiness,
    /// How long ago the oldest of the strings that hold was last plucked; `None` where that is not known, as after a
    /// restart.
    pub confirmed_ago: Option<Duration>,
    /// How long ago the harp was ready, when a round has begun since and it is not ready in it yet: to be confirmed.
    pub to_confirm: Option<Duration>,
    /// The place of the harp that this station seems to hear in place of its own: its input is suspected, and what it
    /// hears of that harp is not counted.
    pub overhears: Option<u32>,
    /// When it will be ready, and how long nothing was heard of it.
    pub outlook: Outlook,
    /// Whether it can be heard.
    pub presence: Presence,
    /// Whether the leader turned it away.
    pub removed: bool,
    /// Whether the harpist wants help.
    pub help: bool,
    /// Whether two laptops show its key, so that neither is let in.
    pub copied: bool,
    /// Whether it may change the agreement as a deputy.
    pub deputy: bool,
    /// Who wants to take the seat over.
    pub wanted_by: Option<Newcomer>,
}

impl View {
    /// The A that costs the ensemble least, as its harps are now; `None` while hardly any string was heard.
    pub fn cheapest(&self) -> Option<Cost> {
        let harps = self.stations.iter().filter(|station| !station.removed);
        let harps: Vec<_> = harps.map(|station| (&station.harp, &station.readiness)).collect();
        cheapest::cheapest(self.agreement.tuning.a4, &harps, &self.agreement.tolerance)
    }
}

impl StationView {
    /// Whether the harp counts as ready: every string holds or is set aside, and the station can be heard.
    pub fn is_ready(&self) -> bool {
        self.readiness.is_ready() && self.presence.counts() && !self.removed
    }
}

/// Whether a station can be heard.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Presence {
    /// Heard a moment ago.
    Here,
    /// Not heard for [`crate::UNSURE_AFTER`]; still counted.
    Unsure,
    /// Not heard for [`crate::SILENT_AFTER`]; not counted. Holds how long.
    Silent(Duration),
    /// Said goodbye, or has no link since the coordinator started.
    Away,
}

impl Presence {
    /// Whether what the station last reported may be shown as true now.
    pub const fn counts(self) -> bool {
        matches!(self, Self::Here | Self::Unsure)
    }
}
