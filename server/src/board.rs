//! Where the board is: its address, and the token that opens it.

use std::net::SocketAddr;
use std::sync::Arc;

use consort_proto::JoinToken;
use consort_session::View;
use sha2::{Digest, Sha256};
use tokio::sync::watch;

/// What opens the board until the leader has another made, the one of the next `number`: it lasts as long as the session,
/// so that a restart does not blank the wall.
///
/// Made from the session's `secret` in a way that does not lead back to it.
pub(crate) fn token(secret: JoinToken, number: u32) -> String {
    let digest = Sha256::new().chain_update("consort board view").chain_update(secret.0);
    let digest = match number {
        0 => digest,
        number => digest.chain_update(number.to_le_bytes()),
    };
    let bytes = digest.finalize();
    bytes.iter().take(16).map(|byte| format!("{byte:02x}")).collect()
}

/// Lets the board be opened by what the leader has had made last; never ends.
pub(crate) async fn keep(secret: JoinToken, mut images: watch::Receiver<Arc<View>>, tokens: watch::Sender<Arc<str>>) {
    loop {
        renewed(&mut images, |number| *token(secret, number) != **tokens.borrow()).await;
        let number = images.borrow().board;
        tokens.send_replace(token(secret, number).into());
    }
}

/// Resolves once the number of the board's address is another one.
pub(crate) async fn renewed(images: &mut watch::Receiver<Arc<View>>, is_other: impl Fn(u32) -> bool) {
    if images.wait_for(|view| is_other(view.board)).await.is_err() {
        // The coordinator ends.
        std::future::pending().await
    }
}

/// The board's address.
pub(crate) fn url(at: SocketAddr, token: &str) -> String {
    format!("http://{at}/{token}/")
}
