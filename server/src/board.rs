//! Where the board is: its address, and the token that opens it.

use std::net::SocketAddr;

use consort_session::Saved;
use sha2::{Digest, Sha256};

/// What opens the board: lasts as long as the session, so that a restart does not blank the wall.
///
/// Made from the session's secret in a way that does not lead back to it.
pub(crate) fn token(saved: &Saved) -> String {
    let digest = Sha256::new()
        .chain_update("consort board view")
        .chain_update(saved.token.0)
        .finalize();
    digest.iter().take(16).map(|byte| format!("{byte:02x}")).collect()
}

/// The board's address.
pub(crate) fn url(at: SocketAddr, token: &str) -> String {
    format!("http://{at}/{token}/")
}
