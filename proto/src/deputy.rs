//! What a deputy and the coordinator say to each other: the board as a picture, and changes by whom the leader granted them.
//!
//! A family of messages of its own, over a protocol name of its own: a station that tunes has no word of it.

use std::time::Duration;

use crate::agreement::Agreement;
use crate::harp::Harp;
use crate::hindsight::{Age, RoomMove};
use crate::message::Refusal;
use crate::name::Name;
use crate::note::Note;
use crate::readiness::{Standing, Tolerance};
use crate::setting::Setting;
use crate::target::ReferencePitch;
use crate::temperament::Temperament;

/// What a deputy says.
#[derive(Clone, Debug, PartialEq)]
pub enum FromDeputy {
    /// Wants to see the board from now on.
    Watch,
    /// Still here; sent as a datagram.
    Beat,
    /// Wants the agreement changed, for which the leader must have granted it.
    Order {
        /// Counts up on one link; the answer names it.
        number: u32,
        /// What.
        change: Change,
    },
}

/// A change of the agreement that a deputy may order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// A new reference pitch.
    Pitch(ReferencePitch),
    /// A new temperament.
    Temperament(Temperament),
    /// A new pedal setting for the temperament to serve.
    Setting(Setting),
    /// New tolerances.
    Tolerance(Tolerance),
    /// The start, this far from now; `None` clears it.
    Start(Option<Duration>),
    /// Tune everything anew.
    NewRound,
    /// Take back the last change.
    Undo,
    /// Ask everyone for this string; `None` for no more.
    Call(Option<Note>),
}

/// What the coordinator says to a deputy.
#[derive(Clone, Debug, PartialEq)]
pub enum ToDeputy {
    /// One harp of the next picture; those that have not changed are not sent again.
    Harp(HarpPicture),
    /// What the next picture looks back on. It may be missed: a laptop of the first release has no word of it.
    Hindsight(Hindsight),
    /// Seats on whose harp the string that the next picture calls was plucked since it is called. Comes with every picture in
    /// which one is called; it may be missed by a laptop that has no word of it.
    Answers(Vec<u32>),
    /// A picture is whole: what else it shows, and whose harps.
    Picture(Picture),
    /// What became of an order.
    Done {
        /// Which one.
        number: u32,
        /// What became of it.
        outcome: Outcome,
    },
    /// No, and the link ends.
    Refused(Refusal),
}

/// What became of a deputy's order.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Outcome {
    /// It is written down and on its way to every station.
    Done,
    /// Nothing had to change.
    Unchanged,
    /// The leader has not granted this laptop to change anything.
    NotGranted,
    /// The disk takes nothing.
    NotWritten,
}

/// The session at one moment, but for its harps.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// What everyone tunes to.
    pub agreement: Agreement,
    /// Time left until the start, if one is set; zero once it has passed.
    pub start_in: Option<Duration>,
    /// Whether the last change can be taken back.
    pub can_undo: bool,
    /// Whether the disk refuses to keep what is reported.
    pub disk_trouble: bool,
    /// Whether this deputy may change the agreement.
    pub granted: bool,
    /// The seats that the board shows, in their order; at most [`crate::agreement::SEATS_MAX`].
    pub seats: Vec<u32>,
}

/// How old it is what a picture shows, and what the room did meanwhile.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Hindsight {
    /// Seats and how old their reports are, to the second; at most [`crate::agreement::SEATS_MAX`].
    pub ages: Vec<(u32, Age)>,
    /// What the room did, at most one for each material.
    pub room: Vec<RoomMove>,
}

/// One harp of a picture.
#[derive(Clone, Debug, PartialEq)]
pub struct HarpPicture {
    /// Its seat.
    pub seat: u32,
    /// The harpist.
    pub name: Name,
    /// The harp.
    pub harp: Harp,
    /// What its strings are, one for each from the top.
    pub standings: Vec<Standing>,
    /// Whether it can be heard.
    pub heard: Heard,
    /// Whether the harpist wants help.
    pub help: bool,
}

/// Whether a harp can be heard.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Heard {
    /// A moment ago.
    Here,
    /// Not for a moment; still counted.
    Unsure,
    /// Not for so long that it is not counted.
    Silent(Duration),
    /// It has no link.
    Away,
}
