//! The station at one moment: what desk, terminal and machine lines are drawn from.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use consort_guide::Advice;
use consort_guide::listening::Listening;
use consort_link::{Asked, Link, LinkState, Stranger};
use consort_proto::message::Refusal;
use consort_proto::{Agreement, Harp, Name, Naming, Readiness, Seat, Tenure, Tolerance, Tuning, Uptime};
use consort_words::{Arg, Key, Words};

use crate::course::Course;
use crate::sound::trouble::Trouble;

/// Everything that can be shown of a station.
#[derive(Clone, Debug, PartialEq)]
pub struct Image {
    /// The harpist.
    pub name: Name,
    /// The harp.
    pub harp: Arc<Harp>,
    /// What it is tuned to.
    pub tuning: Tuning,
    /// How far off a string may be.
    pub tolerance: Tolerance,
    /// What the ensemble agreed; `None` while the harp is tuned alone.
    pub agreement: Option<Agreement>,
    /// What each string is.
    pub readiness: Readiness,
    /// What to do now.
    pub advice: Advice,
    /// How the station stands to its coordinator.
    pub link: Connection,
    /// Reports that the coordinator does not have yet.
    pub unsent: usize,
    /// The state of the sound.
    pub input: Input,
    /// What has to be said besides, newest last.
    pub notices: Vec<String>,
    /// The check by listening that is under way, and how loud the last two strings swelled together.
    pub listening: Option<Listening>,
    /// That, at every fiftieth of a second, 1 the loudest.
    pub swell: Vec<f32>,
    /// What she has chosen, how far she has come, how long she has.
    pub course: Course,
}

impl Image {
    /// Everything but the sound's own state, as it stands `now`.
    pub(crate) fn of(
        link: &Link,
        harp: &Arc<Harp>,
        (name, own_tag): (&Name, &str),
        (advice, course): (Advice, Course),
        now: Uptime,
    ) -> Self {
        let view = link.view(now);
        let readiness = link.readiness();
        let advice = if view.playing { Advice::rest() } else { advice };
        Self {
            name: name.clone(),
            harp: harp.clone(),
            tuning: *link.tuning(),
            tolerance: *link.tolerance(),
            agreement: view.agreement.cloned(),
            readiness,
            advice,
            link: Connection {
                state: view.state,
                offline_for: match view.state {
                    LinkState::Offline(since) => Some(now.since(since)),
                    _ => None,
                },
                strangers: view.strangers.into_iter().cloned().collect(),
                typed_address: view.typed_address,
                own_tag: own_tag.to_owned(),
                tenure: view.tenure,
                seats: view.seats.to_vec(),
                places: view.places.clone(),
                wants_seat: view.wants_seat,
                denied_seat: view.denied_seat,
                asked: view.asked.cloned(),
                help: view.help,
                refused_by: view.refused_by.map(str::to_owned),
                silenced: view.silenced,
            },
            unsent: view.unsent,
            input: Input::Waiting,
            notices: Vec::new(),
            listening: None,
            swell: Vec::new(),
            course,
        }
    }
}

/// How a station stands to its coordinator, with times that make sense by themselves.
#[derive(Clone, Debug, PartialEq)]
pub struct Connection {
    /// The state.
    pub state: LinkState,
    /// How long it has been offline, if it is.
    pub offline_for: Option<Duration>,
    /// Coordinators that were sighted and are not known.
    pub strangers: Vec<Stranger>,
    /// The typed address.
    pub typed_address: Option<SocketAddr>,
    /// The tag of this laptop's own key.
    pub own_tag: String,
    /// The seat that is held here.
    pub tenure: Tenure,
    /// All seats, as last heard.
    pub seats: Vec<Seat>,
    /// Under which numbers they are shown, where that is not their own.
    pub places: BTreeMap<u32, u32>,
    /// The seat that the harpist wants, while others are asked.
    pub wants_seat: Option<u32>,
    /// The seat that she wanted and did not get.
    pub denied_seat: Option<u32>,
    /// Who wants the seat that is held here.
    pub asked: Option<Asked>,
    /// Whether she wants help.
    pub help: bool,
    /// The tag of the coordinator that said no to the code.
    pub refused_by: Option<String>,
    /// Whether the leader has silenced the reference tones.
    pub silenced: bool,
}

/// The state of the sound.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub enum Input {
    /// Nothing has been heard of it yet.
    #[default]
    Waiting,
    /// It carries sound that can be used.
    Hears,
    /// It carries sound, but something is wrong with it.
    Troubled(Trouble),
    /// The input has gone.
    Lost,
    /// There is no more sound.
    Ended,
}

