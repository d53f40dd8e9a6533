//! Connections to the pages: so many at once, and none that neither says nor takes anything.

use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use axum::serve::Listener;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::{Instant, Sleep, sleep};

/// A listening socket with a limited number of places; who comes when all are taken waits outside.
#[derive(Debug)]
pub(crate) struct Visitors {
    listener: TcpListener,
    places: Arc<Semaphore>,
    patience: Duration,
}

/// Connections at once: the board's 32 viewers, and as many that just load it.
const PLACES: usize = 64;
/// A stream of pictures says something every 15 s, and whoever reads takes it: twice that without either is a phone that
/// has gone to sleep, or somebody who only wants the place.
const PATIENCE: Duration = Duration::from_secs(30);

impl Visitors {
    pub(crate) fn of(listener: TcpListener) -> Self {
        Self::with(listener, PLACES, PATIENCE)
    }

    fn with(listener: TcpListener, places: usize, patience: Duration) -> Self {
        Self {
            listener,
            places: Arc::new(Semaphore::new(places)),
            patience,
        }
    }
}

impl Listener for Visitors {
    type Io = Visit;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Visit, SocketAddr) {
        // The semaphore is never closed, so a place is always found in the end.
        let place = self.places.clone().acquire_owned().await.ok();
        let (stream, address) = Listener::accept(&mut self.listener).await;
        let visit = Visit {
            stream,
            patience: self.patience,
            ends: Box::pin(sleep(self.patience)),
            _place: place,
        };
        (visit, address)
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}

/// One connection; it ends when nothing has moved for too long.
#[derive(Debug)]
pub(crate) struct Visit {
    stream: TcpStream,
    patience: Duration,
    ends: Pin<Box<Sleep>>,
    _place: Option<OwnedSemaphorePermit>,
}

impl Visit {
    /// Passes `moved` on, and winds the clock when something has moved.
    fn watch<T>(&mut self, context: &mut Context<'_>, moved: Poll<io::Result<T>>) -> Poll<io::Result<T>> {
        if moved.is_ready() {
            self.ends.as_mut().reset(Instant::now() + self.patience);
            return moved;
        }
        ready!(self.ends.as_mut().poll(context));
        Poll::Ready(Err(io::ErrorKind::TimedOut.into()))
    }
}

impl AsyncRead for Visit {
    fn poll_read(mut self: Pin<&mut Self>, context: &mut Context<'_>, into: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let moved = Pin::new(&mut self.stream).poll_read(context, into);
        self.watch(context, moved)
    }
}

impl AsyncWrite for Visit {
    fn poll_write(mut self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let moved = Pin::new(&mut self.stream).poll_write(context, bytes);
        self.watch(context, moved)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::Router;
    use axum::routing::get;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};

    #[tokio::test]
    async fn who_says_nothing_gives_the_place_up_for_the_next() {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("listen");
        let address = listener.local_addr().expect("address");
        let visitors = Visitors::with(listener, 1, Duration::from_millis(50));
        let pages = Router::new().route("/", get(|| async { "here" }));
        tokio::spawn(async { axum::serve(visitors, pages).await });
        let mut silent = TcpStream::connect(address).await.expect("connect");
        let mut next = TcpStream::connect(address).await.expect("connect");
        let request = "GET / HTTP/1.1\r\nHost: board\r\nConnection: close\r\n\r\n";
        next.write_all(request.as_bytes()).await.expect("send");
        let mut answer = String::new();
        next.read_to_string(&mut answer).await.expect("answer");
        assert!(answer.ends_with("here"), "{answer}");
        assert_eq!(silent.read(&mut [0; 8]).await.expect("end"), 0);
    }
}
