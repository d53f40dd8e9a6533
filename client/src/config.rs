//! What the station uses: every option resolved, ready to start.

use std::net::SocketAddr;
use std::path::PathBuf;

use consort_proto::{Name, Tuning};
use consort_record::{Moment, Place};
use consort_store::{Folder, FolderError};

use crate::args::Args;
use crate::choice::{self, ChosenHarp, NotAHarpChoice};
use crate::feed::Source;
use crate::invitation::Invitation;
use crate::keeper;

/// How a station is started.
#[derive(Clone, Debug)]
pub struct Config {
    /// The harpist; `None` for the name given last, or one made up.
    pub name: Option<Name>,
    /// The harp; `None` for the one that was heard last.
    pub harp: Option<ChosenHarp>,
    /// What it is tuned to while no agreement is known.
    pub tuning: Tuning,
    /// Whether that was typed: then it is tuned to until a coordinator is heard, whatever was agreed before.
    pub own_tuning: bool,
    /// Where the sound comes from.
    pub source: Source,
    /// A typed code or a pasted join link.
    pub invitation: Option<Invitation>,
    /// A typed address.
    pub coordinator: Option<SocketAddr>,
    /// Where key, journal and memory are kept.
    pub data: PathBuf,
    /// Where everything that happens to the link is written down; `None` for nowhere.
    pub logbook: Option<PathBuf>,
    /// How coordinators are looked for; `None` does not look.
    pub discovery: Option<Discovery>,
    /// The TCP port of the desk, always on loopback; 0 takes any free one.
    pub desk_port: u16,
    /// What is printed.
    pub output: Output,
    /// When the recordings were made; `None` for sound that is heard now.
    pub recorded: Option<Moment>,
    /// Where the harp stands, if it was said.
    pub place: Option<Place>,
    /// Whether to end once the recordings have been heard and reported.
    pub until_end: bool,
    /// Whether a tuning opens with the plucks that tell of pedals, levers and open tuning.
    pub opening: bool,
}

/// How coordinators are looked for.
#[derive(Clone, Copy, Debug)]
pub struct Discovery {
    /// The UDP port of multicast DNS.
    pub port: u16,
    /// Whether to stay on this computer.
    pub loopback_only: bool,
}

/// What a station prints on standard output.
#[derive(Clone, Copy, Debug, Default)]
pub struct Output {
    /// Plain lines for a person.
    pub terminal: bool,
    /// Each change of advice as a line of JSON.
    pub advice: bool,
    /// Readings and events as lines of JSON.
    pub json: bool,
}

/// Why what was typed cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// The harp is none.
    #[error(transparent)]
    Harp(#[from] NotAHarpChoice),
    /// There is no usual place for data.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// A recording is not there.
    #[error("there is no recording called “{0}” here: look at the name and the folder")]
    NoSuchSource(String),
    /// What is heard now was not recorded at another time.
    #[error("--recorded says when recordings were made: name them with --input, or leave it out")]
    NothingRecorded,
    /// Nothing was recorded tomorrow.
    #[error("the recordings cannot have been made at {0}, which has not come yet")]
    RecordedLater(Moment),
    /// A code says neither whom to join nor where.
    #[error(
        "a code alone does not say where the coordinator is: leave --no-discovery out, or give the address with --coordinator"
    )]
    CodeAlone,
    /// The join link says whom to join, and nothing says where.
    #[error("the join link names no address: leave --no-discovery out, or give the address with --coordinator")]
    Nowhere,
}

/// The name of the program's folder below the user's data.
pub(crate) const PROGRAM: &str = "station";

impl Config {
    /// The same station once more, by what it remembers: its harp, its name and its coordinator.
    pub fn again(&self) -> Self {
        Self {
            name: None,
            harp: None,
            invitation: None,
            coordinator: None,
            ..self.clone()
        }
    }
}

impl TryFrom<Args> for Config {
    type Error = ConfigError;

    fn try_from(args: Args) -> Result<Self, ConfigError> {
        let (tuning, own_tuning) = (args.harp.tuning(), args.harp.names_a_tuning());
        let typed = args.station;
        if typed.no_discovery
            && typed.coordinator.is_none()
            && typed.join.as_ref().is_some_and(|link| link.addresses.is_empty())
        {
            return Err(ConfigError::Nowhere);
        }
        if typed.no_discovery && typed.coordinator.is_none() && typed.code.is_some() {
            return Err(ConfigError::CodeAlone);
        }
        let source = source(&typed.input, typed.rate, typed.fast)?;
        if let Some(moment) = typed.recorded {
            if !matches!(source, Source::Recordings { .. }) {
                return Err(ConfigError::NothingRecorded);
            }
            if moment > keeper::now() {
                return Err(ConfigError::RecordedLater(moment));
            }
        }
        let data = typed.data.map_or_else(|| Folder::usual(PROGRAM), Ok)?;
        Ok(Self {
            source,
            recorded: typed.recorded,
            place: typed.place,
            name: typed.name,
            harp: args
                .harp
                .harp
                .as_deref()
                .map(|word| choice::harp_here(word, &data))
                .transpose()?,
            tuning,
            own_tuning,
            invitation: typed
                .code
                .map(Invitation::Code)
                .or_else(|| typed.join.map(Invitation::Link)),
            coordinator: typed.coordinator,
            logbook: typed.logbook,
            data,
            discovery: (!typed.no_discovery).then_some(Discovery {
                port: typed.mdns_port,
                loopback_only: typed.mdns_loopback,
            }),
            desk_port: typed.desk_port,
            output: Output {
                terminal: typed.terminal,
                advice: typed.advice.is_some(),
                json: args.json,
            },
            until_end: typed.until_end,
            opening: !typed.no_opening,
        })
    }
}

/// What the words after `--input` mean: a name of an input, or files; `file:` before a word makes it a file for sure.
fn source(words: &[String], rate: consort_proto::SampleRate, fast: bool) -> Result<Source, ConfigError> {
    match words {
        [] => Ok(Source::Live(None)),
        [word] if word == "default" => Ok(Source::Live(None)),
        [word] if word == "stdin" => Ok(Source::Stdin(rate)),
        [word] if !is_file(word) => Ok(Source::Live(Some(word.clone()))),
        words => {
            let file = |word: &String| PathBuf::from(word.strip_prefix(FILE).unwrap_or(word));
            let files: Vec<PathBuf> = words.iter().map(file).collect();
            match files.iter().find(|file| !file.exists()) {
                Some(missing) => {
                    let shown = missing.display().to_string().chars().take(60).collect();
                    Err(ConfigError::NoSuchSource(shown))
                }
                None => Ok(Source::Recordings { files, fast }),
            }
        }
    }
}

/// What tells a file from an input of the same name.
const FILE: &str = "file:";

/// Names of inputs have no such ending, so that a mistyped file is not looked for among the inputs.
fn is_file(word: &str) -> bool {
    let path = std::path::Path::new(word);
    let ending = path
        .extension()
        .and_then(|end| end.to_str())
        .map(str::to_ascii_lowercase);
    word.starts_with(FILE) || path.is_file() || matches!(ending.as_deref(), Some("wav" | "flac"))
}
