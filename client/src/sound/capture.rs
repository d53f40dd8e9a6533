//! Live sound: a thread of its own opens the input, looks after it and lets go of it, whatever the system makes of that.

use std::sync::Arc;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender, TryRecvError};
use std::time::Duration;
use std::{io, thread};

use consort_proto::SampleRate;
use rtrb::Consumer;

use crate::sound::card::{self, CardStream};
use crate::sound::input::InputError;
use crate::sound::kind::Kind;
#[cfg(target_os = "linux")]
use crate::sound::server::{Server, ServerStream};
use crate::sound::sides::Sides;
use crate::sound::signals::{self, Inlet, Seen, Signals};

/// An attempt to open an input; letting go of it lets go of what may come of it.
pub(crate) struct Opening(Receiver<Result<Capture, InputError>>);

/// An input that is being heard, until this is dropped.
pub(crate) struct Capture {
    ring: Consumer<f32>,
    signals: Arc<Signals>,
    sides: Sides,
    rate: SampleRate,
    kind: Kind,
    /// The thread that holds the stream ends when this goes.
    _hold: Sender<()>,
}

/// A stream, and everything through which it is heard.
pub(crate) struct Pieces<S> {
    pub(crate) stream: S,
    pub(crate) ring: Consumer<f32>,
    pub(crate) signals: Arc<Signals>,
    pub(crate) rate: SampleRate,
    pub(crate) channels: usize,
    pub(crate) kind: Kind,
}

/// A stream of one system or another.
enum Held {
    Card(#[expect(dead_code, reason = "held, so that it goes on")] CardStream),
    #[cfg(target_os = "linux")]
    Server(ServerStream),
}

/// The ring holds this much sound: far more than the reader ever lags, even when the laptop is busy.
const RING_S: f64 = 2.0;
/// A stream is looked after this often.
const TEND_EVERY: Duration = Duration::from_millis(100);

/// A ring for an input of `rate` and `channels`.
pub(crate) fn in_ring(rate: SampleRate, channels: usize) -> (Inlet, Consumer<f32>, Arc<Signals>) {
    signals::ring((f64::from(rate.get()) * RING_S) as usize, channels)
}

impl Opening {
    /// Begins to open the input called `name`, and no other.
    pub(crate) fn begin(name: &str) -> io::Result<Self> {
        let (tell, told) = mpsc::channel();
        let name = name.to_owned();
        thread::Builder::new()
            .name("input".to_owned())
            .spawn(move || hold(&name, &tell))?;
        Ok(Self(told))
    }

    /// What came of it, once; `None` while nothing has.
    pub(crate) fn poll(&self) -> Option<Result<Capture, InputError>> {
        match self.0.try_recv() {
            Ok(result) => Some(result),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some(Err(InputError::None)),
        }
    }
}

/// Opens, looks after and lets go of one stream.
fn hold(name: &str, tell: &Sender<Result<Capture, InputError>>) {
    let pieces = match open(name) {
        Ok(pieces) => pieces,
        Err(why) => {
            // Whoever asked may have given up.
            let _ = tell.send(Err(why));
            return;
        }
    };
    let (holds, held) = mpsc::channel();
    let capture = Capture {
        ring: pieces.ring,
        signals: pieces.signals,
        sides: Sides::new(pieces.channels, pieces.rate),
        rate: pieces.rate,
        kind: pieces.kind,
        _hold: holds,
    };
    if tell.send(Ok(capture)).is_err() {
        return;
    }
    while held.recv_timeout(TEND_EVERY) == Err(RecvTimeoutError::Timeout) {
        pieces.stream.tend();
    }
}

/// The sound server's input of that name, else the system's.
fn open(name: &str) -> Result<Pieces<Held>, InputError> {
    #[cfg(target_os = "linux")]
    if let Some(pieces) = Server::connect().and_then(|server| server.open(name)) {
        return Ok(pieces?.map(Held::Server));
    }
    Ok(card::open(name)?.map(Held::Card))
}

impl Held {
    fn tend(&self) {
        match self {
            // The system tells by itself.
            Self::Card(_) => {}
            #[cfg(target_os = "linux")]
            Self::Server(stream) => stream.tend(),
        }
    }
}

impl<S> Pieces<S> {
    fn map<T>(self, wrap: impl FnOnce(S) -> T) -> Pieces<T> {
        Pieces {
            stream: wrap(self.stream),
            ring: self.ring,
            signals: self.signals,
            rate: self.rate,
            channels: self.channels,
            kind: self.kind,
        }
    }
}

impl Capture {
    /// Samples per second.
    pub(crate) const fn rate(&self) -> SampleRate {
        self.rate
    }

    /// What kind of input it seems to be.
    pub(crate) const fn kind(&self) -> Kind {
        self.kind
    }

    /// Puts what has arrived in place of what `block` held, from the side with the most sound; maybe nothing.
    pub(crate) fn pull(&mut self, block: &mut Vec<f32>) {
        block.clear();
        let channels = self.sides.count();
        let count = self.ring.slots() / channels * channels;
        if let Ok(chunk) = self.ring.read_chunk(count) {
            let (first, second) = chunk.as_slices();
            self.sides.pick(first.iter().chain(second), block);
            chunk.commit_all();
        }
    }

    /// The stream as its callbacks have left it.
    pub(crate) fn seen(&self) -> Seen {
        self.signals.seen()
    }

    /// Samples that found no room in the ring since this was last asked.
    pub(crate) fn take_lost(&self) -> u64 {
        self.signals.take_lost()
    }
}
