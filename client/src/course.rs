//! The course of a tuning, as the desk shows it beside the string in hand.

use std::time::Duration;

use consort_guide::{Order, Pedals, Way};
use consort_proto::{Naming, StringNumber};

/// What the harpist has chosen, how far she has come, and how long she has.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Course {
    /// How strings are named.
    pub naming: Naming,
    /// Which string comes next.
    pub order: Order,
    /// Which way the key goes to tighten.
    pub key: Option<Way>,
    /// Whether that is to be asked.
    pub asks_key: bool,
    /// Whether each string is first brought near, in a quick pass.
    pub quick: bool,
    /// Whether a last check is under way.
    pub last_check: bool,
    /// The string that she has chosen by hand.
    pub chosen: Option<StringNumber>,
    /// The string that comes after the one that is shown.
    pub next: Option<StringNumber>,
    /// Time left until the start, to the minute; zero once it has passed.
    pub start_in: Option<Duration>,
    /// She performs: the desk is dark, and nothing is heard.
    pub dark: bool,
    /// What has changed in what is tuned to, until she has seen it.
    pub changed: Option<String>,
    /// Whether something can be taken back.
    pub can_undo: bool,
    /// Whether the harp is the usual one because nobody has said which it is.
    pub fresh: bool,
    /// Where the pedals or levers stand, while they are not all open.
    pub pedals: Option<Pedals>,
    /// The input that she has chosen in the place of the one that the system prefers.
    pub input: Option<String>,
}

/// The start is so near that the most audible faults come first.
pub(crate) const URGENT: Duration = Duration::from_secs(180);

/// Whole minutes, upward, so that nobody has less time than is said.
pub(crate) const fn minutes(left: Duration) -> Duration {
    Duration::from_secs(left.as_secs().div_ceil(60) * 60)
}
