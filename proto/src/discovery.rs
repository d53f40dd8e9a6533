//! What both sides write into and read from multicast DNS: a hint where a coordinator may be, never a proof.

/// The service type; its name is at most 15 characters long, as RFC 6763, §7.2 asks.
pub const SERVICE: &str = "_consort._udp.local.";
/// The TXT key of the coordinator's key tag (see [`crate::Fingerprint::tag`]).
pub const TXT_TAG: &str = "tag";
/// The TXT key of the ensemble's name.
pub const TXT_ENSEMBLE: &str = "ensemble";
/// The protocol's name in the TLS handshake: the number is the major version.
pub const ALPN: &[u8] = b"consort/1";
/// The name of the deputies' protocol: a family of messages of its own, which stations do not speak.
pub const ALPN_DEPUTY: &[u8] = b"consort-deputy/1";
/// The UDP port on which a coordinator listens unless told otherwise.
pub const PORT: u16 = 4700;
