//! The director's pages, on this laptop only: the board for whoever has its address, control behind a token.

use std::sync::Arc;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use consort_pages::{ChangeBody, Guard, Links, Proposal, control_files, stream};
use consort_proto::deputy::{Change, Outcome};
use consort_words::{Key, Words};
use serde_json::{Value, json};
use tokio::net::TcpListener;
use tokio::sync::{mpsc, oneshot, watch};

use crate::podium::PodiumError;
use crate::podium::assembly::Assembly;
use crate::podium::joining::Known;

/// A change that the page wants, and who waits for what becomes of it.
#[derive(Debug)]
pub(crate) struct Wanted {
    pub(crate) number: u32,
    pub(crate) change: Change,
    answer: oneshot::Sender<Outcome>,
}

impl Wanted {
    /// Tells the page what became of it.
    pub(crate) fn answer(self, outcome: Outcome) {
        // The page may have gone.
        let _ = self.answer.send(outcome);
    }
}

/// The two pages with their ports.
pub(crate) struct Pages {
    board: TcpListener,
    control: TcpListener,
    tokens: [String; 2],
    ports: [u16; 2],
    links: Links,
    shown: watch::Receiver<Arc<Assembly>>,
    orders: mpsc::Sender<Wanted>,
}

/// What the handlers share.
#[derive(Clone)]
struct Shared {
    shown: watch::Receiver<Arc<Assembly>>,
    pictures: watch::Receiver<Arc<str>>,
    orders: mpsc::Sender<Wanted>,
}

impl Pages {
    pub(crate) fn new(
        board: TcpListener,
        control: TcpListener,
        known: Known,
        shown: watch::Receiver<Arc<Assembly>>,
        orders: mpsc::Sender<Wanted>,
    ) -> Result<Self, PodiumError> {
        let port = |listener: &TcpListener| {
            let address = listener.local_addr();
            address
                .map(|address| address.port())
                .map_err(|cause| PodiumError::Page { port: 0, cause })
        };
        let ports = [port(&board)?, port(&control)?];
        let tag = known.coordinator.tag();
        Ok(Self {
            board,
            control,
            tokens: [token()?, token()?],
            ports,
            // Who else joins is the leader's business.
            links: Links::new(known.address.to_string(), tag, String::new(), String::new()),
            shown,
            orders,
        })
    }

    pub(crate) fn board_url(&self) -> String {
        format!("http://127.0.0.1:{}/{}/", self.ports[0], self.tokens[0])
    }

    pub(crate) fn control_url(&self) -> String {
        format!("http://127.0.0.1:{}/#{}", self.ports[1], self.tokens[1])
    }

    /// Serves both until the program ends.
    pub(crate) async fn serve(self) {
        let Self {
            board,
            control,
            tokens: [board_token, control_token],
            ports: [_, control_port],
            links,
            mut shown,
            orders,
        } = self;
        let (boards, board_pictures) = watch::channel(Arc::from(""));
        let (controls, control_pictures) = watch::channel(Arc::from(""));
        let shared = Shared {
            shown: shown.clone(),
            pictures: control_pictures,
            orders,
        };
        let cookie = format!("consort-deputy-{control_port}");
        let guard = Guard::new(control_port, cookie, control_token);
        let closed = Router::new()
            .route("/live", get(live))
            .route("/consequence", post(consequence))
            .route("/order", post(order))
            .with_state(shared);
        let control_pages = guard.protect(control_files(), closed);
        let board_pages = consort_pages::board(board_pictures, &board_token);
        let drawing = async {
            let words = Words::english();
            while shown.changed().await.is_ok() {
                let assembly = shown.borrow_and_update().clone();
                boards.send_replace(assembly.board(&words).into());
                controls.send_replace(assembly.control(&links, &words).into());
            }
        };
        tokio::select! {
            served = axum::serve(board, board_pages).into_future() => tracing::warn!(?served, "the board has ended"),
            served = axum::serve(control, control_pages).into_future() => tracing::warn!(?served, "control has ended"),
            () = drawing => {}
        }
    }
}

async fn live(State(shared): State<Shared>) -> Response {
    stream(shared.pictures, ())
}

async fn consequence(State(shared): State<Shared>, Json(proposal): Json<Proposal>) -> Response {
    let assembly = shared.shown.borrow().clone();
    let Some(image) = assembly.image() else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    match proposal.consequence(&image, &Words::english()) {
        Ok(consequence) => Json(consequence).into_response(),
        Err(why) => refused(&why.to_string()),
    }
}

async fn order(State(shared): State<Shared>, Json(body): Json<Value>) -> Response {
    let words = Words::english();
    let Ok(body) = serde_json::from_value::<ChangeBody>(body) else {
        return refused(&words.say(Key::DeputyOnlyLeader, &[]));
    };
    let change = match body.change() {
        Ok(change) => change,
        Err(why) => return refused(&why),
    };
    let (answer, outcome) = oneshot::channel();
    let wanted = Wanted {
        number: 0,
        change,
        answer,
    };
    // Without a link nobody takes it, and nobody should carry it out later.
    if !shared.shown.borrow().is_granted() || shared.orders.try_send(wanted).is_err() {
        return refused(&words.say(Key::DeputyNotTaken, &[]));
    }
    match outcome.await {
        Ok(Outcome::Done | Outcome::Unchanged) => StatusCode::NO_CONTENT.into_response(),
        Ok(Outcome::NotWritten) => refused(&words.say(Key::BoardDiskFull, &[])),
        Ok(Outcome::NotGranted) | Err(_) => refused(&words.say(Key::DeputyNotTaken, &[])),
    }
}

/// Says in a sentence why not.
fn refused(why: &str) -> Response {
    (StatusCode::UNPROCESSABLE_ENTITY, Json(json!({"why": why}))).into_response()
}

/// A token that nobody can guess.
fn token() -> Result<String, PodiumError> {
    let bytes: [u8; 16] = ring::rand::generate(&ring::rand::SystemRandom::new())
        .map_err(|_| PodiumError::NoRandomNumbers)?
        .expose();
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}
