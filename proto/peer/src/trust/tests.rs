//! Handshakes in memory: who is believed, and who is not.

use super::*;
use rustls::client::ResolvesClientCert;
use rustls::pki_types::PrivateKeyDer;
use rustls::server::{ClientHello, ResolvesServerCert};
use rustls::sign::{CertifiedKey, SingleCertAndKey};
use rustls::{AlertDescription, ClientConnection, ServerConnection};

/// Runs a handshake in memory and returns what each side says of it.
fn shake(client: ClientConfig, server: ServerConfig) -> (Result<(), Error>, Result<(), Error>) {
    let name = ServerName::try_from("consort").expect("a name");
    let mut client = ClientConnection::new(Arc::new(client), name).expect("client");
    let mut server = ServerConnection::new(Arc::new(server)).expect("server");
    let (mut at_client, mut at_server) = (Ok(()), Ok(()));
    // Each round carries at least one flight; a handshake has three, and an alert may follow.
    for _ in 0..6 {
        let mut bytes = Vec::new();
        while client.wants_write() {
            client.write_tls(&mut bytes).expect("write");
        }
        server.read_tls(&mut bytes.as_slice()).expect("read");
        at_server = at_server.and(server.process_new_packets().map(|_| ()));
        let mut bytes = Vec::new();
        while server.wants_write() {
            server.write_tls(&mut bytes).expect("write");
        }
        client.read_tls(&mut bytes.as_slice()).expect("read");
        at_client = at_client.and(client.process_new_packets().map(|_| ()));
    }
    assert!(at_client.is_err() || !client.is_handshaking(), "the handshake hangs");
    (at_client, at_server)
}

fn identity() -> Identity {
    Identity::generate().expect("identity")
}

fn client(identity: &Identity, expect: impl Into<Option<Fingerprint>>) -> ClientConfig {
    client_config(identity, expect.into(), Arc::new(OnceLock::new())).expect("client")
}

fn server(identity: &Identity) -> ServerConfig {
    server_config(identity).expect("server")
}

/// Shows the certificate of one identity and signs with the key of another.
#[derive(Debug)]
struct Impostor(Arc<CertifiedKey>);

impl Impostor {
    fn of(shown: &Identity, held: &Identity) -> Arc<Self> {
        let key = PrivateKeyDer::from(held.for_tls().1);
        let key = provider().key_provider.load_private_key(key).expect("key");
        Arc::new(Self(Arc::new(CertifiedKey::new(shown.for_tls().0, key))))
    }
}

impl ResolvesServerCert for Impostor {
    fn resolve(&self, _: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        Some(self.0.clone())
    }
}

impl ResolvesClientCert for Impostor {
    fn resolve(&self, _: &[&[u8]], _: &[SignatureScheme]) -> Option<Arc<CertifiedKey>> {
        Some(self.0.clone())
    }

    fn has_certs(&self) -> bool {
        true
    }
}

#[test]
fn holders_of_the_expected_keys_believe_each_other() {
    let (station, coordinator) = (identity(), identity());
    let told = shake(client(&station, coordinator.fingerprint()), server(&coordinator));
    assert_eq!(told, (Ok(()), Ok(())));
}

#[test]
fn where_no_key_is_expected_any_holder_of_one_is_believed_to_be_that_holder() {
    let (station, coordinator) = (identity(), identity());
    let told = shake(client(&station, None), server(&coordinator));
    assert_eq!(told, (Ok(()), Ok(())));
}

#[test]
fn another_key_is_refused_and_noted() {
    let (station, coordinator, stranger) = (identity(), identity(), identity());
    let found = Arc::new(OnceLock::new());
    let config = client_config(&station, Some(coordinator.fingerprint()), found.clone()).expect("client");
    let (at_client, at_server) = shake(config, server(&stranger));
    assert_eq!(at_client, Err(CertificateError::ApplicationVerificationFailure.into()));
    assert_eq!(at_server, Err(Error::AlertReceived(AlertDescription::AccessDenied)));
    assert_eq!(found.get(), Some(&stranger.fingerprint()));
}

