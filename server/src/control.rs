//! The leader's page and the orders it sends: on this computer only, behind a token.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::extract::State;
use axum::http::StatusCode;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use consort_pages::{Guard, Proposal, control_files, stream};
use consort_proto::Scheme;
use consort_session::Command;
use consort_words::{Arg, Key, Words};
use serde_json::json;
use tokio::sync::watch;

use crate::coordinator::{Outcome, Viewer};
use crate::image;
use crate::lines::lines;
use crate::microphone::Microphone;
use crate::network::Network;
pub use crate::order::OrderBody;
use crate::remote::Handle;
use crate::status::{self, Status};
use crate::summary;

/// What the handlers share.
#[derive(Clone)]
struct Shared {
    viewer: Viewer,
    words: Arc<Words>,
    pictures: watch::Receiver<Arc<str>>,
    networks: watch::Receiver<Network>,
    microphone: Microphone,
}

impl Shared {
    /// The board's address once it is the one of that number.
    async fn board_at(&self, number: u32) -> String {
        let mut networks = self.networks.clone();
        let shown = networks.wait_for(|network| network.board == number).await;
        shown.map(|network| network.links.board.clone()).unwrap_or_default()
    }
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
    microphone: Microphone,
) -> Router {
    let shared = Shared {
        viewer,
        words: Arc::new(Words::english()),
        pictures,
        networks,
        microphone,
    };
    let guard = Guard::new(handle.port, handle.cookie(), handle.token.clone());
    let closed = Router::new()
        .route("/status.json", get(show_status))
        .route("/lines.json", get(show_lines))
        .route("/link.json", get(link))
        .route("/summary", get(summary_page))
        .route("/summary.json", get(show_status))
        .route("/summaries.json", get(summaries))
        .route("/summary.csv", get(summary_csv))
        .route(
            "/summary.css",
            get(async || ([(CONTENT_TYPE, "text/css; charset=utf-8")], summary::STYLE)),
        )
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

/// The session on a page to be printed.
async fn summary_page(State(shared): State<Shared>) -> Response {
    let Some(view) = shared.viewer.look().await else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    let head = "<link rel=\"stylesheet\" href=\"summary.css\">";
    Html(summary::page(&image::of(&view), head, &shared.words)).into_response()
}

/// All of it for another terminal, the page with its style inside.
async fn summaries(State(shared): State<Shared>) -> Response {
    let Some(view) = shared.viewer.look().await else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    let image = image::of(&view);
    let head = format!("<style>\n{}</style>", summary::STYLE);
    Json(json!({
        "page": summary::page(&image, &head, &shared.words),
        "csv": summary::csv(&image),
        "status": Status::of(&view, &shared.words),
    }))
    .into_response()
}

async fn summary_csv(State(shared): State<Shared>) -> Response {
    let Some(view) = shared.viewer.look().await else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    let file = "attachment; filename=\"consort-session.csv\"";
    let kind = [(CONTENT_TYPE, "text/csv; charset=utf-8"), (CONTENT_DISPOSITION, file)];
    (kind, summary::csv(&image::of(&view))).into_response()
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

/// Measures an A through this laptop and proposes it: nothing is agreed by that.
///
/// Whoever asked waits; when they leave, so does whatever listens.
async fn measure(shared: Shared) -> Response {
    let proposal = match shared.microphone.measure().await {
        Ok(proposal) => proposal,
        Err(why) => return refused(StatusCode::UNPROCESSABLE_ENTITY, &why.to_string()),
    };
    let (a4, sigma) = (proposal.a4.hz().get(), proposal.sigma.0);
    let Some(Outcome::Done(view) | Outcome::Unchanged(view)) = shared.viewer.order(Command::Propose(proposal)).await
    else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    let mut status = Status::of(&view, &shared.words);
    let args = [
        ("pitch", Arg::from(format!("{a4:.1}"))),
        ("cents", Arg::from(format!("{sigma:.1}"))),
    ];
    status.line = shared.words.say(Key::ProposalMeasured, &args);
    Json(status).into_response()
}

/// Says in a sentence why not.
fn refused(status: StatusCode, why: &str) -> Response {
    (status, Json(json!({"why": why}))).into_response()
}

async fn order(State(shared): State<Shared>, Json(body): Json<OrderBody>) -> Response {
    let of_door = matches!(body, OrderBody::Joining { .. } | OrderBody::Code);
    let of_board = body == OrderBody::Board;
    let Some(view) = shared.viewer.look().await else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    if body == OrderBody::Measure {
        return measure(shared).await;
    }
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
            if of_board {
                status.line = shared.board_at(view.board).await;
            }
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