impl Input {
    /// The word by which programs know the state.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Hears => "hears",
            Self::Troubled(trouble) => trouble.word(),
            Self::Lost => "lost",
            Self::Ended => "ended",
        }
    }

    /// What to say of it; `None` while there is nothing to say.
    pub fn sentence(self, words: &Words) -> Option<String> {
        let key = match self {
            Self::Waiting => return None,
            Self::Hears => Key::InputHears,
            Self::Troubled(trouble) => return Some(trouble.sentence(words)),
            Self::Lost => Key::InputLost,
            Self::Ended => Key::InputEnded,
        };
        Some(words.say(key, &[]))
    }
}

impl Input {
    /// Whether strings cannot be read, or not well, until something is done about it.
    pub const fn is_urgent(self) -> bool {
        match self {
            Self::Lost => true,
            Self::Troubled(trouble) => trouble.is_urgent(),
            Self::Waiting | Self::Hears | Self::Ended => false,
        }
    }
}

impl Connection {
    /// The number under which a seat is shown, on the board as well.
    pub fn shown(&self, seat: u32) -> u32 {
        self.places.get(&seat).copied().unwrap_or(seat)
    }

    /// The word by which programs know the state.
    pub const fn word(&self) -> &'static str {
        match self.state {
            LinkState::Alone => "alone",
            LinkState::Searching => "searching",
            LinkState::Reaching => "reaching",
            LinkState::Joined => "joined",
            LinkState::Offline(_) => "offline",
            LinkState::Refused(why) => refusal_word(why),
            LinkState::OtherKey => "other-key",
            LinkState::OtherVersion => "other-version",
        }
    }

    /// What to say of it.
    pub fn sentence(&self, words: &Words, agreement: Option<&Agreement>, naming: Naming) -> String {
        let key = match self.state {
            LinkState::Alone => match self.strangers.first() {
                Some(Stranger { tag, .. }) => {
                    return words.say(Key::LinkNeedsCode, &[("tag", Arg::from(tag.as_str()))]);
                }
                None => Key::LinkAlone,
            },
            LinkState::Searching => Key::LinkSearching,
            LinkState::Reaching => Key::LinkReaching,
            LinkState::Joined => match agreement {
                Some(Agreement { called: Some(note), .. }) => {
                    let string = naming.of(*note);
                    return words.say(Key::LinkCalled, &[("string", Arg::from(string))]);
                }
                Some(agreement) => {
                    let ensemble = agreement.ensemble.as_str();
                    return words.say(Key::LinkJoined, &[("ensemble", Arg::from(ensemble))]);
                }
                // Welcomed a moment ago; the agreement is on its way.
                None => Key::LinkReaching,
            },
            LinkState::Offline(_) => {
                let time = words.time(self.offline_for.unwrap_or_default());
                let offline = words.say(Key::LinkOffline, &[("time", Arg::from(time))]);
                return match agreement {
                    Some(agreement) => {
                        let agreed = [("agreement", Arg::from(words.agreement(agreement)))];
                        format!("{offline} {}", words.say(Key::LinkOfflineAgreed, &agreed))
                    }
                    None => offline,
                };
            }
            LinkState::Refused(why) => {
                let refusal = words.refusal(why);
                return match &self.refused_by {
                    Some(tag) => {
                        let by = words.say(Key::LinkRefusedBy, &[("tag", Arg::from(tag.as_str()))]);
                        format!("{refusal} {by}")
                    }
                    None => refusal,
                };
            }
            LinkState::OtherKey => Key::LinkOtherKey,
            LinkState::OtherVersion => Key::LinkOtherVersion,
        };
        words.say(key, &[])
    }
}

const fn refusal_word(why: Refusal) -> &'static str {
    match why {
        Refusal::NotInvited => "not-invited",
        Refusal::JoiningClosed => "joining-closed",
        Refusal::Removed => "removed",
        Refusal::Superseded => "superseded",
        Refusal::Full => "full",
        Refusal::Misspoke => "misspoke",
        Refusal::WrongCode => "wrong-code",
        Refusal::Resting { .. } => "resting",
        Refusal::NotNow => "not-now",
        Refusal::Asked => "asked",
        Refusal::Declined => "declined",
        Refusal::Copied => "copied",
        Refusal::SeatTaken => "seat-taken",
    }
}
