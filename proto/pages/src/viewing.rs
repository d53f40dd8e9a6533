//! The board's routes: whoever has the address may look, nobody can change anything.

use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::middleware::from_fn;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use tokio::sync::{Semaphore, watch};

use crate::asset::{self, BOARD};
use crate::guard::{same, with_headers};
use crate::stream::{Pace, paced};

/// Viewers at once: a projector and the phones of a large ensemble.
pub const VIEWERS_MAX: usize = 32;

#[derive(Clone)]
struct Shared {
    token: Arc<str>,
    pictures: watch::Receiver<Arc<str>>,
    viewers: Arc<Semaphore>,
}

/// The board below `/{token}/`: the page, its files, `board.json` (the newest picture) and `live` (all of them).
///
/// `pictures` holds a [`crate::BoardPage`] as one line of JSON. Without the token everything is as if it did not
/// exist; there is no route that changes anything.
pub fn board(pictures: watch::Receiver<Arc<str>>, token: &str) -> Router {
    let shared = Shared {
        token: token.into(),
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
        same(token.as_bytes(), self.token.as_bytes())
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
    paced(shared.pictures, Pace::BOARD, seat)
}

fn nothing() -> Response {
    StatusCode::NOT_FOUND.into_response()
}
