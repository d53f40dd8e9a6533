//! Who is who: the fingerprint of a public key, and the short tag that people can compare.

use std::fmt;
use std::str::FromStr;

use crate::base32;

/// SHA-256 of a peer's Ed25519 public key (its SPKI): the identity of a station or a coordinator.
#[derive(Clone, Copy, Eq, Hash, Ord, PartialEq, PartialOrd)]
pub struct Fingerprint(pub [u8; 32]);

/// Why a text is not a fingerprint.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[error("a key fingerprint is 52 letters and digits, a to z and 2 to 7")]
pub struct NotAFingerprint;

impl Fingerprint {
    /// The first 40 bits as eight letters: shown to people, and carried as a hint by discovery.
    pub fn tag(&self) -> String {
        base32::encode(&self.0[..5])
    }
}

impl fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&base32::encode(&self.0))
    }
}

impl fmt::Debug for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Fingerprint({}…)", self.tag())
    }
}

impl FromStr for Fingerprint {
    type Err = NotAFingerprint;

    fn from_str(text: &str) -> Result<Self, NotAFingerprint> {
        base32::decode(text)
            .and_then(|bytes| bytes.try_into().ok())
            .map(Self)
            .ok_or(NotAFingerprint)
    }
}
