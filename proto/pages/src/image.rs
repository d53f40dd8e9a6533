//! The session as the pages see it, in the words of the domain: what a program hands in to have pages made of it.

use std::time::Duration;

use consort_outlook::Outlook;
use consort_proto::message::Proposal;
use consort_proto::{Age, Agreement, Fingerprint, Harp, JoinCode, Name, Readiness, ReferencePitch, RoomMove};

use crate::watch::CheapestPitch;

/// Everything that board and control are made from, at one moment.
#[derive(Clone, Debug)]
pub struct SessionImage<'a> {
    /// What everyone tunes to.
    pub agreement: &'a Agreement,
    /// Time left until the start, if one is set; zero once it has passed.
    pub start_in: Option<Duration>,
    /// Whether unknown stations may join.
    pub joining: bool,
    /// The joining code.
    pub code: CodeImage,
    /// The harpist and the key of the last station that took a seat for the first time, if there is one.
    pub newcomer: Option<(&'a Name, Fingerprint)>,
    /// Who knocks without a code and waits for the leader.
    pub knocking: Vec<(&'a Name, Fingerprint)>,
    /// Keys of laptops that look at the board over a link of their own, and whether each may change the agreement.
    pub watching: Vec<(Fingerprint, bool)>,
    /// The reference pitch that somebody has measured, or the leader's own laptop for no name.
    pub proposal: Option<(Option<&'a Name>, Proposal)>,
    /// The reference pitch from the next round on, if another was decided.
    pub next_pitch: Option<ReferencePitch>,
    /// What the room did to the strings of most harps.
    pub room: Vec<RoomMove>,
    /// The A that would cost least; `None` while hardly any string was heard.
    pub cheapest: Option<CheapestPitch>,
    /// Whether the reference tones of all desks are silenced.
    pub silenced: bool,
    /// Whether the last change can be taken back.
    pub can_undo: bool,
    /// Whether the disk refuses to keep what is reported.
    pub disk_trouble: bool,
    /// Whether somebody had a seat before; where that is not known, that too: who is not here now may have been.
    pub was_joined: bool,
    /// The harps in the order of their seats.
    pub seats: Vec<SeatImage<'a>>,
}

impl<'a> SessionImage<'a> {
    /// A session in which `seats` tune to `agreement`, nobody asks for anything and nothing waits.
    pub fn of(agreement: &'a Agreement, seats: Vec<SeatImage<'a>>) -> Self {
        Self {
            agreement,
            start_in: None,
            joining: false,
            code: CodeImage::Closed,
            newcomer: None,
            knocking: Vec::new(),
            watching: Vec::new(),
            proposal: None,
            next_pitch: None,
            room: Vec::new(),
            cheapest: None,
            silenced: false,
            can_undo: false,
            disk_trouble: false,
            was_joined: !seats.is_empty(),
            seats,
        }
    }
}

impl<'a> SeatImage<'a> {
    /// A harp at a seat whose station is heard, of which nothing is asked.
    pub fn of(seat: u32, name: &'a Name, harp: &'a Harp, readiness: &'a Readiness) -> Self {
        Self {
            seat,
            station: Fingerprint([seat as u8; 32]),
            name,
            harp,
            readiness,
            outlook: Outlook::default(),
            age: Age::default(),
            overhears: None,
            answered: None,
            presence: Presence::Here,
            removed: false,
            help: false,
            copied: false,
            deputy: false,
            wanted_by: None,
        }
    }
}

/// The joining code, as the leader sees it.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum CodeImage {
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

/// One harp in a [`SessionImage`].
#[derive(Clone, Debug)]
pub struct SeatImage<'a> {
    /// The number under which it is shown, from 1.
    pub seat: u32,
    /// The key of its station.
    pub station: Fingerprint,
    /// The harpist.
    pub name: &'a Name,
    /// The harp.
    pub harp: &'a Harp,
    /// What its strings are.
    pub readiness: &'a Readiness,
    /// When it will be ready, and how long nothing was heard of it.
    pub outlook: Outlook,
    /// How old it is what was reported of it.
    pub age: Age,
    /// The seat of the harp that its station seems to hear in place of its own.
    pub overhears: Option<u32>,
    /// Whether the string that everyone is asked for was plucked since it is called; `None` where that is not known.
    pub answered: Option<bool>,
    /// Whether its station can be heard.
    pub presence: Presence,
    /// Whether the leader turned it away.
    pub removed: bool,
    /// Whether the harpist wants help.
    pub help: bool,
    /// Whether two laptops show its station's key.
    pub copied: bool,
    /// Whether its station may change the agreement as a deputy.
    pub deputy: bool,
    /// Who wants to play this harp at another laptop.
    pub wanted_by: Option<(&'a Name, Fingerprint)>,
}

/// Whether a station can be heard.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Presence {
    /// Heard a moment ago.
    Here,
    /// Not heard for a moment; still counted.
    Unsure,
    /// Not heard for so long that it is not counted.
    Silent(Duration),
    /// It has no link.
    Away,
}

impl Presence {
    /// Whether what the station last reported may be shown as true now.
    pub const fn counts(self) -> bool {
        matches!(self, Self::Here | Self::Unsure)
    }

    /// The word by which pages know it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Here => "here",
            Self::Unsure => "unsure",
            Self::Silent(_) => "silent",
            Self::Away => "away",
        }
    }
}

impl SeatImage<'_> {
    /// Whether the harp counts as ready: every string holds or is set aside, and the station can be heard.
    pub fn is_ready(&self) -> bool {
        self.readiness.is_ready() && self.presence.counts() && !self.removed && !self.copied
    }
}
