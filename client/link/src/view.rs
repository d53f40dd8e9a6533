//! What a link looks like from outside, for desk and terminal.

use std::time::Duration;

use consort_proto::message::Refusal;
use consort_proto::{Agreement, Uptime};

/// How a station stands to its coordinator.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum LinkState {
    /// It knows no coordinator: the harp is tuned alone.
    Alone,
    /// It knows a coordinator, or a code, but not where the coordinator is.
    Searching,
    /// It is calling one.
    Reaching,
    /// It has been welcomed, and the coordinator is heard.
    Joined,
    /// It was joined, and has not been since this time.
    Offline(Uptime),
    /// It was turned away; it tries again, but seldom.
    Refused(Refusal),
    /// Whoever answers does not hold the key of the coordinator that was joined.
    OtherKey,
    /// Whoever answers speaks another version.
    OtherVersion,
}

/// Everything a desk may show of a link, at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct LinkView<'a> {
    /// How it stands.
    pub state: LinkState,
    /// What everyone tunes to, as last heard; `None` while the harp is tuned alone.
    pub agreement: Option<&'a Agreement>,
    /// Time left until the start, if one is set; zero once it has passed.
    pub start_in: Option<Duration>,
    /// Reports that the coordinator has not acknowledged.
    pub unsent: usize,
    /// The tag of a coordinator that was sighted and is not known: a code or a join link is needed for it.
    pub stranger: Option<&'a str>,
    /// The tag of the coordinator that said no to the code.
    pub refused_by: Option<&'a str>,
}
