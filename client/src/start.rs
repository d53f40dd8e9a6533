//! Starting a station: everything that can be refused is refused here, before anything runs.

use std::io;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use consort_clock::Clock;
use consort_link::{Event, Link};
use consort_logbook::{Logbook, Logged};
use consort_peer::{Dialer, Identity, IdentityError};
use consort_proto::{Fingerprint, Harp, Name, Sequence, Tolerance, Uptime, harp_file};
use consort_store::{Folder, FolderError, Lines};
use consort_words::{Arg, Key, Words};
use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};

use crate::browse;
use crate::choice::{self, By, ChosenHarp, NotAHarpChoice};
use crate::choices::Kept;
use crate::config::{Config, Discovery};
use crate::desk;
use crate::ear::Expectation;
use crate::endpoint::Calls;
use crate::feed::{Feed, NoSound, Source};
use crate::image::Image;
use crate::invitation::Invitation;
use crate::keeper::{Book, Keeper};
use crate::pairing::Exchanges;
use crate::record::{self, live::Live};
use crate::sound::input;
pub use crate::station::Ended;
use crate::station::{EventLoop, HARP_FILE, Inboxes, Parts, Wish};
use crate::store::{Note, Opened, Store, StoreError};
use crate::trace::Trace;
use crate::voice::Voice;

/// A station with its memory read and its ports taken, not yet hearing anything.
pub struct Station {
    /// Held until the station ends.
    _folder: Arc<Folder>,
    event_loop: EventLoop,
    inboxes: Inboxes,
    events: mpsc::Sender<Event>,
    wishes: mpsc::Sender<Wish>,
    images: watch::Receiver<Arc<Image>>,
    discovery: Option<Discovery>,
    desk: TcpListener,
    desk_address: SocketAddr,
    desk_key: String,
    record: Live,
    trace: Trace,
}

