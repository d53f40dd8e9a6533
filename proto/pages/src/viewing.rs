//! The board's routes: whoever has the address may look, nobody can change anything.

use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::middleware::from_fn;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use consort_words::{Key, Words};
use tokio::sync::{Semaphore, watch};

use crate::asset::{self, BOARD};
use crate::guard::{same, with_headers};
use crate::stream::{Pace, paced};

/// Viewers at once: a projector and the phones of a large ensemble.
pub const VIEWERS_MAX: usize = 32;

#[derive(Clone)]
struct Shared {
    token: watch::Receiver<Arc<str>>,
    pictures: watch::Receiver<Arc<str>>,
    viewers: Arc<Semaphore>,
}

/// The board below `/{token}/` for as long as it is served, as [`board_behind`] has it.
pub fn board(pictures: watch::Receiver<Arc<str>>, token: &str) -> Router {
    board_behind(pictures, watch::Sender::new(Arc::from(token)).subscribe())
}

/// The board below `/{token}/`: the page, its files, `board.json` (the newest picture) and `live` (all of them).
///
/// `pictures` holds a [`crate::BoardPage`] as one line of JSON. Every wrong token is answered with one and the same
/// sentence, one that was right before `token` changed as well, and whoever looked by that sees nothing more.
/// There is no route that changes anything.
pub fn board_behind(pictures: watch::Receiver<Arc<str>>, token: watch::Receiver<Arc<str>>) -> Router {
    let shared = Shared {
        token,
        pictures,
        viewers: Arc::new(Semaphore::new(VIEWERS_MAX)),
    };
    Router::new()
        .route("/{token}/", get(page))
        .route("/{token}/board.json", get(look))
        .route("/{token}/live", get(live))
        .route("/{token}/{file}", get(file))
        .with_state(shared)
        .layer(from_fn(with_headers))
}

impl Shared {
    fn knows(&self, token: &str) -> bool {
        same(token.as_bytes(), self.token.borrow().as_bytes())
    }

    /// Resolves once `token` does not open the board any more.
    async fn closed_to(mut self, token: String) {
        let other = |now: &Arc<str>| **now != *token;
        // A token that nobody can change any more stays.
        if self.token.wait_for(other).await.is_err() {
            std::future::pending().await
        }
    }
}

async fn page(State(shared): State<Shared>, Path(token): Path<String>) -> Response {
    if shared.knows(&token) {
        asset::find(BOARD, "")
    } else {
        nothing()
    }
}

async fn file(State(shared): State<Shared>, Path((token, file)): Path<(String, String)>) -> Response {
    if shared.knows(&token) {
        asset::find(BOARD, &file)
    } else {
        nothing()
    }
}

async fn look(State(shared): State<Shared>, Path(token): Path<String>) -> Response {
    if !shared.knows(&token) {
        return nothing();
    }
    let picture = shared.pictures.borrow().to_string();
    ([(CONTENT_TYPE, "application/json")], picture).into_response()
}

async fn live(State(shared): State<Shared>, Path(token): Path<String>) -> Response {
    if !shared.knows(&token) {
        return nothing();
    }
    let Ok(seat) = shared.viewers.clone().try_acquire_owned() else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    // The seat is given up with the stream.
    let pictures = shared.pictures.clone();
    paced(pictures, Pace::BOARD, seat, shared.closed_to(token))
}

/// What is said to whoever has no address of the board.
fn nothing() -> Response {
    (StatusCode::NOT_FOUND, Words::english().say(Key::BoardElsewhere, &[])).into_response()
}
