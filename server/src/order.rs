//! Orders to the session: as they travel from the leader's page, and as they are typed in another terminal.

use consort_pages::ChangeBody;
use consort_proto::{Note, ReferencePitch, Temperament};
use consort_session::{Command, StationView, View};
use serde::{Deserialize, Serialize};

use crate::args::Order;
use crate::deputy;
use crate::start::Start;

/// An order as it travels from the leader's page, or from another terminal.
#[derive(Clone, Debug, Deserialize, PartialEq, Serialize)]
#[serde(tag = "order", rename_all = "kebab-case", deny_unknown_fields)]
pub enum OrderBody {
    /// Open or close joining for stations that are not known yet.
    Joining {
        /// Whether it is open.
        open: bool,
    },
    /// Show a fresh joining code, and open joining if it was closed.
    Code,
    /// Turn a station away.
    Remove {
        /// The fingerprint of its key.
        station: String,
    },
    /// Let a removed station back in.
    LetBack {
        /// The fingerprint of its key.
        station: String,
    },
    /// Let in who knocks without a code.
    Admit {
        /// The fingerprint of its key, or its tag.
        station: String,
    },
    /// Say no to who knocks.
    Decline {
        /// The fingerprint of its key, or its tag.
        station: String,
    },
    /// Say for its holder whether a seat may be taken over.
    GiveUp {
        /// The seat's number.
        seat: u32,
        /// Whether it may.
        yes: bool,
    },
    /// Grant a station to change the agreement as a deputy, or take that back.
    Deputy {
        /// The fingerprint of its key, or its tag.
        station: String,
        /// Whether it may.
        granted: bool,
    },
    /// Measure an A through this laptop, and propose it.
    Measure,
    /// Make the board's address anew: the one before opens nothing any more.
    Board,
    /// Show the seats of these stations first, in this order, the others after them as they were.
    Order {
        /// Each by the fingerprint of its key, its tag, or the number under which its seat is shown.
        stations: Vec<String>,
    },
    /// Silence the reference tones of all desks, or let them sound again.
    Tones {
        /// Whether they may sound.
        allowed: bool,
    },
    /// Put the proposed reference pitch away.
    DropProposal,
    /// Answer the proposed reference pitch: agree on it, to half a hertz, at once or from the next round, or keep what is
    /// agreed.
    Proposal {
        /// Which of these.
        answer: Answer,
    },
    /// A reference pitch from the next round on.
    NextPitch {
        /// A4 in hertz; null for none after all.
        hz: Option<f64>,
    },
    /// Close the session and end the coordinator.
    Stop,
    /// A change of the agreement, which deputies may order as well.
    #[serde(untagged)]
    Change(ChangeBody),
}

/// What the leader says to a proposed reference pitch.
#[derive(Clone, Copy, Debug, Deserialize, Eq, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Answer {
    /// Agree on it.
    Now,
    /// Agree on it for the next round.
    Next,
    /// Keep what is agreed.
    Keep,
}

impl OrderBody {
    /// The same with the whole fingerprint of the station's key in place of its tag, where `view` knows it.
    pub(crate) fn named_in(mut self, view: &View) -> Self {
        if let (Self::Proposal { answer }, Some((_, proposal))) = (&self, &view.proposal) {
            let hz = half_hertz(proposal.a4);
            return match answer {
                Answer::Now => Self::Change(ChangeBody::Pitch { hz }),
                Answer::Next => Self::NextPitch { hz: Some(hz) },
                Answer::Keep => Self::DropProposal,
            };
        }
        if let Self::GiveUp { seat, .. } = &mut self {
            // People know a seat by the number that is shown.
            let shown = view.stations.iter().find(|one| one.place == *seat);
            *seat = shown.map_or(0, |one| one.seat);
        }
        if let Self::Order { stations } = &mut self {
            for station in stations {
                let meant = station.trim();
                let is_meant =
                    |one: &&StationView| one.place.to_string() == meant || one.peer.tag().eq_ignore_ascii_case(meant);
                if let Some(one) = view.stations.iter().find(is_meant) {
                    *station = one.peer.to_string();
                }
            }
        }
        if let Self::Admit { station }
        | Self::Decline { station }
        | Self::Remove { station }
        | Self::LetBack { station }
        | Self::Deputy { station, .. } = &mut self
        {
            let seated = view.stations.iter().map(|one| one.peer);
            let watching = view.watching.iter().map(|(peer, _)| *peer);
            let mut keys = seated.chain(view.knocking.iter().map(|one| one.peer)).chain(watching);
            if let Some(key) = keys.find(|key| key.tag().eq_ignore_ascii_case(station.trim())) {
                *station = key.to_string();
            }
        }
        self
    }

