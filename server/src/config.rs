//! What the coordinator uses: every option resolved, ready to be opened.

use std::net::{IpAddr, Ipv4Addr};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use consort_proto::{Name, ReferencePitch, Setting, Temperament, discovery};
use consort_store::{Folder, FolderError};

use crate::args::Args;
pub use crate::endpoint::Limits;
use crate::start::NoLocalTime;
pub use crate::work::{Share, Work};

/// How a coordinator is opened; [`Config::in_folder`] gives one that runs a rehearsal unaided.
#[derive(Clone, Debug)]
pub struct Config {
    /// Where the session, the key and the control token are kept.
    pub data: PathBuf,
    /// The address on which stations and the board are served.
    pub listen: IpAddr,
    /// The UDP port for the stations; 0 takes any free one.
    pub port: u16,
    /// The TCP port for the board; 0 takes any free one.
    pub board_port: u16,
    /// The TCP port for control, always on loopback; 0 takes any free one.
    pub control_port: u16,
    /// How the session is announced; `None` keeps it unannounced.
    pub discovery: Option<Discovery>,
    /// The input through which an A is measured; `None` for the one that the system prefers.
    pub microphone: Option<String>,
    /// What is changed at the opening; everything absent stays as it was saved.
    pub opening: Opening,
    /// How many may call at the same time.
    pub limits: Limits,
    /// Where everything that happens to the session is written down; `None` for nowhere.
    pub logbook: Option<PathBuf>,
    /// Where it is counted what the time goes into; `None` where nobody wants to know, which costs nothing.
    pub work: Option<Arc<Work>>,
    /// How many seats there are, how often hearts beat, and how long a joining code is good.
    pub session: consort_session::Config,
}

/// How the session is announced.
#[derive(Clone, Copy, Debug)]
pub struct Discovery {
    /// The UDP port of multicast DNS.
    pub port: u16,
    /// Whether to stay on this computer.
    pub loopback_only: bool,
}

/// What is changed at the opening.
#[derive(Clone, Debug, Default)]
pub struct Opening {
    /// The reference pitch.
    pub pitch: Option<ReferencePitch>,
    /// The temperament.
    pub temperament: Option<Temperament>,
    /// The pedal setting that it serves.
    pub setting: Option<Setting>,
    /// The start, this far from now.
    pub start: Option<Duration>,
    /// What the ensemble calls itself.
    pub name: Option<Name>,
}

/// Why what was typed cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// There is no usual place for data.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// A time of day was given where none is known.
    #[error(transparent)]
    Start(#[from] NoLocalTime),
}

/// The name of the program's folder below the user's data.
const PROGRAM: &str = "coordinator";

impl Config {
    /// The usual session, kept in `data`.
    pub fn in_folder(data: PathBuf) -> Self {
        Self {
            data,
            listen: IpAddr::V4(Ipv4Addr::UNSPECIFIED),
            port: discovery::PORT,
            board_port: discovery::PORT + 1,
            control_port: discovery::PORT + 2,
            discovery: Some(Discovery {
                port: 5353,
                loopback_only: false,
            }),
            microphone: None,
            opening: Opening::default(),
            limits: Limits::default(),
            logbook: None,
            work: None,
            session: consort_session::Config::default(),
        }
    }
}

/// The folder that `typed` names, or the usual one.
pub fn data_folder(typed: Option<PathBuf>) -> Result<PathBuf, FolderError> {
    typed.map_or_else(|| Folder::usual(PROGRAM), Ok)
}

impl TryFrom<Args> for Config {
    type Error = ConfigError;

    fn try_from(args: Args) -> Result<Self, ConfigError> {
        let typed = args.opening;
        Ok(Self {
            listen: typed.listen,
            port: typed.port,
            board_port: typed.board_port,
            control_port: typed.control_port,
            discovery: (!typed.no_discovery).then_some(Discovery {
                port: typed.mdns_port,
                loopback_only: typed.mdns_loopback,
            }),
            microphone: typed.microphone,
            logbook: typed.logbook,
            opening: Opening {
                pitch: typed.pitch,
                temperament: typed.temperament,
                setting: typed.setting,
                start: typed.start.map(crate::start::Start::from_now).transpose()?,
                name: typed.name,
            },
            ..Self::in_folder(data_folder(args.data)?)
        })
    }
}
