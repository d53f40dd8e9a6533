//! The stream of server-sent events on which a page follows its program.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::StreamExt;
use futures_util::stream::unfold;
use tokio::sync::watch;
use tokio::time::{sleep, timeout};

/// How often a viewer is sent something.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Pace {
    /// The shortest time between two pictures.
    pub every: Duration,
    /// After this long without a change the picture is sent again, so that a viewer can tell a quiet ensemble from a
    /// dead link.
    pub again: Duration,
}

impl Pace {
    /// For the board: a change after a pause at once, at most twenty pictures a second, and one every five seconds at
    /// the least.
    pub const BOARD: Self = Self {
        every: Duration::from_millis(50),
        again: Duration::from_secs(5),
    };
}

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

/// The same at a `pace` of its own for each viewer, until `ended`.
pub fn paced(
    pictures: watch::Receiver<Arc<str>>,
    pace: Pace,
    held: impl Send + 'static,
    ended: impl Future<Output = ()> + Send + 'static,
) -> Response {
    let stream = unfold((pictures, held, true), move |(mut pictures, held, first)| async move {
        if !first {
            sleep(pace.every).await;
            // Silence is an answer too: then the same picture goes out again.
            if let Ok(ended) = timeout(pace.again.saturating_sub(pace.every), pictures.changed()).await {
                ended.ok()?;
            }
        }
        let picture = Event::default().data(&*pictures.borrow_and_update().clone());
        Some((Ok::<_, Infallible>(picture), (pictures, held, false)))
    });
    let stream = stream.take_until(Box::pin(ended));
    Sse::new(stream).keep_alive(KeepAlive::default()).into_response()
}