#[test]
fn a_copied_certificate_without_its_key_is_refused_on_both_sides() {
    let (station, coordinator, stranger) = (identity(), identity(), identity());
    let unproven = Err(CertificateError::BadSignature.into());

    let mut forged = server(&coordinator);
    forged.cert_resolver = Impostor::of(&coordinator, &stranger);
    let (at_client, _) = shake(client(&station, coordinator.fingerprint()), forged);
    assert_eq!(at_client, unproven);

    // Not even where anybody may answer.
    let mut forged = server(&coordinator);
    forged.cert_resolver = Impostor::of(&coordinator, &stranger);
    let (at_client, _) = shake(client(&station, None), forged);
    assert_eq!(at_client, Err(CertificateError::BadSignature.into()));

    let mut forged = client(&station, coordinator.fingerprint());
    forged.client_auth_cert_resolver = Impostor::of(&station, &stranger);
    let (_, at_server) = shake(forged, server(&coordinator));
    assert_eq!(at_server, unproven);
}

#[test]
fn a_caller_without_a_key_is_refused() {
    let (station, coordinator) = (identity(), identity());
    let mut config = client(&station, coordinator.fingerprint());
    config.client_auth_cert_resolver = Arc::new(NoKey);
    let (_, at_server) = shake(config, server(&coordinator));
    assert_eq!(at_server, Err(Error::NoCertificatesPresented));
}

#[derive(Debug)]
struct NoKey;

impl ResolvesClientCert for NoKey {
    fn resolve(&self, _: &[&[u8]], _: &[SignatureScheme]) -> Option<Arc<CertifiedKey>> {
        None
    }

    fn has_certs(&self) -> bool {
        false
    }
}

#[test]
fn a_key_of_another_kind_is_refused() {
    let (station, coordinator) = (identity(), identity());
    let key = rcgen::KeyPair::generate_for(&rcgen::PKCS_ECDSA_P256_SHA256).expect("key");
    let certificate = rcgen::CertificateParams::default()
        .self_signed(&key)
        .expect("certificate");
    let pkcs8 = rustls::pki_types::PrivatePkcs8KeyDer::from(key.serialize_der());
    let held = provider().key_provider.load_private_key(pkcs8.into()).expect("key");
    let shown = CertifiedKey::new(vec![certificate.der().clone()], held);
    let mut config = client(&station, coordinator.fingerprint());
    config.client_auth_cert_resolver = Arc::new(SingleCertAndKey::from(shown));
    let (_, at_server) = shake(config, server(&coordinator));
    assert!(at_server.is_err(), "{at_server:?}");
}

#[test]
fn another_version_of_the_protocol_is_refused_as_such() {
    let (station, coordinator) = (identity(), identity());
    let mut config = client(&station, coordinator.fingerprint());
    config.alpn_protocols = vec![b"consort/2".to_vec()];
    let (at_client, at_server) = shake(config, server(&coordinator));
    assert_eq!(
        at_client,
        Err(Error::AlertReceived(AlertDescription::NoApplicationProtocol))
    );
    assert_eq!(at_server, Err(Error::NoApplicationProtocol));
}

#[test]
fn no_session_can_be_resumed_and_no_early_data_is_sent() {
    let (station, coordinator) = (identity(), identity());
    let config = server(&coordinator);
    assert_eq!((config.send_tls13_tickets, config.max_early_data_size), (0, 0));
    assert!(!config.session_storage.can_cache());
    assert!(!client(&station, coordinator.fingerprint()).enable_early_data);
}

#[test]
fn bytes_that_are_no_certificate_have_no_fingerprint() {
    let whole = identity().for_tls().0.remove(0);
    assert!(fingerprint_of(&whole).is_ok());
    for cut in 0..whole.len() {
        assert!(
            fingerprint_of(&CertificateDer::from(whole[..cut].to_vec())).is_err(),
            "{cut}"
        );
    }
}
