//! The coordinator: opens a session, holds the agreement, shows the board.
//!
//! This crate is the shell around `consort-session`: sockets, disk, clock and pages are here, every decision is there.

mod address;
mod advert;
pub mod args;
mod board;
pub mod config;
pub mod control;
pub mod coordinator;
mod deputy;
mod endpoint;
mod image;
pub mod lines;
mod microphone;
mod network;
pub mod order;
mod pairing;
pub mod remote;
pub mod start;
pub mod status;
mod store;
pub mod summary;
mod table;
mod visitors;
mod work;

use std::fmt;
use std::io;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use consort_clock::Clock;
use consort_logbook::{Logbook, Logged};
use consort_peer::link::CLOSE_GOODBYE;
use consort_peer::{Identity, IdentityError, ListenError, Listener};
use consort_proto::{JoinLink, Uptime};
use consort_session::{Command, Event, Session, View};
use consort_store::{Folder, FolderError, Lines};
use consort_words::{Arg, Key, Words};
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};
use tokio::time::timeout;

pub use crate::config::Config;
use crate::config::{Discovery, Limits};
use crate::coordinator::{EventLoop, Input, Viewer};
use crate::deputy::Desk;
use crate::image::Drawing;
use crate::microphone::Microphone;
use crate::network::Doors;
use crate::pairing::Exchanges;
use crate::remote::Handle;
pub use crate::store::StoreError;
use crate::store::{Opened, Store};
use crate::visitors::Visitors;
use crate::work::Stopwatch;

/// A coordinator with its session read and its ports taken, not yet serving.
pub struct Coordinator {
    folder: Folder,
    doors: Doors,
    listener: Listener,
    board: TcpListener,
    control: TcpListener,
    discovery: Option<Discovery>,
    microphone: Option<String>,
    limits: Limits,
    watch: Stopwatch,
    event_loop: EventLoop,
    inputs: mpsc::Receiver<Input>,
    inbox: mpsc::Sender<Input>,
    images: watch::Receiver<Arc<View>>,
    addresses: Addresses,
    handle: Handle,
    notices: Vec<String>,
}

/// Where everything is, with the secrets that open it.
#[derive(Clone)]
pub struct Addresses {
    /// Where stations call.
    pub stations: SocketAddr,
    /// Where a player says that the coordinator is, if a station does not find it by itself.
    pub typed: String,
    /// What a station needs to join.
    pub join: JoinLink,
    /// The board, with the token that opens it.
    pub board: String,
    /// The leader's page, with the token that opens it.
    pub control: String,
}