    /// The session's command; `None` for [`OrderBody::Stop`] and [`OrderBody::Measure`], which the session knows nothing of.
    pub(crate) fn command(self) -> Result<Option<Command>, String> {
        let station = |text: &str| {
            let text = text.trim();
            // Whoever types has mistyped a tag: keys whole are sent by the page alone.
            text.parse()
                .map_err(|_| format!("nobody here has the tag “{text}”: `consort-coordinator status` lists them"))
        };
        Ok(Some(match self {
            Self::Change(body) => deputy::command(body.change()?),
            Self::Joining { open } => Command::Joining(open),
            Self::Code => Command::Joining(true),
            Self::Remove { station: key } => Command::Remove(station(&key)?),
            Self::LetBack { station: key } => Command::LetBack(station(&key)?),
            Self::Admit { station: key } => Command::Admit(station(&key)?),
            Self::Decline { station: key } => Command::Decline(station(&key)?),
            Self::GiveUp { seat, yes } => Command::GiveUp { seat, yes },
            Self::Deputy { station: key, granted } => Command::Deputy {
                peer: station(&key)?,
                granted,
            },
            Self::Board => Command::RenewBoard,
            Self::Order { stations } => {
                let seat = |text: &String| {
                    text.parse()
                        .map_err(|_| format!("there is no seat “{text}”: `consort-coordinator status` lists them"))
                };
                Command::Order(stations.iter().map(seat).collect::<Result<_, String>>()?)
            }
            Self::Tones { allowed } => Command::Tones { allowed },
            Self::DropProposal => Command::DropProposal,
            Self::Proposal { .. } => {
                return Err("nobody has measured an A: `consort-coordinator status` says when somebody has".to_owned());
            }
            Self::NextPitch { hz } => {
                Command::NextPitch(hz.map(ReferencePitch::new).transpose().map_err(|why| why.to_string())?)
            }
            // Measuring takes its time; what it comes to is an order of its own.
            Self::Measure | Self::Stop => return Ok(None),
        }))
    }
}

/// Why what was typed is not an order.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[error("{0}")]
pub struct NotAnOrder(String);

impl OrderBody {
    /// What the typed order sends; `None` for those that only look.
    pub fn typed(order: &Order) -> Result<Option<Self>, NotAnOrder> {
        let changed = |body: ChangeBody| match body.clone().change() {
            Ok(_) => Ok(Some(Self::Change(body))),
            Err(why) => Err(NotAnOrder(why)),
        };
        match order {
            Order::Pitch { hz, next_round: false } => changed(ChangeBody::Pitch { hz: hz.hz().get() }),
            Order::Pitch { hz, next_round: true } => Ok(Some(Self::NextPitch {
                hz: Some(hz.hz().get()),
            })),
            Order::Proposal { word } => Ok(Some(Self::Proposal {
                answer: match word.as_str() {
                    "now" => Answer::Now,
                    "next" => Answer::Next,
                    _ => Answer::Keep,
                },
            })),
            Order::Decline { tag } => Ok(Some(Self::Decline { station: tag.clone() })),
            Order::Seat { number, word } => Ok(Some(Self::GiveUp {
                seat: *number,
                yes: word == "give",
            })),
            Order::Temperament { words, home } => {
                let name = words.join(" ");
                let name = home
                    .map_or(Ok(name.clone()), |home| moved(&name, home))
                    .map_err(NotAnOrder)?;
                changed(ChangeBody::Temperament { name })
            }
            Order::Setting { words } => changed(ChangeBody::Setting { key: words.join(" ") }),
            Order::Tolerance { cents } => {
                let &[middle, wires, top] = cents.as_slice() else {
                    return Err(NotAnOrder(
                        "a tolerance has three numbers: for the middle, the wires and the top, as in 2 3 5".to_owned(),
                    ));
                };
                changed(ChangeBody::Tolerance { middle, wires, top })
            }
            Order::Start { words } => {
                let text = words.join(" ");
                if text == "none" {
                    return changed(ChangeBody::Start { in_s: None });
                }
                let start: Start = text
                    .parse()
                    .map_err(|why: crate::start::NotAStart| NotAnOrder(why.to_string()))?;
                let wait = start.from_now().map_err(|why| NotAnOrder(why.to_string()))?;
                changed(ChangeBody::Start {
                    in_s: Some(wait.as_secs()),
                })
            }
            Order::Call { string } => changed(ChangeBody::Call {
                string: Some(string.clone()).filter(|string| string != "none"),
            }),
            Order::Admit { tag } => Ok(Some(Self::Admit { station: tag.clone() })),
            Order::Remove { tag } => Ok(Some(Self::Remove { station: tag.clone() })),
            Order::LetBack { tag } => Ok(Some(Self::LetBack { station: tag.clone() })),
            Order::Deputy { tag, word } => Ok(Some(Self::Deputy {
                station: tag.clone(),
                granted: word == "on",
            })),
            Order::Round => changed(ChangeBody::Round),
            Order::Undo => changed(ChangeBody::Undo),
            Order::Code => Ok(Some(Self::Code)),
            Order::Measure => Ok(Some(Self::Measure)),
            Order::Board => Ok(Some(Self::Board)),
            Order::Order { seats } => Ok(Some(Self::Order {
                stations: seats.clone(),
            })),
            Order::Tones { word } => Ok(Some(Self::Tones { allowed: word == "on" })),
            Order::Joining { word } => Ok(Some(Self::Joining { open: word == "on" })),
            Order::Stop => Ok(Some(Self::Stop)),
            // Nothing that a coordinator is asked.
            Order::Replay { .. } => Ok(None),
            Order::Status | Order::Link | Order::Summary { .. } => Ok(None),
        }
    }
}

