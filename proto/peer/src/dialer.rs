//! The dialling side: one socket per address family, and attempts that end in a link or in a reason.

use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr};
use std::sync::{Arc, OnceLock};

use consort_proto::Fingerprint;
use quinn::crypto::rustls::QuicClientConfig;
use quinn::{ClientConfig, ConnectionError, Endpoint, TransportConfig};

use crate::identity::Identity;
use crate::link::{Link, fatal_alert, peer_of};
use crate::message::Message;
use crate::protocol::Protocol;
use crate::transport::transport;
use crate::trust::client_config;

/// Dials coordinators; dropping it closes its links.
#[derive(Debug)]
pub struct Dialer {
    identity: Arc<Identity>,
    transport: Arc<TransportConfig>,
    v4: Endpoint,
    /// Missing where the system has no IPv6.
    v6: Option<Endpoint>,
}

/// Why an attempt came to nothing.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DialError {
    /// No answer before the attempt ended.
    #[error("nobody answers at {0}")]
    NoAnswer(SocketAddr),
    /// Somebody answered who holds another key.
    #[error("{address} answers with the key {found}, not {expected}", found = found.tag(), expected = expected.tag())]
    OtherKey {
        /// Where.
        address: SocketAddr,
        /// The key that was wanted.
        expected: Fingerprint,
        /// The key that was shown.
        found: Fingerprint,
    },
    /// Somebody answered who shows no key that can be known again.
    #[error("{0} shows no usable key")]
    NoKey(SocketAddr),
    /// Somebody answered who speaks another protocol, or another version of this one.
    #[error("{0} speaks another protocol or version")]
    OtherVersion(SocketAddr),
    /// The answer was a refusal.
    #[error("{address} refuses the link ({why})")]
    Refused {
        /// Where.
        address: SocketAddr,
        /// What it said.
        why: String,
    },
    /// This computer cannot dial there.
    #[error("{address} cannot be dialled from here ({why})")]
    NotDialled {
        /// Where.
        address: SocketAddr,
        /// What is missing.
        why: String,
    },
}

impl Dialer {
    /// A dialler on ports of the system's choice; to be called inside a tokio runtime.
    pub fn new(identity: Arc<Identity>) -> std::io::Result<Self> {
        Ok(Self {
            identity,
            transport: transport(),
            v4: Endpoint::client((Ipv4Addr::UNSPECIFIED, 0).into())?,
            v6: Endpoint::client((Ipv6Addr::UNSPECIFIED, 0).into()).ok(),
        })
    }

    /// Connects to `address` and opens the stream, if the holder of the key `expect` answers there; where `None` is
    /// expected, whoever answers and proves to hold a key, which the link then names.
    ///
    /// Takes as long as the network lets it; the caller bounds it, and dropping the future ends the attempt.
    pub async fn dial<Out: Message, In: Message>(
        &self,
        address: SocketAddr,
        expect: impl Into<Option<Fingerprint>>,
    ) -> Result<Link<Out, In>, DialError> {
        self.dial_as(Protocol::Station, address, expect).await
    }

    /// The same in another protocol.
    pub async fn dial_as<Out: Message, In: Message>(
        &self,
        protocol: Protocol,
        address: SocketAddr,
        expect: impl Into<Option<Fingerprint>>,
    ) -> Result<Link<Out, In>, DialError> {
        let expect = expect.into();
        let not_dialled = |why: String| DialError::NotDialled { address, why };
        let found = Arc::new(OnceLock::new());
        let config = self
            .config(protocol, expect, found.clone())
            .map_err(|why| not_dialled(why.to_string()))?;
        let endpoint = match address {
            SocketAddr::V4(_) => &self.v4,
            SocketAddr::V6(_) => self.v6.as_ref().ok_or_else(|| not_dialled("no IPv6 here".to_owned()))?,
        };
        // The name is not looked at by anyone, but the handshake carries one.
        let connecting = endpoint
            .connect_with(config, address, "consort")
            .map_err(|why| not_dialled(why.to_string()))?;
        let reason = |why: ConnectionError| match (expect.zip(found.get().copied()), why) {
            (Some((expected, found)), _) => DialError::OtherKey {
                address,
                expected,
                found,
            },
            (None, ConnectionError::TimedOut) => DialError::NoAnswer(address),
            (None, ConnectionError::VersionMismatch) => DialError::OtherVersion(address),
            (None, why) if fatal_alert(&why) == Some(NO_APPLICATION_PROTOCOL) => DialError::OtherVersion(address),
            (None, why) => DialError::Refused {
                address,
                why: why.to_string(),
            },
        };
        let connection = connecting.await.map_err(reason)?;
        let (send, receive) = connection.open_bi().await.map_err(reason)?;
        let peer = peer_of(&connection).ok_or(DialError::NoKey(address))?;
        Ok(Link::new(connection, peer, send, receive))
    }

    fn config(
        &self,
        protocol: Protocol,
        expect: Option<Fingerprint>,
        found: Arc<OnceLock<Fingerprint>>,
    ) -> Result<ClientConfig, rustls::Error> {
        let mut tls = client_config(&self.identity, expect, found)?;
        tls.alpn_protocols = vec![protocol.name().to_vec()];
        let quic = QuicClientConfig::try_from(tls).map_err(|why| rustls::Error::General(why.to_string()))?;
        let mut config = ClientConfig::new(Arc::new(quic));
        config.transport_config(self.transport.clone());
        Ok(config)
    }
}

/// The TLS alert of a peer that knows none of the offered protocols (RFC 7301, §3.2).
const NO_APPLICATION_PROTOCOL: u8 = 120;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::message::FrameError;
    use crate::trust::server_config;
    use quinn::ServerConfig;
    use quinn::crypto::rustls::QuicServerConfig;

    /// Nothing is ever said on the links of this test.
    #[derive(Debug)]
    struct Nothing;

    impl Message for Nothing {
        fn is_fleeting(&self) -> bool {
            false
        }

        fn to_frame(&self) -> Vec<u8> {
            Vec::new()
        }

        fn frame_len(start: &[u8]) -> Result<usize, FrameError> {
            Ok(start.len())
        }

        fn from_frame(_: &[u8]) -> Result<Option<Self>, FrameError> {
            Ok(None)
        }
    }

    #[tokio::test]
    async fn another_version_is_told_apart_from_another_key() {
        let identity = Identity::generate().expect("identity");
        let mut tls = server_config(&identity).expect("tls");
        tls.alpn_protocols = vec![b"consort/9".to_vec()];
        let quic = QuicServerConfig::try_from(tls).expect("quic");
        let config = ServerConfig::with_crypto(Arc::new(quic));
        let newer = Endpoint::server(config, (Ipv4Addr::LOCALHOST, 0).into()).expect("listen");
        let address = newer.local_addr().expect("address");
        let dialer = Dialer::new(Arc::new(Identity::generate().expect("station"))).expect("dialer");
        let dial = dialer.dial::<Nothing, Nothing>(address, identity.fingerprint());
        let answer = async { newer.accept().await.expect("a caller").await };
        let (dialled, answered) = tokio::join!(dial, answer);
        assert_eq!(dialled.expect_err("another version"), DialError::OtherVersion(address));
        assert!(answered.is_err());
    }
}
