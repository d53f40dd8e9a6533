//! The leader's page and the orders it sends: on this computer only, behind a token.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use consort_pages::{ChangeBody, Guard, Proposal, control_files, stream};
use consort_proto::Scheme;
use consort_session::{Command, View};
use consort_words::{Key, Words};
use serde::{Deserialize, Serialize};
use serde_json::json;
use tokio::sync::watch;

use crate::args::Order;
use crate::coordinator::{Outcome, Viewer};
use crate::deputy;
use crate::image;
use crate::lines::lines;
use crate::network::Network;
use crate::remote::Handle;
use crate::start::Start;
use crate::status::{self, Status};

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
    /// Put the proposed reference pitch away.
    DropProposal,
    /// Close the session and end the coordinator.
    Stop,
    /// A change of the agreement, which deputies may order as well.
    #[serde(untagged)]
    Change(ChangeBody),
}

impl OrderBody {
    /// The same with the whole fingerprint of the station's key in place of its tag, where `view` knows it.
    fn named_in(mut self, view: &View) -> Self {
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

    /// The session's command; `None` for [`OrderBody::Stop`], which the session knows nothing of.
    fn command(self) -> Result<Option<Command>, String> {
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
            Self::DropProposal => Command::DropProposal,
            Self::Stop => return Ok(None),
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
            Order::Pitch { hz } => changed(ChangeBody::Pitch { hz: hz.hz().get() }),
            Order::Temperament { words } => changed(ChangeBody::Temperament { name: words.join(" ") }),
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
            Order::Joining { word } => Ok(Some(Self::Joining { open: word == "on" })),
            Order::Stop => Ok(Some(Self::Stop)),
            Order::Status | Order::Link => Ok(None),
        }
    }
}

/// What the handlers share.
#[derive(Clone)]
struct Shared {
    viewer: Viewer,
    words: Arc<Words>,
    pictures: watch::Receiver<Arc<str>>,
    networks: watch::Receiver<Network>,
}

/// The page's address, with the token where it is not sent to any server: behind `#`.
pub(crate) fn url(at: SocketAddr, token: &str) -> String {
    format!("http://{at}/#{token}")
}

/// The leader's pages.
pub(crate) fn pages(
    viewer: Viewer,
    pictures: watch::Receiver<Arc<str>>,
    handle: &Handle,
    networks: watch::Receiver<Network>,
) -> Router {
    let shared = Shared {
        viewer,
        words: Arc::new(Words::english()),
        pictures,
        networks,
    };
    let guard = Guard::new(handle.port, handle.cookie(), handle.token.clone());
    let closed = Router::new()
        .route("/status.json", get(show_status))
        .route("/lines.json", get(show_lines))
        .route("/link.json", get(link))
        .route("/live", get(live))
        .route("/consequence", post(consequence))
        .route("/order", post(order))
        .with_state(shared);
    guard.protect(control_files(), closed)
}

async fn show_status(State(shared): State<Shared>) -> Response {
    match shared.viewer.look().await {
        Some(view) => Json(Status::of(&view, &shared.words)).into_response(),
        None => StatusCode::SERVICE_UNAVAILABLE.into_response(),
    }
}

/// The session for people who look at it in another terminal.
async fn show_lines(State(shared): State<Shared>) -> Response {
    match shared.viewer.look().await {
        Some(view) => Json(json!({"lines": lines(&view, &shared.words)})).into_response(),
        None => StatusCode::SERVICE_UNAVAILABLE.into_response(),
    }
}

async fn live(State(shared): State<Shared>) -> Response {
    stream(shared.pictures, ())
}

async fn link(State(shared): State<Shared>) -> Response {
    let Some(view) = shared.viewer.look().await else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    let links = shared.networks.borrow().links.clone();
    Json(json!({
        "address": links.address,
        "join": links.join,
        "board": links.board,
        "temperaments": Scheme::ALL.map(Scheme::word),
        "code": status::code(&view),
    }))
    .into_response()
}

/// What a change would do that the leader has in mind and has not sent.
async fn consequence(State(shared): State<Shared>, Json(proposal): Json<Proposal>) -> Response {
    let Some(view) = shared.viewer.look().await else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    match proposal.consequence(&image::of(&view), &shared.words) {
        Ok(consequence) => Json(consequence).into_response(),
        Err(why) => refused(StatusCode::UNPROCESSABLE_ENTITY, &why.to_string()),
    }
}

/// Says in a sentence why not.
fn refused(status: StatusCode, why: &str) -> Response {
    (status, Json(json!({"why": why}))).into_response()
}

async fn order(State(shared): State<Shared>, Json(body): Json<OrderBody>) -> Response {
    let of_door = matches!(body, OrderBody::Joining { .. } | OrderBody::Code);
    let Some(view) = shared.viewer.look().await else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    let command = match body.named_in(&view).command() {
        Ok(Some(command)) => command,
        Ok(None) => {
            shared.viewer.stop().await;
            return Json(json!({"line": "the session is closed"})).into_response();
        }
        Err(why) => return refused(StatusCode::UNPROCESSABLE_ENTITY, &why),
    };
    match shared.viewer.order(command).await {
        Some(Outcome::Done(view)) => {
            let mut status = Status::of(&view, &shared.words);
            if of_door {
                let says = if view.joining {
                    Key::JoiningOpen
                } else {
                    Key::JoiningClosed
                };
                status.line = shared.words.say(says, &[]);
            }
            Json(status).into_response()
        }
        Some(Outcome::Unchanged(view)) => {
            let mut status = Status::of(&view, &shared.words);
            status.line = format!("nothing had to change · {}", status.line);
            Json(status).into_response()
        }
        Some(Outcome::NotWritten) => refused(
            StatusCode::INSUFFICIENT_STORAGE,
            "the disk takes nothing, so nothing was changed: make room and try again",
        ),
        None => StatusCode::SERVICE_UNAVAILABLE.into_response(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    use consort_proto::{ReferencePitch, Setting, Temperament, Tolerance};

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
