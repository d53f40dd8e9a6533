//! This laptop on the network while the session is open: where stations reach it, whether they can, and what is announced.

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use consort_pages::Links;
use consort_peer::{Dialer, Identity};
use consort_proto::{JoinLink, JoinToken, Name, ToCoordinator, ToStation};
use consort_session::View;
use consort_words::{Arg, Key, Words};
use tokio::sync::watch;
use tokio::time::{sleep, timeout};

use crate::advert::Advert;
use crate::config::Discovery;
use crate::{address, board};

/// Where the session's doors are, whatever this laptop's addresses are at the moment.
#[derive(Clone, Debug)]
pub(crate) struct Doors {
    pub(crate) identity: Arc<Identity>,
    /// Where stations are listened for.
    pub(crate) stations: SocketAddr,
    /// Where the board is served.
    pub(crate) board: SocketAddr,
    pub(crate) token: JoinToken,
}

/// What the leader should know of the network.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Network {
    /// How to join and where to look.
    pub(crate) links: Links,
    /// The number of the board's address in them.
    pub(crate) board: u32,
    /// What is in the way, and what to do; `None` when all is well.
    pub(crate) trouble: Option<String>,
}

/// How often this laptop's addresses are looked at: the announcement does not notice an interface that went and came back.
const LOOK_EVERY: Duration = Duration::from_secs(5);
/// Nobody is further from this laptop than itself.
const ANSWERS_WITHIN: Duration = Duration::from_secs(3);

impl Doors {
    /// Where stations reach this laptop, as a person types it.
    pub(crate) fn typed(&self) -> String {
        address::typed(self.reachable()[0])
    }

    /// The join link.
    pub(crate) fn join(&self) -> JoinLink {
        JoinLink {
            addresses: self.reachable(),
            coordinator: self.identity.fingerprint(),
            token: self.token,
        }
    }

    /// The board's address of that number.
    pub(crate) fn board_url(&self, number: u32) -> String {
        board::url(address::reachable(self.board)[0], &board::token(self.token, number))
    }

    /// What the leader should know, before anything was tried, with the board's address of that number.
    pub(crate) fn network(&self, board: u32) -> Network {
        let tag = self.identity.fingerprint().tag();
        Network {
            links: Links::new(self.typed(), tag, self.join().to_string(), self.board_url(board)),
            board,
            trouble: None,
        }
    }

    fn reachable(&self) -> Vec<SocketAddr> {
        address::reachable(self.stations)
    }

    /// Dials this laptop's own address, as a station would; says what is in the way when nobody answers there.
    async fn trouble(&self) -> Option<String> {
        let own = self.reachable()[0];
        if own.ip().is_loopback() || answers(&self.identity, own).await {
            return None;
        }
        let address = [("address", Arg::from(address::typed(own)))];
        Some(Words::english().say(Key::NetworkOwnAddress, &address))
    }
}

/// Whether this laptop answers itself at `own`.
async fn answers(identity: &Arc<Identity>, own: SocketAddr) -> bool {
    let Ok(dialer) = Dialer::new(identity.clone()) else {
        return false;
    };
    let dial = dialer.dial::<ToCoordinator, ToStation>(own, identity.fingerprint());
    matches!(timeout(ANSWERS_WITHIN, dial).await, Ok(Ok(_)))
}

/// Announces the session and tries its own address, and does both anew whenever this laptop's addresses change; never ends.
pub(crate) async fn follow(
    doors: &Doors,
    announced: Option<(Discovery, Name)>,
    advert: &mut Option<Advert>,
    network: &watch::Sender<Network>,
    mut images: watch::Receiver<Arc<View>>,
) {
    let mut before: Option<Vec<IpAddr>> = None;
    loop {
        let now = address::own();
        let board = images.borrow().board;
        if before.as_ref() != Some(&now) {
            before = Some(now);
            if let Some(older) = advert.take() {
                older.withdraw().await;
            }
            *advert = announced
                .as_ref()
                .and_then(|(discovery, ensemble)| announce(*discovery, ensemble, doors));
            let trouble = doors.trouble().await;
            let known = Network {
                trouble,
                ..doors.network(board)
            };
            network.send_if_modified(|shown| std::mem::replace(shown, known.clone()) != known);
        }
        if network.borrow().board != board {
            let trouble = network.borrow().trouble.clone();
            network.send_replace(Network {
                trouble,
                ..doors.network(board)
            });
        }
        tokio::select! {
            () = sleep(LOOK_EVERY) => {}
            () = board::renewed(&mut images, |number| number != board) => {}
        }
    }
}

/// Announces the session; without, it is joined by link or address, and that is said.
fn announce(discovery: Discovery, ensemble: &Name, doors: &Doors) -> Option<Advert> {
    let key = doors.identity.fingerprint();
    match Advert::announce(discovery, ensemble, key, doors.stations.port()) {
        Ok(advert) => Some(advert),
        Err(why) => {
            tracing::warn!(%why);
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_peer::Listener;

    #[tokio::test]
    async fn an_address_answers_where_this_laptop_listens_and_nowhere_else() {
        let identity = Arc::new(Identity::generate().expect("identity"));
        let listener = Listener::bind(&identity, ([127, 0, 0, 1], 0).into()).expect("listen");
        let own = listener.local_addr().expect("address");
        // Nothing is ever said on the link, so that what becomes of it here does not matter.
        let answer = async {
            let caller = listener.knock().await.expect("a caller");
            caller.admit::<ToStation, ToCoordinator>().await
        };
        let (answers_here, _) = tokio::join!(answers(&identity, own), answer);
        assert!(answers_here);
        // Whoever has taken the address since holds another key.
        let other = Arc::new(Identity::generate().expect("identity"));
        let answer = async {
            listener
                .knock()
                .await
                .expect("a caller")
                .admit::<ToStation, ToCoordinator>()
                .await
        };
        let (answers_here, _) = tokio::join!(answers(&other, own), answer);
        assert!(!answers_here);
        drop(listener);
    }
}