/// Why a station cannot be started.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StartError {
    /// The data folder cannot be used.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// The harp that was kept is none any more.
    #[error(transparent)]
    Harp(#[from] NotAHarpChoice),
    /// There is no key to be known by.
    #[error(transparent)]
    Identity(#[from] IdentityError),
    /// The memory cannot be read or written.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// There is nothing to hear.
    #[error(transparent)]
    Sound(#[from] NoSound),
    /// No socket for calls.
    #[error("no coordinator can be called from here ({0}): look at the network settings")]
    Network(io::Error),
    /// No logbook can be written there.
    #[error("no logbook can be written to {path} ({cause}): choose another file with --logbook", path = .path.display())]
    Logbook {
        /// Where.
        path: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
    /// Another program has the desk's port.
    #[error("another program already uses TCP port {0}: end it, or choose another port with --desk-port")]
    PortInUse(u16),
    /// The desk cannot be served.
    #[error("the desk cannot be served on port {port} ({cause}): choose another with --desk-port")]
    Desk {
        /// The port.
        port: u16,
        /// What the system said.
        cause: io::Error,
    },
    /// The system gives no random numbers.
    #[error("the system gives no random numbers")]
    NoRandomNumbers,
}

/// Events that may wait for the loop; it never takes long over one.
const WAITING_MAX: usize = 256;
/// What the ear has said and nobody has taken in yet.
const FED_MAX: usize = 64;
/// How long recordings wait for the agreement of a coordinator: one that was named, and one that was joined before.
const PATIENCE_INVITED: Duration = Duration::from_secs(10);
const PATIENCE_KNOWN: Duration = Duration::from_secs(3);

impl Station {
    /// Opens the data folder, the input and the desk's port; to be called inside a tokio runtime.
    pub async fn start(config: Config) -> Result<Self, StartError> {
        let clock = Clock::start();
        let folder = Arc::new(Folder::open(&config.data)?);
        let (identity, key_aside) = Identity::open(&folder)?;
        let (told, written) = mpsc::unbounded_channel();
        let Opened {
            saved,
            store,
            put_aside,
            only_read,
        } = Store::open(&folder, told)?;
        let desk = bind(config.desk_port).await?;
        let desk_address = desk.local_addr().map_err(|cause| desk_error(config.desk_port, cause))?;

        let own_harp = Arc::new(remembered(&folder, config.harp, &config.data)?);
        // Targets are reckoned from what is allowed for, here and at the coordinator; the record keeps its own harp.
        let harp = Arc::new(record::allowing(&folder.file(RECORD), &own_harp));
        let name = config
            .name
            .or_else(|| saved.name.clone())
            .unwrap_or_else(|| made_up(identity.fingerprint()));
        store.note(Note::Started(name.clone(), (*harp).clone()));
        let logbook = match config.logbook {
            Some(path) => match Lines::append(&path) {
                Ok(lines) => Some(Logbook::new(move |line| lines.add(line))),
                Err(cause) => return Err(StartError::Logbook { path, cause }),
            },
            None => None,
        };
        let mut link = Logged::<Link>::start(
            Uptime::default(),
            consort_link::Config {
                name: name.clone(),
                harp: (*harp).clone(),
                process: random()?,
                known: saved.known.clone(),
                stories: saved.stories(&harp),
                // What waits of another harp's strings would be counted on this one's.
                journal: if saved.is_of(&harp) { saved.journal } else { Vec::new() },
                next: Sequence(saved.reported + 1),
                agreement: saved.agreement.filter(|_| !config.own_tuning),
                tenure: saved.tenure,
                own: (config.tuning, Tolerance::default()),
                seed: random()?,
            },
            logbook,
        );

        let kept = Kept::open(folder.clone());
        let trace = Trace::default();
        let (ear, told_ear) = std::sync::mpsc::channel();
        let (feeding, fed) = mpsc::channel(FED_MAX);
        let tag = format!("{:016x}{:016x}", random()?, random()?);
        let book = Book {
            path: folder.file(RECORD),
            harp: (*own_harp).clone(),
            tag,
            recorded: config.recorded,
            place: config.place.clone(),
            folder: Some(folder.clone()),
        };
        let keeper = Keeper::start(book, feeding.clone()).ok();
        let expectation = Expectation::one_tuning(harp.clone(), *link.tuning());
        let plays_recordings = matches!(config.source, Source::Recordings { .. });
        let source = match config.source {
            // What was chosen at the desk, as long as it is there.
            Source::Live(None) => Source::Live(
                kept.now()
                    .input()
                    .filter(|name| input::look_for(name).is_ok())
                    .map(str::to_owned),
            ),
            source => source,
        };
        let feed = Feed::new(source, expectation, told_ear, trace.clone(), feeding)?;
        let patience = match (plays_recordings, config.invitation.is_some(), saved.known.is_empty()) {
            (true, true, _) => PATIENCE_INVITED,
            (true, false, false) => PATIENCE_KNOWN,
            _ => Duration::ZERO,
        };

        let invited = match &config.invitation {
            Some(Invitation::Link(link)) => link.addresses.first().copied(),
            Some(Invitation::Code(_) | Invitation::Address(_)) | None => None,
        };
        let called = config.coordinator.or(invited);
        if let Some(address) = config.coordinator {
            link.handle(Uptime::default(), Event::Address(address));
        }
        if let Some(invitation) = config.invitation {
            link.handle(Uptime::default(), invitation.into());
        }
        let (events, heard_events) = mpsc::channel(WAITING_MAX);
        let (wishes, heard_wishes) = mpsc::channel(WAITING_MAX);
        let desk_key = desk::kept_key(&folder)?;
        let voice = Voice::new(config.output);
        voice.desk_at(desk::url(desk_address, &desk_key));
        let own_tag = identity.fingerprint().tag();
        let exchanges = Exchanges::new(identity.fingerprint());
        let dialer = Dialer::new(Arc::new(identity)).map_err(StartError::Network)?;
        let record = Live::new(folder.file(RECORD), own_harp.clone());
        let (event_loop, images) = EventLoop::new(Parts {
            link,
            calls: Calls::new(dialer, events.clone()),
            exchanges,
            store,
            folder: folder.clone(),
            own_tag,
            keeper,
            clock,
            harp,
            own_harp,
            name,
            voice,
            notices: put_aside
                .into_iter()
                .chain(key_aside)
                .map(aside_sentence)
                .chain(only_read)
                .collect(),
            ear,
            kept,
            feed,
            patience,
            called,
            until_end: config.until_end && plays_recordings,
            // Recordings answer no questions.
            opens: config.opening && !plays_recordings,
        });
        Ok(Self {
            _folder: folder,
            event_loop,
            inboxes: Inboxes {
                events: heard_events,
                fed,
                written,
                wishes: heard_wishes,
            },
            events,
            wishes,
            images,
            discovery: config.discovery,
            desk,
            desk_address,
            desk_key,
            record,
            trace,
        })
    }

    /// Where the desk is served.
    pub const fn desk_address(&self) -> SocketAddr {
        self.desk_address
    }

    /// The address of the desk's page for a browser on this computer; it holds the key that lets the page in.
    pub fn desk_url(&self) -> String {
        desk::url(self.desk_address, &self.desk_key)
    }

    /// The station's image, now and after each change.
    pub fn images(&self) -> watch::Receiver<Arc<Image>> {
        self.images.clone()
    }

    /// Takes what the harpist wishes, as from the page.
    pub(crate) fn wishes(&self) -> mpsc::Sender<Wish> {
        self.wishes.clone()
    }

    /// Hears, guides and reports until `shutdown`, or until the recordings have ended if it is to end with them.
    ///
    /// Also ends when the harpist has chosen another harp or input: then the station is to start anew.
    pub async fn run(self, shutdown: impl Future<Output = ()> + Unpin) -> Ended {
        let desk = desk::serve(
            self.desk,
            self.desk_key,
            self.images,
            self.wishes,
            self.record,
            self.trace,
        );
        let looking = look(self.discovery, self.events);
        tokio::select! {
            ended = self.event_loop.run(self.inboxes, shutdown) => ended,
            never = async { tokio::join!(desk, looking); std::future::pending().await } => never,
        }
    }
}

/// The chosen harp, kept for the next time; without a choice, the harp that was kept.
///
/// A preset that is chosen is the harp that was kept, name and all, if that has the same strings: its record goes on.
/// That holds as long as the record in `data` has no harp of the preset's own name, which would be another one.
fn remembered(folder: &Folder, chosen: Option<ChosenHarp>, data: &Path) -> Result<Harp, StartError> {
    if let Some(ChosenHarp { harp, text, by }) = chosen {
        let kept = || {
            let text = folder.read(HARP_FILE).ok()??;
            harp_file::parse(&String::from_utf8_lossy(&text)).ok()
        };
        let may_be_kept = by == By::Preset && !matches!(record::harp_called(data, harp.name()), Ok(Some(_)));
        if let Some(kept) = may_be_kept
            .then(kept)
            .flatten()
            .filter(|kept| kept.is_strung_like(&harp))
        {
            return Ok(kept);
        }
        folder.write(HARP_FILE, text.as_bytes())?;
        return Ok(harp);
    }
    let Some(kept) = folder.read(HARP_FILE)? else {
        return Ok(choice::harp(None)?.harp);
    };
    harp_file::parse(&String::from_utf8_lossy(&kept)).map_err(|cause| {
        let path = folder.file(HARP_FILE).display().to_string();
        StartError::Harp(NotAHarpChoice::File { path, cause })
    })
}

/// The harp's record, in the data folder.
pub(crate) const RECORD: &str = "record.sqlite";

async fn look(discovery: Option<Discovery>, events: mpsc::Sender<Event>) {
    if let Some(discovery) = discovery
        && let Err(why) = browse::look(discovery, events).await
    {
        tracing::warn!(%why, "discovery has ended");
    }
}

async fn bind(port: u16) -> Result<TcpListener, StartError> {
    TcpListener::bind((Ipv4Addr::LOCALHOST, port))
        .await
        .map_err(|cause| desk_error(port, cause))
}

fn desk_error(port: u16, cause: io::Error) -> StartError {
    if cause.kind() == io::ErrorKind::AddrInUse {
        StartError::PortInUse(port)
    } else {
        StartError::Desk { port, cause }
    }
}

/// Until the harpist says who she is, the board tells stations apart by their keys.
fn made_up(key: Fingerprint) -> Name {
    let tag = key.tag();
    let short: String = tag.chars().take(4).collect();
    format!("Harp {short}")
        .parse()
        .unwrap_or_else(|_| unreachable!("letters and digits make a name"))
}

fn aside_sentence(aside: PathBuf) -> String {
    let shown = aside.display().to_string();
    let file = shown.split(".damaged-").next().unwrap_or(&shown).to_owned();
    Words::english().say(
        Key::ProblemDataDamaged,
        &[("file", Arg::from(file)), ("aside", Arg::from(shown))],
    )
}

fn random() -> Result<u64, StartError> {
    ring::rand::generate::<[u8; 8]>(&ring::rand::SystemRandom::new())
        .map(|bytes| u64::from_le_bytes(bytes.expose()))
        .map_err(|_| StartError::NoRandomNumbers)
}
