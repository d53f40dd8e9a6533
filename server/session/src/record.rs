//! What a session writes down, and what it is opened from.

use std::time::Duration;

use consort_proto::{
    Agreement, Fingerprint, Harp, JoinToken, Name, ReferencePitch, Report, Revision, Sequence, StringStory, Tenure,
    Tolerance, Tuning,
};

/// The number of a record: counts up from 1 in each run of the program.
#[derive(Clone, Copy, Debug, Default, Eq, Ord, PartialEq, PartialOrd)]
pub struct Ticket(pub u64);

/// One thing to be kept.
#[derive(Clone, Debug, PartialEq)]
pub enum Record {
    /// The agreement as it now is. A new round in it empties every station's stories.
    Agreement {
        /// What is agreed.
        agreement: Box<Agreement>,
        /// The start, this far from the moment in which the record is handed over.
        start_in: Option<Duration>,
        /// The revision that an undo brings back.
        undo_to: Option<Revision>,
    },
    /// A station was let in, or came back with another name or harp.
    Station {
        /// Whose.
        peer: Fingerprint,
        /// The harpist.
        name: Name,
        /// The harp.
        harp: Harp,
    },
    /// A station proved to know the code: its key is let in from now on.
    Pinned {
        /// Whose.
        peer: Fingerprint,
    },
    /// Reports of a station, in order; the last one's sequence is then its acknowledged one.
    Reports {
        /// Whose.
        peer: Fingerprint,
        /// What was reported.
        reports: Vec<Report>,
    },
    /// A station was turned away (`true`) or let back in.
    Removed {
        /// Whose.
        peer: Fingerprint,
        /// Whether it is turned away.
        removed: bool,
    },
    /// A seat changed hands: the new holder keeps its own name, harp and reports, and gives up the seat that it had. What
    /// the strings of the seat did stays if both harps have the same strings.
    TakenOver {
        /// Whose seat it was.
        from: Fingerprint,
        /// Whose it is.
        to: Fingerprint,
    },
    /// A station may look at the board and change the agreement (`true`), or may not any more.
    Deputy {
        /// Whose.
        peer: Fingerprint,
        /// Whether it may.
        granted: bool,
    },
    /// The leader ruled something beside the agreement.
    Ruling(Ruling),
}

/// What the leader rules beside the agreement: no string is judged by it.
#[derive(Clone, Debug, PartialEq)]
pub enum Ruling {
    /// The reference pitch from the next round on; `None` for none after all. A new round ends it.
    NextPitch(Option<ReferencePitch>),
    /// Whether reference tones may sound at the desks.
    Tones {
        /// Whether they may.
        allowed: bool,
    },
    /// The address of the board is the one of this number: those before it open nothing any more.
    Board(u32),
    /// Seats are shown in this order, from 1 on: those of all stations by their keys.
    Order(Vec<Fingerprint>),
}

/// What was ruled, put together.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ruled {
    /// The reference pitch from the next round on, if another was decided.
    pub next_pitch: Option<ReferencePitch>,
    /// Whether the reference tones are silenced.
    pub silenced: bool,
    /// How often the leader has had the board's address made anew.
    pub board: u32,
}

impl Ruled {
    /// The same with one more ruling.
    #[must_use]
    pub fn with(mut self, ruling: &Ruling) -> Self {
        match ruling {
            Ruling::NextPitch(a4) => self.next_pitch = *a4,
            Ruling::Tones { allowed } => self.silenced = !allowed,
            Ruling::Board(number) => self.board = *number,
            // The stations keep it.
            Ruling::Order(_) => {}
        }
        self
    }
}

/// What was written down, put together again.
#[derive(Clone, Debug, PartialEq)]
pub struct Saved {
    /// The newest agreement.
    pub agreement: Agreement,
    /// The start, this far from the opening; zero when it has passed since.
    pub start_in: Option<Duration>,
    /// What undo brings back, the newest last.
    pub past: Vec<Past>,
    /// How often this session has been opened, this time included: the store counts it up, on the disk, before it is read.
    pub epoch: u32,
    /// What lets new stations in.
    pub token: JoinToken,
    /// Keys that are let in without a token, whether they have a seat yet or not.
    pub pinned: Vec<Fingerprint>,
    /// Keys that may change the agreement as deputies.
    pub deputies: Vec<Fingerprint>,
    /// What the leader ruled beside the agreement.
    pub ruled: Ruled,
    /// Everyone who was ever let in.
    pub stations: Vec<SavedStation>,
}

/// What an undo brings back: everything of a revision but its round, since what was heard cannot be taken back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Past {
    /// The revision that agreed on it.
    pub revision: Revision,
    /// The tuning.
    pub tuning: Tuning,
    /// The tolerance.
    pub tolerance: Tolerance,
    /// The start, this far from the opening; zero when it has passed since.
    pub start_in: Option<Duration>,
}

/// What was written down about one station.
#[derive(Clone, Debug, PartialEq)]
pub struct SavedStation {
    /// Its key.
    pub peer: Fingerprint,
    /// Its seat.
    pub tenure: Tenure,
    /// The number under which the seat is shown.
    pub place: u32,
    /// The harpist.
    pub name: Name,
    /// The harp.
    pub harp: Harp,
    /// The last report that was written down.
    pub acked: Sequence,
    /// Whether it is turned away.
    pub removed: bool,
    /// What its strings did in the saved round, from the top.
    pub stories: Vec<StringStory>,
}
