//! One link: a stream of framed messages each way, and datagrams for what is worth nothing when it comes late.

use std::marker::PhantomData;
use std::net::SocketAddr;
use std::time::Duration;

use consort_proto::{Binding, Fingerprint};
use quinn::{Connection, ConnectionError, ReadError, RecvStream, SendDatagramError, SendStream};

use rustls::pki_types::CertificateDer;

use crate::message::{FrameError, HEADER_LEN, Message};
use crate::trust::fingerprint_of;

/// A connected peer that has proven its key: says `Out`, hears `In`.
#[derive(Debug)]
pub struct Link<Out, In> {
    peer: Fingerprint,
    say: Say<Out>,
    hear: Hear<In>,
}

/// The outgoing half of a link.
#[derive(Debug)]
pub struct Say<Out> {
    connection: Connection,
    stream: SendStream,
    direction: PhantomData<fn(Out)>,
}

/// The incoming half of a link.
#[derive(Debug)]
pub struct Hear<In> {
    connection: Connection,
    stream: RecvStream,
    /// The frame that is arriving: as long as is known to be needed, filled up to `arrived`.
    frame: Vec<u8>,
    arrived: usize,
    stream_ended: bool,
    /// Datagrams that were heard since the stream had its turn.
    datagrams: u32,
    /// Bytes that may still come on the stream; `None` for a peer that is trusted with any number.
    allowance: Option<usize>,
    direction: PhantomData<fn() -> In>,
}

/// Why nothing can be said any more.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SayError {
    /// The link is gone.
    #[error("the link is gone ({0})")]
    Gone(String),
}

/// Why nothing can be heard any more.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum HearError {
    /// The link is gone.
    #[error("the link is gone ({0})")]
    Gone(String),
    /// The peer closed the link with this code.
    #[error("the other side closed the link (code {0})")]
    Closed(u32),
    /// The peer restarted and knows nothing of this link.
    #[error("the other side has restarted")]
    Restarted,
    /// No packet came for as long as a link may be idle.
    #[error("nothing came from the other side any more")]
    Silent,
    /// The stream ended inside a frame.
    #[error("the stream ended after {arrived} of {length} bytes of a frame")]
    Cut {
        /// Bytes that came.
        arrived: usize,
        /// Bytes that the frame needs.
        length: usize,
    },
    /// What came is no message.
    #[error(transparent)]
    Frame(#[from] FrameError),
    /// The peer says more than it may before it is known.
    #[error("a stranger says more than it may")]
    TooMuch,
}

/// The close code of a peer that leaves, or ends its program.
pub const CLOSE_GOODBYE: u32 = 0;
/// The close code towards a peer that was told why, in a message, it may not stay.
pub const CLOSE_REFUSED: u32 = 1;
/// The close code towards a peer whose bytes are no message.
pub const CLOSE_UNREADABLE: u32 = 2;

/// So many datagrams are heard in a row before the stream has its turn, so that who floods with them does not keep itself from
/// being heard. Of a station that is watched live nearly everything is a datagram, and to look at the stream before each would
/// cost a crowd's coordinator for nothing.
const DATAGRAMS_IN_A_ROW: u32 = 4;

/// How long a farewell may take to arrive before the link is closed all the same.
const FAREWELL: Duration = Duration::from_secs(1);

impl<Out: Message, In: Message> Link<Out, In> {
    pub(crate) fn new(connection: Connection, peer: Fingerprint, send: SendStream, receive: RecvStream) -> Self {
        Self {
            peer,
            say: Say {
                connection: connection.clone(),
                stream: send,
                direction: PhantomData,
            },
            hear: Hear {
                connection,
                stream: receive,
                frame: vec![0; HEADER_LEN],
                arrived: 0,
                stream_ended: false,
                datagrams: 0,
                allowance: None,
                direction: PhantomData,
            },
        }
    }

    /// Whose key the peer has proven to hold.
    pub const fn peer(&self) -> Fingerprint {
        self.peer
    }

    /// Where the peer is now; it may wander.
    pub fn address(&self) -> SocketAddr {
        self.say.connection.remote_address()
    }

    /// What only the two ends of this very link have in common, as TLS exports it under `label`.
    pub fn binding(&self, label: &[u8]) -> Binding {
        let mut exported = [0; 32];
        self.say
            .connection
            .export_keying_material(&mut exported, label, b"")
            .unwrap_or_else(|_| unreachable!("TLS 1.3 exports 32 bytes once the handshake is done"));
        Binding(exported)
    }

    /// The two halves, for two tasks.
    pub fn split(self) -> (Say<Out>, Hear<In>) {
        (self.say, self.hear)
    }
}

impl<Out: Message> Say<Out> {
    /// Hands the message to the link: waits while the peer reads too slowly, not until it has arrived.
    ///
    /// What is [fleeting](Message::is_fleeting) goes as a datagram and may get lost.
    pub async fn say(&mut self, message: &Out) -> Result<(), SayError> {
        let frame = message.to_frame();
        if message.is_fleeting() {
            return match self.connection.send_datagram(frame.into()) {
                // A path too narrow for a heartbeat still carries the stream.
                Ok(()) | Err(SendDatagramError::TooLarge) => Ok(()),
                Err(cause) => Err(SayError::Gone(cause.to_string())),
            };
        }
        self.stream
            .write_all(&frame)
            .await
            .map_err(|cause| SayError::Gone(cause.to_string()))
    }

    /// Lets what was said arrive, for a moment, then closes the link with `code`.
    pub async fn close(mut self, code: u32) {
        if self.stream.finish().is_ok() {
            // Whether it arrived or not, the link ends now.
            let _ = tokio::time::timeout(FAREWELL, self.stream.stopped()).await;
        }
        self.connection.close(code.into(), b"");
    }

