//! What a link looks like from outside, for desk and terminal.

use std::collections::BTreeMap;
use std::time::Duration;

use consort_proto::message::Refusal;
use consort_proto::{Agreement, Seat, Tenure, Uptime};

use crate::seat::Asked;
use crate::sighting::Stranger;

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
    /// Whether the start has passed and no round was called since: nothing is judged.
    pub playing: bool,
    /// Reports of the agreement's session that its coordinator has not acknowledged.
    pub unsent: usize,
    /// Coordinators that were sighted and are not known: a code, a join link or the leader's leave is needed for them.
    pub strangers: Vec<&'a Stranger>,
    /// The typed address, while nobody there is known.
    pub typed_address: Option<std::net::SocketAddr>,
    /// The seat that is held in the agreement's session.
    pub tenure: Tenure,
    /// All seats, as last heard.
    pub seats: &'a [Seat],
    /// Under which numbers seats are shown, where that is not their own.
    pub places: &'a BTreeMap<u32, u32>,
    /// The seat that the harpist wants, while its holder is asked.
    pub wants_seat: Option<u32>,
    /// The seat that she wanted and did not get.
    pub denied_seat: Option<u32>,
    /// Who wants the seat that is held here.
    pub asked: Option<&'a Asked>,
    /// Whether the harpist wants help.
    pub help: bool,
    /// The tag of the coordinator that said no, or that is asked.
    pub refused_by: Option<&'a str>,
    /// Whether the leader has silenced the reference tones.
    pub silenced: bool,
}
