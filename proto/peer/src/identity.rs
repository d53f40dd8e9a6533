//! Who this program is: an Ed25519 key in the data folder, and the certificate that shows it.

use std::fmt;
use std::path::PathBuf;

use consort_proto::Fingerprint;
use consort_store::{Folder, FolderError};
use rcgen::{CertificateParams, DistinguishedName, KeyPair, PKCS_ED25519, PublicKeyData};
use rustls::pki_types::{CertificateDer, PrivatePkcs8KeyDer};
use sha2::{Digest, Sha256};

/// An Ed25519 key with a certificate that it signed itself; prints without the key.
///
/// Only the key is kept: the certificate is made anew at each start, and peers look at nothing in it but the key.
pub struct Identity {
    pkcs8: PrivatePkcs8KeyDer<'static>,
    certificate: CertificateDer<'static>,
    fingerprint: Fingerprint,
}

/// Why there is no identity.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum IdentityError {
    /// The key file can be neither read nor written.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// The bytes are no Ed25519 key.
    #[error("{0} bytes are not an Ed25519 key in PKCS #8")]
    NotAKey(usize),
    /// The system gave no random numbers, or the certificate could not be signed.
    #[error("no key could be made ({0})")]
    NotMade(String),
}

/// The name of the key file.
const FILE: &str = "identity.key";

impl Identity {
    /// The identity kept in `folder`, or a new one that is kept there from now on.
    ///
    /// A damaged key file is put aside; its new path comes back beside the new identity, to be said to a person: all
    /// peers must be joined anew.
    pub fn open(folder: &Folder) -> Result<(Self, Option<PathBuf>), IdentityError> {
        let mut put_aside = None;
        if let Some(bytes) = folder.read(FILE)? {
            match Self::from_pkcs8(bytes) {
                Ok(identity) => return Ok((identity, None)),
                Err(damaged) => {
                    tracing::warn!(%damaged, "the key file is put aside");
                    put_aside = Some(folder.put_aside(FILE)?);
                }
            }
        }
        let identity = Self::generate()?;
        folder.write(FILE, identity.pkcs8.secret_pkcs8_der())?;
        Ok((identity, put_aside))
    }

    /// A new identity in place of the one that is kept in `folder`: whoever knew the old one does not know this one.
    pub fn renew(folder: &Folder) -> Result<Self, IdentityError> {
        let identity = Self::generate()?;
        folder.write(FILE, identity.pkcs8.secret_pkcs8_der())?;
        Ok(identity)
    }

    /// A new identity that is kept nowhere.
    pub fn generate() -> Result<Self, IdentityError> {
        let key = KeyPair::generate_for(&PKCS_ED25519).map_err(|cause| IdentityError::NotMade(cause.to_string()))?;
        Self::of(&key)
    }

    /// The identity of a key in PKCS #8.
    pub fn from_pkcs8(pkcs8: Vec<u8>) -> Result<Self, IdentityError> {
        let length = pkcs8.len();
        let key = KeyPair::from_pkcs8_der_and_sign_algo(&PrivatePkcs8KeyDer::from(pkcs8), &PKCS_ED25519)
            .map_err(|_| IdentityError::NotAKey(length))?;
        Self::of(&key)
    }

    /// By what peers know this program.
    pub const fn fingerprint(&self) -> Fingerprint {
        self.fingerprint
    }

    fn of(key: &KeyPair) -> Result<Self, IdentityError> {
        // An empty name: a certificate travels to strangers, and nobody needs to read anything in it.
        let mut params = CertificateParams::default();
        params.distinguished_name = DistinguishedName::new();
        let certificate = params
            .self_signed(key)
            .map_err(|cause| IdentityError::NotMade(cause.to_string()))?;
        Ok(Self {
            pkcs8: PrivatePkcs8KeyDer::from(key.serialize_der()),
            certificate: certificate.der().clone(),
            fingerprint: fingerprint(&key.subject_public_key_info()),
        })
    }

    /// The certificate and the key, as TLS wants them.
    pub(crate) fn for_tls(&self) -> (Vec<CertificateDer<'static>>, PrivatePkcs8KeyDer<'static>) {
        (vec![self.certificate.clone()], self.pkcs8.clone_key())
    }

    /// 32 secret bytes for one purpose; the same ones after each start, so that they need no file of their own.
    pub(crate) fn secret_for(&self, purpose: &str) -> [u8; 32] {
        Sha256::new()
            .chain_update(purpose)
            .chain_update(self.pkcs8.secret_pkcs8_der())
            .finalize()
            .into()
    }
}

impl fmt::Debug for Identity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Identity({}, …)", self.fingerprint.tag())
    }
}

/// The fingerprint of a public key in DER (SubjectPublicKeyInfo, RFC 5280, §4.1).
pub(crate) fn fingerprint(spki: &[u8]) -> Fingerprint {
    Fingerprint(Sha256::digest(spki).into())
}
