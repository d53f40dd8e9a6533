//! Whom TLS believes: the holder of a key, proven by its signature, in TLS 1.3 only.

use std::sync::{Arc, OnceLock};

use consort_proto::Fingerprint;
use rustls::client::Resumption;
use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::crypto::CryptoProvider;
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use rustls::server::danger::{ClientCertVerified, ClientCertVerifier};
use rustls::server::{NoServerSessionStorage, ParsedCertificate};
use rustls::version::TLS13;
use rustls::{
    CertificateError, ClientConfig, DigitallySignedStruct, DistinguishedName, Error, PeerMisbehaved, ServerConfig,
    SignatureScheme,
};

use crate::identity::{Identity, fingerprint};
use crate::protocol::Protocol;

/// What the listening side believes: whoever proves to hold an Ed25519 key; who may do what is decided further in.
pub(crate) fn server_config(identity: &Identity) -> Result<ServerConfig, Error> {
    let provider = provider();
    let verifier = Arc::new(Holder::of_any_key(provider.clone()));
    let (chain, key) = identity.for_tls();
    let mut config = ServerConfig::builder_with_provider(provider)
        .with_protocol_versions(&[&TLS13])?
        .with_client_cert_verifier(verifier)
        .with_single_cert(chain, key.into())?;
    config.alpn_protocols = Protocol::ALL.map(|protocol| protocol.name().to_vec()).to_vec();
    // A resumed session would skip the proof of the key, and early data can be replayed.
    config.session_storage = Arc::new(NoServerSessionStorage {});
    config.send_tls13_tickets = 0;
    config.max_early_data_size = 0;
    Ok(config)
}

/// What the dialling side believes: the holder of the key `expect`; when another key answers, it is noted in `found`.
///
/// Without a key to expect, whoever proves to hold one: what such a peer may do is decided further in.
pub(crate) fn client_config(
    identity: &Identity,
    expect: Option<Fingerprint>,
    found: Arc<OnceLock<Fingerprint>>,
) -> Result<ClientConfig, Error> {
    let provider = provider();
    let verifier = Arc::new(Holder {
        expect,
        found,
        provider: provider.clone(),
    });
    let (chain, key) = identity.for_tls();
    let mut config = ClientConfig::builder_with_provider(provider)
        .with_protocol_versions(&[&TLS13])?
        .dangerous()
        .with_custom_certificate_verifier(verifier)
        .with_client_auth_cert(chain, key.into())?;
    config.alpn_protocols = vec![Protocol::Station.name().to_vec()];
    config.resumption = Resumption::disabled();
    config.enable_early_data = false;
    Ok(config)
}

/// The fingerprint of the key in a certificate.
pub(crate) fn fingerprint_of(certificate: &CertificateDer<'_>) -> Result<Fingerprint, Error> {
    let parsed = ParsedCertificate::try_from(certificate)?;
    Ok(fingerprint(&parsed.subject_public_key_info()))
}

fn provider() -> Arc<CryptoProvider> {
    Arc::new(rustls::crypto::ring::default_provider())
}

/// Accepts the holder of one key, or of any Ed25519 key where none is expected; never anybody without one.
///
/// One for both sides: whoever proves to hold a key is believed to be its holder, and nothing else is looked at.
#[derive(Debug)]
struct Holder {
    expect: Option<Fingerprint>,
    /// The key that was shown in place of the expected one.
    found: Arc<OnceLock<Fingerprint>>,
    provider: Arc<CryptoProvider>,
}

impl Holder {
    /// The holder of any key.
    fn of_any_key(provider: Arc<CryptoProvider>) -> Self {
        Self {
            expect: None,
            found: Arc::default(),
            provider,
        }
    }

    /// Whether the key in the certificate is the expected one.
    fn is_expected(&self, certificate: &CertificateDer<'_>) -> Result<(), Error> {
        let found = fingerprint_of(certificate)?;
        if self.expect.is_none_or(|expect| expect == found) {
            return Ok(());
        }
        // Set once per attempt, since each attempt has a verifier of its own.
        let _ = self.found.set(found);
        Err(CertificateError::ApplicationVerificationFailure.into())
    }

    /// Checks the one thing that counts: that the peer signed this handshake with the key in its certificate.
    fn check(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        if signed.scheme != SignatureScheme::ED25519 {
            return Err(PeerMisbehaved::SignedHandshakeWithUnadvertisedSigScheme.into());
        }
        let algorithms = &self.provider.signature_verification_algorithms;
        rustls::crypto::verify_tls13_signature(message, certificate, signed, algorithms)
    }
}

/// The half of a verifier that both sides have in common, since the library has a trait for each.
macro_rules! check_signatures {
    () => {
        fn verify_tls12_signature(
            &self,
            _message: &[u8],
            _certificate: &CertificateDer<'_>,
            _signed: &DigitallySignedStruct,
        ) -> Result<HandshakeSignatureValid, Error> {
            Err(PeerMisbehaved::SignedHandshakeWithUnadvertisedSigScheme.into())
        }

        fn verify_tls13_signature(
            &self,
            message: &[u8],
            certificate: &CertificateDer<'_>,
            signed: &DigitallySignedStruct,
        ) -> Result<HandshakeSignatureValid, Error> {
            self.check(message, certificate, signed)
        }

        fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
            vec![SignatureScheme::ED25519]
        }
    };
}

impl ServerCertVerifier for Holder {
    fn verify_server_cert(
        &self,
        certificate: &CertificateDer<'_>,
        _intermediates: &[CertificateDer<'_>],
        _name: &ServerName<'_>,
        _ocsp: &[u8],
        _now: UnixTime,
    ) -> Result<ServerCertVerified, Error> {
        self.is_expected(certificate).map(|()| ServerCertVerified::assertion())
    }

    check_signatures!();
}

impl ClientCertVerifier for Holder {
    fn root_hint_subjects(&self) -> &[DistinguishedName] {
        &[]
    }

    fn verify_client_cert(
        &self,
        certificate: &CertificateDer<'_>,
        _intermediates: &[CertificateDer<'_>],
        _now: UnixTime,
    ) -> Result<ClientCertVerified, Error> {
        self.is_expected(certificate).map(|()| ClientCertVerified::assertion())
    }

    check_signatures!();
}

#[cfg(test)]
mod tests;