    /// Closes the link with `code` at once; what was not sent yet is lost.
    pub fn cut(&self, code: u32) {
        self.connection.close(code.into(), b"");
    }

    /// Resolves when the link is gone.
    pub async fn gone(&self) {
        self.connection.closed().await;
    }
}

impl<In: Message> Hear<In> {
    /// The next message, from the stream or as a datagram; `None` once the peer has ended the stream between two frames.
    /// After that, the reason for which the link ended.
    ///
    /// Dropping the future loses nothing.
    /// Frames of a kind that this version does not know are skipped, if their sender says that they may be.
    pub async fn hear(&mut self) -> Result<Option<In>, HearError> {
        if self.stream_ended {
            return Err(gone(self.connection.closed().await));
        }
        loop {
            let Self {
                stream,
                frame,
                arrived,
                allowance,
                datagrams,
                connection,
                ..
            } = self;
            let is_streams_turn = *datagrams >= DATAGRAMS_IN_A_ROW;
            let of_stream = next_frame::<In>(stream, frame, arrived, allowance);
            let came = if is_streams_turn {
                tokio::select! {
                    biased;
                    frame = of_stream => Came::Frame(frame?),
                    datagram = connection.read_datagram() => Came::Datagram(datagram),
                }
            } else {
                tokio::select! {
                    biased;
                    datagram = connection.read_datagram() => Came::Datagram(datagram),
                    frame = of_stream => Came::Frame(frame?),
                }
            };
            let received = match came {
                Came::Datagram(Ok(datagram)) => {
                    *datagrams = if is_streams_turn { 0 } else { *datagrams + 1 };
                    if let Some(heard) = In::from_frame(&datagram)? {
                        return Ok(Some(heard));
                    }
                    continue;
                }
                // The link is gone, but what arrived before may still be read.
                Came::Datagram(Err(_)) => next_frame::<In>(stream, frame, arrived, allowance).await?,
                Came::Frame(received) => received,
            };
            *datagrams = 0;
            let Some(received) = received else {
                self.stream_ended = true;
                return Ok(None);
            };
            if let Some(heard) = In::from_frame(&received)? {
                return Ok(Some(heard));
            }
        }
    }

    /// Lets no more than `bytes` come on the stream from now on, whatever they are, or any number with `None`.
    ///
    /// Datagrams are bounded by themselves: what waits of them is 16 KiB, and the oldest goes first.
    pub const fn allow(&mut self, bytes: Option<usize>) {
        self.allowance = bytes;
    }

    /// Closes the link with `code` at once.
    pub fn cut(&self, code: u32) {
        self.connection.close(code.into(), b"");
    }

    /// Packets heard from the peer so far, heartbeats and bare acknowledgements alike.
    pub fn packets(&self) -> u64 {
        self.connection.stats().udp_rx.datagrams
    }
}

/// What was there first.
enum Came<Datagram> {
    Datagram(Result<Datagram, ConnectionError>),
    /// `None` once the stream has ended.
    Frame(Option<Vec<u8>>),
}

/// Reads on until a frame is whole; what has arrived stays in `frame` when the future is dropped.
async fn next_frame<In: Message>(
    stream: &mut RecvStream,
    frame: &mut Vec<u8>,
    arrived: &mut usize,
    allowance: &mut Option<usize>,
) -> Result<Option<Vec<u8>>, HearError> {
    loop {
        if *arrived == frame.len() {
            let length = In::frame_len(frame)?;
            if allowance.is_some_and(|left| left < length - *arrived) {
                return Err(HearError::TooMuch);
            }
            if *arrived == length {
                *arrived = 0;
                return Ok(Some(std::mem::replace(frame, vec![0; HEADER_LEN])));
            }
            frame.resize(length, 0);
        }
        match stream.read(&mut frame[*arrived..]).await {
            Ok(Some(more)) => {
                *arrived += more;
                *allowance = allowance.map(|left| left.saturating_sub(more));
            }
            Ok(None) if *arrived == 0 => return Ok(None),
            Ok(None) => {
                return Err(HearError::Cut {
                    arrived: *arrived,
                    length: frame.len(),
                });
            }
            Err(ReadError::ConnectionLost(cause)) => return Err(gone(cause)),
            Err(cause) => return Err(HearError::Gone(cause.to_string())),
        }
    }
}

fn gone(cause: ConnectionError) -> HearError {
    match cause {
        ConnectionError::ApplicationClosed(close) => {
            HearError::Closed(u32::try_from(close.error_code.into_inner()).unwrap_or(u32::MAX))
        }
        ConnectionError::Reset => HearError::Restarted,
        ConnectionError::TimedOut => HearError::Silent,
        other => HearError::Gone(other.to_string()),
    }
}

/// Whose key the peer of an open connection has proven to hold; `None` if it is none that can be known again.
pub(crate) fn peer_of(connection: &Connection) -> Option<Fingerprint> {
    let chain = connection
        .peer_identity()?
        .downcast::<Vec<CertificateDer<'static>>>()
        .ok()?;
    fingerprint_of(chain.first()?).ok()
}

/// The TLS alert with which the peer ended the handshake, if that is what happened (RFC 9001, §4.8).
pub(crate) fn fatal_alert(cause: &ConnectionError) -> Option<u8> {
    let ConnectionError::ConnectionClosed(close) = cause else {
        return None;
    };
    let code = u64::from(close.error_code);
    (0x100..0x200).contains(&code).then_some(code as u8)
}
