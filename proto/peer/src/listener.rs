//! The listening side: a socket, and callers who have proven their key.

use std::io;
use std::net::{SocketAddr, UdpSocket};
use std::sync::Arc;
use std::time::Duration;

use consort_proto::Fingerprint;
use quinn::crypto::rustls::{HandshakeData, QuicServerConfig};
use quinn::{Connection, ConnectionError, Endpoint, Incoming, RecvStream, SendStream, ServerConfig, TokioRuntime};

use crate::identity::Identity;
use crate::link::{Link, peer_of};
use crate::message::Message;
use crate::protocol::Protocol;
use crate::transport::{lasting, transport};
use crate::trust::server_config;

/// Waits for callers; dropping it closes all links.
#[derive(Debug)]
pub struct Listener {
    endpoint: Endpoint,
}

/// Why nobody can call.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ListenError {
    /// Another program has the port.
    #[error("another program already uses UDP port {port}: end it, or choose another port with --port", port = .0.port())]
    PortInUse(SocketAddr),
    /// The system gives no socket there.
    #[error(
        "cannot listen on {address} ({cause}): look whether that address is this computer's, or leave --listen out"
    )]
    NoSocket {
        /// Where.
        address: SocketAddr,
        /// What the system said.
        cause: io::Error,
    },
    /// The cryptography took the identity not.
    #[error("cannot listen with this key ({0})")]
    Key(rustls::Error),
}

/// Somebody who knocks and has proven nothing yet.
#[derive(Debug)]
pub struct Caller {
    incoming: Incoming,
}

/// Why a caller did not get in.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AdmitError {
    /// The handshake came to nothing.
    #[error("the handshake came to nothing ({0})")]
    Handshake(#[from] ConnectionError),
    /// No usable key was shown.
    #[error("no usable key was shown")]
    NoKey,
    /// The caller speaks a protocol that is not spoken here.
    #[error("the caller speaks another protocol")]
    OtherProtocol,
    /// The caller took longer than [`ADMIT_WITHIN`] to say its first word.
    #[error("nothing was said within {} s", ADMIT_WITHIN.as_secs())]
    TooSlow,
}

/// A caller proves its key and opens its stream within this time; stations give an attempt up after 3 s.
pub const ADMIT_WITHIN: Duration = Duration::from_secs(5);
/// Handshakes that may wait; more are dropped, and the stations try again a moment later.
const WAITING_MAX: usize = 64;
/// Bytes kept of one waiting handshake.
const WAITING_BYTES: u64 = 16 * 1024;
/// Bytes kept of all waiting handshakes.
const WAITING_BYTES_TOTAL: u64 = 1024 * 1024;

impl Listener {
    /// Listens on `address` as `identity`; to be called inside a tokio runtime.
    pub fn bind(identity: &Identity, address: SocketAddr) -> Result<Self, ListenError> {
        let no_socket = |cause: io::Error| match cause.kind() {
            io::ErrorKind::AddrInUse => ListenError::PortInUse(address),
            _ => ListenError::NoSocket { address, cause },
        };
        let tls = server_config(identity).map_err(ListenError::Key)?;
        let quic = QuicServerConfig::try_from(tls)
            .map_err(|cause| ListenError::Key(rustls::Error::General(cause.to_string())))?;
        let mut config = ServerConfig::with_crypto(Arc::new(quic));
        config
            .transport_config(transport())
            .max_incoming(WAITING_MAX)
            .incoming_buffer_size(WAITING_BYTES)
            .incoming_buffer_size_total(WAITING_BYTES_TOTAL);
        let socket = UdpSocket::bind(address).map_err(no_socket)?;
        let endpoint =
            Endpoint::new(lasting(identity), Some(config), socket, Arc::new(TokioRuntime)).map_err(no_socket)?;
        Ok(Self { endpoint })
    }

    /// Where it listens.
    pub fn local_addr(&self) -> io::Result<SocketAddr> {
        self.endpoint.local_addr()
    }

    /// The next caller; `None` once the listener is closed.
    pub async fn knock(&self) -> Option<Caller> {
        self.endpoint.accept().await.map(|incoming| Caller { incoming })
    }

    /// Closes every link with `code` and waits until the peers have been told.
    pub async fn close(&self, code: u32) {
        self.endpoint.close(code.into(), b"");
        self.endpoint.wait_idle().await;
    }
}

impl Caller {
    /// From where.
    pub fn address(&self) -> SocketAddr {
        self.incoming.remote_address()
    }

    /// Whether the address is proven: it received a packet and answered it.
    pub fn is_proven(&self) -> bool {
        self.incoming.remote_address_validated()
    }

    /// Asks the caller to prove its address and knock again: costs this side nothing to remember.
    pub fn ask_again(self) {
        if let Err(proven) = self.incoming.retry() {
            proven.into_incoming().refuse();
        }
    }

    /// Sends the caller away.
    pub fn refuse(self) {
        self.incoming.refuse();
    }

    /// Runs the handshake and waits for the caller's stream.
    pub async fn meet(self) -> Result<Met, AdmitError> {
        tokio::time::timeout(ADMIT_WITHIN, meet(self.incoming))
            .await
            .map_err(|_| AdmitError::TooSlow)?
    }

    /// The same for a listener that speaks one protocol only: a caller that wants another is sent away.
    pub async fn admit<Out: Message, In: Message>(self) -> Result<Link<Out, In>, AdmitError> {
        let met = self.meet().await?;
        match met.protocol {
            Protocol::Station => Ok(met.link()),
            Protocol::Deputy => Err(AdmitError::OtherProtocol),
        }
    }
}

/// A caller who has proven its key and said which protocol it speaks.
#[derive(Debug)]
pub struct Met {
    connection: Connection,
    peer: Fingerprint,
    protocol: Protocol,
    send: SendStream,
    receive: RecvStream,
}

impl Met {
    /// What it speaks.
    pub const fn protocol(&self) -> Protocol {
        self.protocol
    }

    /// The link, with the messages of that protocol.
    pub fn link<Out: Message, In: Message>(self) -> Link<Out, In> {
        Link::new(self.connection, self.peer, self.send, self.receive)
    }
}

async fn meet(incoming: Incoming) -> Result<Met, AdmitError> {
    let connection = incoming.accept()?.await?;
    let peer = peer_of(&connection).ok_or(AdmitError::NoKey)?;
    let data = connection
        .handshake_data()
        .and_then(|data| data.downcast::<HandshakeData>().ok());
    let name = data.and_then(|data| data.protocol).ok_or(AdmitError::OtherProtocol)?;
    let protocol = Protocol::of(&name).ok_or(AdmitError::OtherProtocol)?;
    let (send, receive) = connection.accept_bi().await?;
    Ok(Met {
        connection,
        peer,
        protocol,
        send,
        receive,
    })
}
