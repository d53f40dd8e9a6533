//! What travels while a station and a coordinator prove to each other that they know the same joining code.

use std::fmt;

/// The number of the key exchange that both ends use; another one gets another number.
pub const PAKE: u8 = 1;

/// One side's half of the key exchange: a point on a curve, and which side it is from. It tells nothing of the code.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct Share(pub [u8; 33]);

/// The proof that a side knows the code, on this very link; worth nothing on any other.
#[derive(Clone, Copy, Eq, PartialEq)]
pub struct Proof(pub [u8; 32]);

/// What only the two ends of one link have in common: key material that TLS exports (RFC 9266 says why).
///
/// Whoever stands between two links has a different one on each, so that nothing of one is worth anything on the other.
#[derive(Clone, Copy, Eq, PartialEq)]
pub struct Binding(pub [u8; 32]);

impl fmt::Debug for Proof {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Proof(…)")
    }
}

impl fmt::Debug for Binding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Binding(…)")
    }
}
