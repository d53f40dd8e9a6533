//! The board: anyone in the room with its address may look, nobody can change anything.

use std::convert::Infallible;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::middleware::from_fn;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use consort_session::{Saved, View};
use consort_words::Words;
use futures_util::stream::unfold;
use sha2::{Digest, Sha256};
use tokio::sync::{Semaphore, watch};
use tokio::time::sleep;

use crate::asset;
use crate::guard::{same, with_headers};
use crate::status::Status;

/// Viewers at once: a projector and the phones of a large ensemble's front desks.
const VIEWERS_MAX: usize = 32;
/// At most five pictures in a second, each the newest: a slow phone skips what it could not have shown.
const SHOW_EVERY: Duration = Duration::from_millis(200);

/// What opens the board: lasts as long as the session, so that a restart does not blank the wall.
///
/// Made from the session's secret in a way that does not lead back to it.
pub(crate) fn token(saved: &Saved) -> String {
    let digest = Sha256::new()
        .chain_update("consort board view")
        .chain_update(saved.token.0)
        .finalize();
    digest.iter().take(16).map(|byte| format!("{byte:02x}")).collect()
}

/// The board's address.
pub(crate) fn url(at: SocketAddr, token: &str) -> String {
    format!("http://{at}/{token}/")
}

#[derive(Clone)]
struct Shared {
    token: Arc<str>,
    pictures: watch::Receiver<Arc<str>>,
    viewers: Arc<Semaphore>,
}

/// Draws the newest image for all viewers together, at most once in [`SHOW_EVERY`]; never ends.
pub(crate) async fn draw(mut images: watch::Receiver<Arc<View>>, pictures: watch::Sender<Arc<str>>) {
    images.mark_changed();
    let words = Words::english();
    while images.changed().await.is_ok() {
        let view = images.borrow_and_update().clone();
        pictures.send_replace(picture(&view, &words));
        sleep(SHOW_EVERY).await;
    }
    std::future::pending().await
}

/// What a viewer is sent.
pub(crate) fn picture(view: &View, words: &Words) -> Arc<str> {
    // A status always becomes JSON: its keys are words and its numbers finite.
    serde_json::to_string(&Status::of(view, words))
        .unwrap_or_default()
        .into()
}

/// The board's pages; there is no route that changes anything.
pub(crate) fn pages(pictures: watch::Receiver<Arc<str>>, token: &str) -> Router {
    let shared = Shared {
        token: token.into(),
        pictures,
        viewers: Arc::new(Semaphore::new(VIEWERS_MAX)),
    };
    Router::new()
        .route("/{token}/", get(page))
        .route("/{token}/board.js", get(asset::board_script))
        .route("/{token}/page.css", get(asset::style))
        .route("/{token}/board.json", get(look))
        .route("/{token}/live", get(live))
        .with_state(shared)
        .layer(from_fn(with_headers))
}

async fn page(State(shared): State<Shared>, Path(token): Path<String>) -> Response {
    if same(token.as_bytes(), shared.token.as_bytes()) {
        asset::board_page().into_response()
    } else {
        StatusCode::NOT_FOUND.into_response()
    }
}

async fn look(State(shared): State<Shared>, Path(token): Path<String>) -> Response {
    if !same(token.as_bytes(), shared.token.as_bytes()) {
        return StatusCode::NOT_FOUND.into_response();
    }
    let picture = shared.pictures.borrow().to_string();
    ([(CONTENT_TYPE, "application/json")], picture).into_response()
}

async fn live(State(shared): State<Shared>, Path(token): Path<String>) -> Response {
    if !same(token.as_bytes(), shared.token.as_bytes()) {
        return StatusCode::NOT_FOUND.into_response();
    }
    let Ok(seat) = shared.viewers.clone().try_acquire_owned() else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    // The seat is given up with the stream.
    stream(shared.pictures, seat)
}

/// The newest picture, now and after each change; `held` is let go of when the viewer goes.
pub(crate) fn stream(mut pictures: watch::Receiver<Arc<str>>, held: impl Send + 'static) -> Response {
    pictures.mark_changed();
    let stream = unfold((pictures, held), |(mut pictures, held)| async move {
        pictures.changed().await.ok()?;
        let picture = Event::default().data(&*pictures.borrow_and_update().clone());
        Some((Ok::<_, Infallible>(picture), (pictures, held)))
    });
    Sse::new(stream).keep_alive(KeepAlive::default()).into_response()
}
