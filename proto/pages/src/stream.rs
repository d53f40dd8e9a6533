//! The stream of server-sent events on which a page follows its program.

use std::convert::Infallible;
use std::sync::Arc;

use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream::unfold;
use tokio::sync::watch;

/// The newest picture, now and after each change; `held` is let go of when the viewer goes.
///
/// A slow viewer skips pictures and never holds anyone up. A picture is one line of text, as JSON is.
pub fn stream(mut pictures: watch::Receiver<Arc<str>>, held: impl Send + 'static) -> Response {
    pictures.mark_changed();
    let stream = unfold((pictures, held), |(mut pictures, held)| async move {
        pictures.changed().await.ok()?;
        let picture = Event::default().data(&*pictures.borrow_and_update().clone());
        Some((Ok::<_, Infallible>(picture), (pictures, held)))
    });
    Sse::new(stream).keep_alive(KeepAlive::default()).into_response()
}