/// The temperament that `name` stands for, at home on `home`, as the twelve offsets that are sent.
fn moved(name: &str, home: Note) -> Result<String, String> {
    let temperament: Temperament = name.parse().map_err(|why| format!("{why}"))?;
    // At home on C it keeps its name.
    if home.pitch_class() == 0 {
        return Ok(name.to_owned());
    }
    let moved = temperament.at_home_on(home).map_err(|why| why.to_string())?;
    Ok(moved.offsets().map(|offset| offset.0.to_string()).join(" "))
}

/// As fine as anybody agrees on a pitch.
fn half_hertz(measured: ReferencePitch) -> f64 {
    let half = (measured.hz().get() * 2.0).round() / 2.0;
    ReferencePitch::new(half).unwrap_or(measured).hz().get()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    use consort_proto::{Scheme, Setting, Temperament, Tolerance};

    #[test]
    fn an_order_keeps_its_shape_on_the_way() {
        for (text, command) in [
            (
                r#"{"order":"pitch","hz":442}"#,
                Command::Pitch(ReferencePitch::new(442.0).expect("pitch")),
            ),
            (
                r#"{"order":"temperament","name":"vallotti"}"#,
                Command::Temperament(Temperament::named(Scheme::Vallotti)),
            ),
            (r#"{"order":"setting","key":"C"}"#, Command::Setting(Setting::NATURALS)),
            (
                r#"{"order":"start","in_s":1500}"#,
                Command::Start(Some(Duration::from_secs(1500))),
            ),
            (r#"{"order":"start","in_s":null}"#, Command::Start(None)),
            (
                r#"{"order":"tolerance","middle":2,"wires":3,"top":5}"#,
                Command::Tolerance(Tolerance::default()),
            ),
            (r#"{"order":"round"}"#, Command::NewRound),
            (r#"{"order":"undo"}"#, Command::Undo),
            (r#"{"order":"joining","open":false}"#, Command::Joining(false)),
            (r#"{"order":"code"}"#, Command::Joining(true)),
            (r#"{"order":"board"}"#, Command::RenewBoard),
            (
                r#"{"order":"tones","allowed":false}"#,
                Command::Tones { allowed: false },
            ),
            (r#"{"order":"next-pitch","hz":null}"#, Command::NextPitch(None)),
        ] {
            let body: OrderBody = serde_json::from_str(text).expect(text);
            assert_eq!(body.command(), Ok(Some(command)), "{text}");
        }
    }

    #[test]
    fn what_cannot_be_meant_is_no_order() {
        for text in [
            r#"{"order":"pitch","hz":4400}"#,
            r#"{"order":"pitch","hz":0}"#,
            r#"{"order":"temperament","name":"loud"}"#,
            r#"{"order":"setting","key":"H"}"#,
            r#"{"order":"remove","station":"nobody"}"#,
            r#"{"order":"let-back","station":""}"#,
            r#"{"order":"tolerance","middle":0,"wires":3,"top":5}"#,
            r#"{"order":"tolerance","middle":2,"wires":3,"top":-5}"#,
            r#"{"order":"tolerance","middle":2,"wires":300,"top":5}"#,
        ] {
            let body: OrderBody = serde_json::from_str(text).expect(text);
            assert!(body.command().is_err(), "{text}");
        }
        for text in [
            r#"{"order":"pitch"}"#,
            r#"{"order":"sing"}"#,
            r#"{"order":"pitch","hz":442,"also":1}"#,
            "null",
            "[]",
        ] {
            assert!(serde_json::from_str::<OrderBody>(text).is_err(), "{text}");
        }
    }
}
