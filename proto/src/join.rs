//! The join link: addresses, key fingerprint and token, pasted once into a station.

use std::fmt;
use std::net::SocketAddr;
use std::str::FromStr;

use crate::base32;
use crate::identity::Fingerprint;

/// 128 random bits that let a station join while joining is open; prints as `…` so that it stays out of logs.
#[derive(Clone, Copy, Eq, PartialEq)]
pub struct JoinToken(pub [u8; 16]);

impl fmt::Debug for JoinToken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JoinToken(…)")
    }
}

/// Everything a station needs to join: where the coordinator is, who it is, and the token.
///
/// Written `consort://ADDRESS[,ADDRESS]/FINGERPRINT/TOKEN`.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct JoinLink {
    /// Where the coordinator may be reached; may be empty, then discovery must find it.
    pub addresses: Vec<SocketAddr>,
    /// The key that the coordinator must show.
    pub coordinator: Fingerprint,
    /// What lets the station in.
    pub token: JoinToken,
}

/// Why a text is not a join link: each says which part is wrong.
#[derive(Clone, Debug, Eq, PartialEq, thiserror::Error)]
pub enum NotAJoinLink {
    /// It does not start as a join link does.
    #[error("a join link starts with {SCHEME}: copy it whole from the control page")]
    Scheme,
    /// An address is unreadable, or there are too many.
    #[error("the address “{0}” in the join link is not one such as 192.168.1.20:4700")]
    Address(String),
    /// The fingerprint is cut or mistyped.
    #[error("the key part of the join link is cut or mistyped: copy it whole from the control page")]
    Fingerprint,
    /// The token is cut, mistyped or missing.
    #[error("the last part of the join link is cut or mistyped: copy it whole from the control page")]
    Token,
}

/// How every join link starts.
pub const SCHEME: &str = "consort://";
/// The most addresses in a link.
const ADDRESSES_MAX: usize = 8;

impl fmt::Display for JoinLink {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(SCHEME)?;
        for (place, address) in self.addresses.iter().enumerate() {
            write!(f, "{}{address}", if place == 0 { "" } else { "," })?;
        }
        write!(f, "/{}/{}", self.coordinator, base32::encode(&self.token.0))
    }
}

impl FromStr for JoinLink {
    type Err = NotAJoinLink;

    fn from_str(text: &str) -> Result<Self, NotAJoinLink> {
        let text = text.trim();
        // Mail programs write a scheme as they like.
        let rest = text
            .split_at_checked(SCHEME.len())
            .filter(|(scheme, _)| scheme.eq_ignore_ascii_case(SCHEME))
            .map(|(_, rest)| rest)
            .ok_or(NotAJoinLink::Scheme)?;
        let mut parts = rest.split('/');
        let addresses = parts
            .next()
            .unwrap_or_default()
            .split(',')
            .filter(|address| !address.is_empty())
            .map(|address| {
                address
                    .parse()
                    .map_err(|_| NotAJoinLink::Address(address.chars().take(60).collect()))
            })
            .collect::<Result<Vec<SocketAddr>, _>>()?;
        if let Some(extra) = addresses.get(ADDRESSES_MAX) {
            return Err(NotAJoinLink::Address(extra.to_string()));
        }
        let coordinator = parts
            .next()
            .and_then(|part| part.parse().ok())
            .ok_or(NotAJoinLink::Fingerprint)?;
        let token = parts
            .next()
            .and_then(base32::decode)
            .and_then(|bytes| bytes.try_into().ok())
            .map(JoinToken)
            .ok_or(NotAJoinLink::Token)?;
        if parts.next().is_some() {
            return Err(NotAJoinLink::Token);
        }
        Ok(Self {
            addresses,
            coordinator,
            token,
        })
    }
}
