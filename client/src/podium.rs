//! The director's laptop: shows the board of a coordinator that knows this laptop, on this laptop only, and lets it change
//! the agreement where the leader has granted that.
//!
//! What is shown came over a link whose other end proved its key, so nobody on the Wi-Fi can have altered it.

mod assembly;
mod joining;
mod pages;

use std::io;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use consort_peer::link::CLOSE_GOODBYE;
use consort_peer::{Dialer, Hear, Identity, IdentityError, Protocol, Say};
use consort_proto::deputy::{FromDeputy, ToDeputy};
use consort_proto::{JoinCode, Name, Uptime};
use consort_store::{Folder, FolderError};
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};
use tokio::time::sleep;

use crate::config::Discovery;
use crate::podium::assembly::Assembly;
use crate::podium::joining::{Known, NotJoined};
use crate::podium::pages::{Pages, Wanted};

/// How the board is shown.
#[derive(Clone, Debug)]
pub(crate) struct Config {
    /// As whom this laptop joins.
    pub(crate) name: Name,
    /// The code, where it has not joined yet.
    pub(crate) code: Option<JoinCode>,
    /// Where the coordinator is, if that was typed.
    pub(crate) coordinator: Option<SocketAddr>,
    /// Where key and known coordinators are kept; `None` for the usual place.
    pub(crate) data: Option<PathBuf>,
    /// How coordinators are looked for; `None` does not look.
    pub(crate) discovery: Option<Discovery>,
    /// The TCP port of the board on this laptop; 0 takes any free one. Control has the next one.
    pub(crate) port: u16,
}

/// Why no board is shown.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub(crate) enum PodiumError {
    /// The data folder cannot be used.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// There is no key to be known by.
    #[error(transparent)]
    Identity(#[from] IdentityError),
    /// No socket for calls.
    #[error("no coordinator can be called from here ({0}): look at the network settings")]
    Network(io::Error),
    /// A page cannot be served.
    #[error("the board cannot be served on port {port} ({cause}): choose another with --port")]
    Page {
        /// The port.
        port: u16,
        /// What the system said.
        cause: io::Error,
    },
    /// The coordinator did not let this laptop in.
    #[error(transparent)]
    NotJoined(#[from] NotJoined),
    /// The system gives no random numbers.
    #[error("the system gives no random numbers")]
    NoRandomNumbers,
}

/// The name of the program's folder below the user's data.
const PROGRAM: &str = "board";
/// The pause before a coordinator that was lost is called again.
const AGAIN_AFTER: Duration = Duration::from_secs(1);
/// How often a deputy says that it is still there.
const BEAT_EVERY: Duration = Duration::from_secs(1);
/// A coordinator that has not shown a picture for so long is taken for lost: it shows one every two seconds.
const SILENT_AFTER: Duration = Duration::from_secs(5);

/// A board that is ready to be shown.
pub(crate) struct Podium {
    dialer: Dialer,
    known: Known,
    pages: Pages,
    wanted: mpsc::Receiver<Wanted>,
    assembly: watch::Sender<Arc<Assembly>>,
    _folder: Folder,
}

impl Podium {
    /// Joins where that is needed, and takes the ports; to be called inside a tokio runtime.
    pub(crate) async fn open(config: Config) -> Result<Self, PodiumError> {
        let data = config.data.map_or_else(|| Folder::usual(PROGRAM), Ok)?;
        let folder = Folder::open(&data)?;
        let (identity, _) = Identity::open(&folder)?;
        let identity = Arc::new(identity);
        let dialer = Dialer::new(identity.clone()).map_err(PodiumError::Network)?;
        let board = listen(config.port).await?;
        let control_port = if config.port == 0 { 0 } else { config.port + 1 };
        let control = listen(control_port).await?;
        let wishes = joining::Wishes {
            name: config.name,
            code: config.code,
            coordinator: config.coordinator,
            discovery: config.discovery,
        };
        let known = joining::join(&folder, &identity, &dialer, wishes).await?;
        let (assembly, shown) = watch::channel(Arc::new(Assembly::default()));
        let (orders, wanted) = mpsc::channel(8);
        let pages = Pages::new(board, control, known, shown, orders)?;
        Ok(Self {
            dialer,
            known,
            pages,
            wanted,
            assembly,
            _folder: folder,
        })
    }

    /// The addresses of board and control, for a browser on this laptop.
    pub(crate) fn addresses(&self) -> (String, String) {
        (self.pages.board_url(), self.pages.control_url())
    }

    /// Shows the board until `shutdown`.
    pub(crate) async fn run(self, shutdown: impl Future<Output = ()>) {
        let Self {
            dialer,
            known,
            pages,
            mut wanted,
            assembly,
            _folder,
        } = self;
        let following = async {
            loop {
                if let Ok(link) = dialer
                    .dial_as(Protocol::Deputy, known.address, Some(known.coordinator))
                    .await
                {
                    let (say, hear) = link.split();
                    follow(say, hear, &assembly, &mut wanted).await;
                }
                assembly.send_modify(|held| *held = Arc::new(held.lost()));
                sleep(AGAIN_AFTER).await;
            }
        };
        tokio::select! {
            () = shutdown => {}
            () = following => {}
            () = pages.serve() => {}
        }
    }
}

/// Takes in pictures and hands on orders until the link is gone.
async fn follow(
    mut say: Say<FromDeputy>,
    mut hear: Hear<ToDeputy>,
    assembly: &watch::Sender<Arc<Assembly>>,
    wanted: &mut mpsc::Receiver<Wanted>,
) {
    if say.say(&FromDeputy::Watch).await.is_err() {
        return;
    }
    // What was ordered while there was no link is not carried out now.
    while wanted.try_recv().is_ok() {}
    let started = tokio::time::Instant::now();
    let mut held = Assembly::default();
    let mut asked: Vec<Wanted> = Vec::new();
    let mut number = 0;
    let mut silent_at = tokio::time::Instant::now() + SILENT_AFTER;
    loop {
        tokio::select! {
            heard = hear.hear() => {
                let Ok(Some(message)) = heard else { return };
                silent_at = tokio::time::Instant::now() + SILENT_AFTER;
                match message {
                    ToDeputy::Done { number, outcome } => {
                        if let Some(place) = asked.iter().position(|one| one.number == number) {
                            asked.remove(place).answer(outcome);
                        }
                    }
                    ToDeputy::Refused(why) => {
                        assembly.send_replace(Arc::new(held.refused(why)));
                        return say.close(CLOSE_GOODBYE).await;
                    }
                    picture => {
                        if held.take(Uptime(started.elapsed()), picture) {
                            assembly.send_replace(Arc::new(held.clone()));
                        }
                    }
                }
            }
            Some(mut order) = wanted.recv() => {
                number += 1;
                order.number = number;
                let change = order.change;
                asked.push(order);
                if say.say(&FromDeputy::Order { number, change }).await.is_err() {
                    return;
                }
            }
            () = sleep(BEAT_EVERY) => {
                if say.say(&FromDeputy::Beat).await.is_err() {
                    return;
                }
            }
            () = tokio::time::sleep_until(silent_at) => return,
        }
    }
}

async fn listen(port: u16) -> Result<TcpListener, PodiumError> {
    TcpListener::bind((Ipv4Addr::LOCALHOST, port))
        .await
        .map_err(|cause| PodiumError::Page { port, cause })
}
