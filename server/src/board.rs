//! The board: anyone in the room with its address may look, nobody can change anything.

use std::convert::Infallible;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::middleware::from_fn;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use consort_session::{Saved, View};
use futures_util::Stream;
use futures_util::stream::unfold;
use sha2::{Digest, Sha256};
use tokio::sync::{Semaphore, watch};
use tokio::time::sleep;

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
    images: watch::Receiver<Arc<View>>,
    viewers: Arc<Semaphore>,
}

/// The board's pages; there is no route that changes anything.
pub(crate) fn pages(images: watch::Receiver<Arc<View>>, token: &str) -> Router {
    let shared = Shared {
        token: token.into(),
        images,
        viewers: Arc::new(Semaphore::new(VIEWERS_MAX)),
    };
    Router::new()
        .route("/{token}/board.json", get(look))
        .route("/{token}/live", get(live))
        .with_state(shared)
        .layer(from_fn(with_headers))
}

async fn look(State(shared): State<Shared>, Path(token): Path<String>) -> Response {
    if !same(token.as_bytes(), shared.token.as_bytes()) {
        return StatusCode::NOT_FOUND.into_response();
    }
    let view = shared.images.borrow().clone();
    axum::Json(Status::from(&*view)).into_response()
}

async fn live(State(shared): State<Shared>, Path(token): Path<String>) -> Response {
    if !same(token.as_bytes(), shared.token.as_bytes()) {
        return StatusCode::NOT_FOUND.into_response();
    }
    let Ok(seat) = shared.viewers.clone().try_acquire_owned() else {
        return StatusCode::SERVICE_UNAVAILABLE.into_response();
    };
    let pictures = pictures(shared.images.clone(), |view| {
        Event::default().json_data(Status::from(view)).unwrap_or_default()
    });
    // The seat is given up with the stream.
    let pictures = futures_util::StreamExt::map(pictures, move |picture| {
        let _seat = &seat;
        Ok::<_, Infallible>(picture)
    });
    Sse::new(pictures).keep_alive(KeepAlive::default()).into_response()
}

/// The newest image, now and after each change, at most one in [`SHOW_EVERY`].
pub(crate) fn pictures<T>(mut images: watch::Receiver<Arc<View>>, draw: impl Fn(&View) -> T) -> impl Stream<Item = T> {
    images.mark_changed();
    unfold((images, draw, false), |(mut images, draw, shown)| async move {
        if shown {
            sleep(SHOW_EVERY).await;
        }
        images.changed().await.ok()?;
        let view = images.borrow_and_update().clone();
        let picture = draw(&view);
        Some((picture, (images, draw, true)))
    })
}