/// Why a coordinator cannot be opened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BindError {
    /// The data folder cannot be used.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// There is no key to be known by.
    #[error(transparent)]
    Identity(#[from] IdentityError),
    /// The session cannot be read or written.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Stations cannot call.
    #[error(transparent)]
    Listen(#[from] ListenError),
    /// Another program has the port of a page.
    #[error("another program already uses TCP port {port}: end it, or choose another port with {option}")]
    PortInUse {
        /// The port.
        port: u16,
        /// The option that chooses another.
        option: &'static str,
    },
    /// No logbook can be written there.
    #[error("no logbook can be written to {path} ({cause}): choose another file with --logbook", path = .path.display())]
    Logbook {
        /// Where.
        path: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
    /// A page cannot be served.
    #[error("cannot serve pages on {address} ({cause})")]
    NoSocket {
        /// Where.
        address: SocketAddr,
        /// What the system said.
        cause: io::Error,
    },
}

impl fmt::Debug for Coordinator {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Coordinator({}, …)", self.addresses.stations)
    }
}

/// Inputs that may wait for the event loop; it takes thousands in a second.
const INBOX: usize = 1_024;
/// Stations and pages are told of the end, but the end does not wait longer for them.
const FAREWELL: Duration = Duration::from_secs(2);

impl Coordinator {
    /// Reads or begins the session in the data folder and takes all ports; to be called inside a tokio runtime.
    pub fn bind(config: Config) -> Result<Self, BindError> {
        let folder = Folder::open(&config.data)?;
        let (identity, damaged_key) = Identity::open(&folder)?;
        let identity = Arc::new(identity);
        let listener = Listener::bind(&identity, SocketAddr::new(config.listen, config.port))?;
        let stations_at = listener.local_addr().map_err(|cause| BindError::NoSocket {
            address: SocketAddr::new(config.listen, config.port),
            cause,
        })?;
        let (board, board_at) = listen(SocketAddr::new(config.listen, config.board_port), "--board-port")?;
        let (control, control_at) = listen((Ipv4Addr::LOCALHOST, config.control_port).into(), "--control-port")?;
        let Opened {
            saved,
            store,
            events,
            put_aside,
            only_read,
        } = Store::open(&folder, &config.opening)?;
        let notices = [damaged_key, put_aside]
            .iter()
            .flatten()
            .map(|aside| notice(aside))
            .chain(only_read)
            .collect();
        let handle = Handle {
            port: control_at.port(),
            token: match left_behind(&folder)? {
                Some(token) => token,
                None => random_word()?,
            },
        };
        let doors = Doors {
            identity: identity.clone(),
            stations: stations_at,
            board: board_at,
            token: saved.token,
        };
        let addresses = Addresses {
            stations: stations_at,
            typed: doors.typed(),
            join: doors.join(),
            board: doors.board_url(saved.ruled.board),
            control: control::url(control_at, &handle.token),
        };
        let exchanges = Exchanges::new(identity.fingerprint(), saved.agreement.session);
        let logbook = match config.logbook {
            Some(path) => match Lines::append(&path) {
                Ok(lines) => Some(Logbook::new(move |line| lines.add(line))),
                Err(cause) => return Err(BindError::Logbook { path, cause }),
            },
            None => None,
        };
        let opening = consort_session::Opening {
            config: config.session,
            saved,
        };
        let mut session = Logged::<Session>::start(Uptime::default(), opening, logbook);
        // Before anybody looks, so that the first image shows a code.
        session.handle(Uptime::default(), Event::Code(pairing::draw_code()?));
        if let Some(wait) = config.opening.start {
            session.handle(Uptime::default(), Event::Command(Command::Start(Some(wait))));
        }
        // An order finds the coordinator by this file, from the moment in which the page's port is open.
        folder.write(remote::FILE, handle.text().as_bytes())?;
        let (inbox, inputs) = mpsc::channel(INBOX);
        let watch = Stopwatch::new(config.work);
        let (event_loop, images) = EventLoop::new(session, store, exchanges, events, (Clock::start(), watch.clone()));
        Ok(Self {
            folder,
            doors,
            listener,
            board,
            control,
            discovery: config.discovery,
            microphone: config.microphone,
            limits: config.limits,
            watch,
            event_loop,
            inputs,
            inbox,
            images,
            addresses,
            handle,
            notices,
        })
    }

    /// Where everything is.
    pub const fn addresses(&self) -> &Addresses {
        &self.addresses
    }

    /// What a person should know before the session begins: one sentence each.
    pub fn notices(&self) -> &[String] {
        &self.notices
    }

    /// A way to look at the session and to give orders while it runs.
    pub fn viewer(&self) -> Viewer {
        Viewer::new(self.inbox.clone())
    }

    /// The images of the session, as it changes.
    pub fn images(&self) -> watch::Receiver<Arc<View>> {
        self.images.clone()
    }

    /// Serves until `shutdown` or an order to stop, then takes leave of everyone.
    pub async fn run(self, shutdown: impl Future<Output = ()>) -> io::Result<()> {
        let number = self.images.borrow().board;
        let (network, networks) = watch::channel(self.doors.network(number));
        let (tokens, token) = watch::channel(Arc::from(board::token(self.doors.token, number)));
        let drawing = Drawing::new(&self.images.borrow(), &networks.borrow(), self.watch.clone());
        let control = control::pages(
            self.viewer(),
            drawing.control(),
            &self.handle,
            networks.clone(),
            Microphone::new(self.microphone.clone()),
        );
        let board = consort_pages::board_behind(drawing.board(), token);
        let keeping = board::keep(self.doors.token, self.images(), tokens);
        let followed = self.images();
        let ensemble = self.images.borrow().agreement.ensemble.clone();
        let announced = self.discovery.map(|discovery| (discovery, ensemble));
        let mut advert = None;
        let desk = Desk {
            inbox: self.inbox.clone(),
            images: self.images(),
            watch: self.watch.clone(),
        };
        let Self {
            folder,
            doors,
            listener,
            limits,
            mut event_loop,
            inputs,
            ..
        } = self;
        tokio::select! {
            () = event_loop.run(inputs, shutdown) => {}
            () = endpoint::serve(&listener, limits, &desk) => {}
            () = drawing.follow(self.images, networks) => {}
            () = network::follow(&doors, announced, &mut advert, &network, followed) => {}
            () = keeping => {}
            served = axum::serve(Visitors::of(self.control), control) => served?,
            served = axum::serve(Visitors::of(self.board), board) => served?,
        }
        folder.remove(remote::FILE);
        // A peer that cannot be told finds out by itself.
        let _ = timeout(FAREWELL, listener.close(CLOSE_GOODBYE)).await;
        if let Some(advert) = advert {
            advert.withdraw().await;
        }
        Ok(())
    }
}

/// A listening socket for pages, and where it is.
fn listen(address: SocketAddr, option: &'static str) -> Result<(TcpListener, SocketAddr), BindError> {
    let port = address.port();
    let open = || -> io::Result<(TcpListener, SocketAddr)> {
        let socket = std::net::TcpListener::bind(address)?;
        socket.set_nonblocking(true)?;
        let at = socket.local_addr()?;
        Ok((TcpListener::from_std(socket)?, at))
    };
    open().map_err(|cause| match cause.kind() {
        io::ErrorKind::AddrInUse => BindError::PortInUse { port, option },
        _ => BindError::NoSocket { address, cause },
    })
}

/// Says what became of a damaged file.
fn notice(aside: &Path) -> String {
    let aside_name = aside.file_name().unwrap_or_default().to_string_lossy();
    let file = aside_name.split(".damaged-").next().unwrap_or_default();
    Words::english().say(
        Key::ProblemDataDamaged,
        &[
            ("file", Arg::from(file)),
            ("aside", Arg::from(aside.display().to_string())),
        ],
    )
}

/// The token of a coordinator on the same folder that was ended by force: a page that is still open follows again by itself.
fn left_behind(folder: &Folder) -> Result<Option<String>, BindError> {
    let handle = folder.read(remote::FILE)?;
    let handle: Option<Handle> = handle.and_then(|bytes| serde_json::from_slice(&bytes).ok());
    Ok(handle.map(|handle| handle.token).filter(|token| is_random_word(token)))
}

/// 128 random bits as a word that can stand in an address.
fn random_word() -> Result<String, StoreError> {
    Ok(store::random_bytes::<16>()?
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect())
}

/// Whether `word` has the form of [`random_word`]: a damaged file must not open the page to everyone.
fn is_random_word(word: &str) -> bool {
    word.len() == 32 && word.bytes().all(|byte| byte.is_ascii_hexdigit())
}
