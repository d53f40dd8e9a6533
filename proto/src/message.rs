//! What coordinator and station may say to each other.
//!
//! Two enums, one per direction: a station has no word with which it could change the agreement.

use std::time::Duration;

use crate::agreement::{Document, Revision, Round, SessionId, Tenure};
use crate::harp::{Harp, StringNumber};
use crate::identity::Fingerprint;
use crate::join::JoinToken;
use crate::name::Name;
use crate::pairing::{Proof, Share};
use crate::readiness::Mark;
use crate::reading::Reading;
use crate::target::ReferencePitch;
use crate::units::Cents;

/// The newest of the messages that are known here and may be missed, within version 1.
///
/// 0 is what every program of version 1 knows; 1 adds [`ToStation::Tones`] and [`ToStation::Places`].
/// What is newer than a station names in its [`Hello`] is not said to it.
pub const NEWEST: u16 = 1;

/// The number of a report: counts up for ever on one station, also over restarts.
#[derive(Clone, Copy, Debug, Default, Eq, Ord, PartialEq, PartialOrd)]
pub struct Sequence(pub u64);

/// What a station says.
#[derive(Clone, Debug, PartialEq)]
pub enum ToCoordinator {
    /// First on every link: who this is, with which harp, and the token while it is not known yet.
    Hello(Hello),
    /// What was heard since the last acknowledged report; at most [`REPORTS_MAX`].
    Reports(Vec<Report>),
    /// Still here; sent as a datagram.
    Beat,
    /// Leaves on purpose.
    Leave,
    /// Wants to join by the code, and begins the exchange; before any [`Hello`], and only while the coordinator's key is
    /// not known.
    PairStart(Share),
    /// Proves to know the code.
    PairConfirm {
        /// The harpist.
        name: Name,
        /// The proof.
        proof: Proof,
    },
    /// Has no code and asks the leader to be let in; before any [`Hello`].
    Knock(Name),
    /// Wants the seat of another laptop: its harp is played here now.
    TakeOver {
        /// The seat's number.
        seat: u32,
    },
    /// Whether another laptop may have the seat that this one holds.
    GiveUp {
        /// The seat's number.
        seat: u32,
        /// Whether it may.
        yes: bool,
    },
    /// The harpist wants help, or does not any more.
    Help(bool),
    /// An A was measured, of an oboe or an organ: the leader may agree on it.
    Propose(Proposal),
}

/// A reference pitch that a station has measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Proposal {
    /// The A.
    pub a4: ReferencePitch,
    /// One standard deviation of it as an interval, at most [`Reading::SIGMA_MAX`].
    pub sigma: Cents,
}

/// The most reports in one message.
pub const REPORTS_MAX: usize = 128;

/// A station's first word on a link.
#[derive(Clone, Debug, PartialEq)]
pub struct Hello {
    /// The harpist.
    pub name: Name,
    /// The harp, whole.
    pub harp: Harp,
    /// What lets an unknown station in.
    pub token: Option<JoinToken>,
    /// Random at each start of the program: tells a restarted station from a copied one.
    pub process: u64,
    /// The newest of the messages that the station knows, as [`NEWEST`].
    pub newest: u16,
}

/// One numbered report.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Report {
    /// Its number.
    pub sequence: Sequence,
    /// The session in whose round it was heard.
    pub session: SessionId,
    /// The round in which it was heard.
    pub round: Round,
    /// The seat that was held then.
    pub tenure: Tenure,
    /// How long ago, when it is sent.
    pub age: Duration,
    /// What is reported.
    pub content: Content,
}

/// What a report says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Content {
    /// A reading.
    Reading(Reading),
    /// The harpist marked a string, or took the mark back.
    Mark {
        /// Which string.
        string: StringNumber,
        /// The mark; `None` takes it back.
        mark: Option<Mark>,
    },
}

impl Content {
    /// The string that the report is about.
    pub const fn string(&self) -> StringNumber {
        match self {
            Self::Reading(reading) => reading.string,
            Self::Mark { string, .. } => *string,
        }
    }
}

/// What the coordinator says.
#[derive(Clone, Debug, PartialEq)]
pub enum ToStation {
    /// The answer to a [`Hello`]: the station is in, and everything up to `acked` is safe.
    Welcome {
        /// This session.
        session: SessionId,
        /// How often the coordinator has started in this session.
        epoch: u32,
        /// The last report that rests on the coordinator's disk.
        acked: Sequence,
        /// The seat that the station holds.
        tenure: Tenure,
    },
    /// The whole agreement, at each change of it or of the seats, and at each welcome.
    Agreement(Box<Document>),
    /// Every report up to this one rests on the coordinator's disk.
    Acked(Sequence),
    /// Still here, and this is the newest revision; sent as a datagram.
    Beat {
        /// How often the coordinator has started.
        epoch: u32,
        /// The newest revision.
        revision: Revision,
    },
    /// No.
    Refused(Refusal),
    /// The answer to a [`ToCoordinator::PairStart`].
    PairReply {
        /// This session.
        session: SessionId,
        /// The coordinator's half of the exchange.
        share: Share,
    },
    /// The station's proof is right and its key is kept: a [`Hello`] may follow, now and at any later time.
    PairAccept {
        /// What the ensemble calls itself.
        ensemble: Name,
        /// The proof that the coordinator knows the code, too.
        proof: Proof,
    },
    /// The leader let in who knocked, and its key is kept: a [`Hello`] may follow, now and at any later time.
    Admitted {
        /// What the ensemble calls itself.
        ensemble: Name,
    },
    /// Another laptop wants the seat that this one holds.
    TakeOverAsked {
        /// The seat's number.
        seat: u32,
        /// Who asks.
        name: Name,
        /// The key of who asks.
        by: Fingerprint,
    },
    /// The seat stays with whom it was.
    TakeOverDenied {
        /// The seat's number.
        seat: u32,
    },
    /// Under which numbers the seats are shown, where the leader has put them in another order: each seat's own number, then
    /// the one that is shown; at most [`crate::agreement::SEATS_MAX`]. Seats are shown under their own until this is heard.
    Places(Vec<(u32, u32)>),
    /// Whether reference tones may sound: the leader can silence all. They may until this is heard on a link.
    Tones {
        /// Whether they may.
        allowed: bool,
    },
}

/// Why a station is turned away.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Refusal {
    /// The token is wrong or missing, and the key is not known.
    NotInvited,
    /// Joining is closed; known stations still get in.
    JoiningClosed,
    /// The leader removed this station.
    Removed,
    /// Another link with the same key took over.
    Superseded,
    /// There are as many stations as the coordinator takes.
    Full,
    /// Something was said that cannot be meant.
    Misspoke,
    /// The code was not the one on the leader's screen.
    WrongCode,
    /// Too many codes were wrong: joining by code rests.
    Resting {
        /// For how long still.
        left: Duration,
    },
    /// Others are joining at this moment: the same code is right a moment later.
    NotNow,
    /// The leader is asked; the answer comes when the station asks again.
    Asked,
    /// The leader said no to who knocked.
    Declined,
    /// Two laptops show the same key, one a copy of the other.
    Copied,
    /// The seat was taken over by another laptop.
    SeatTaken,
}
