//! What a person types: options and orders, each turned into a type at once.

use std::ffi::OsString;
use std::net::{IpAddr, Ipv4Addr};
use std::path::PathBuf;

use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::parser::ValueSource;
use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};
use consort_proto::{Name, Note, ReferencePitch, Setting, Temperament, discovery};

use crate::start::Start;

/// Opens the session of a harp ensemble, or sends an order to the session that is open on this laptop.
#[derive(Clone, Debug, Parser)]
#[command(name = "consort-coordinator", version, disable_help_subcommand = true)]
pub struct Args {
    /// What to do; without it, opens the session.
    #[command(subcommand)]
    pub order: Option<Order>,
    /// How the session is opened.
    #[command(flatten)]
    pub opening: OpeningArgs,
    /// Folder for the session's data [default: the usual place for this user's data].
    #[arg(long, value_name = "FOLDER", global = true)]
    pub data: Option<PathBuf>,
    /// Print machine-readable lines of JSON.
    #[arg(long, global = true)]
    pub json: bool,
}

impl Args {
    /// What `words` ask for. What opens a session does not go with an order to one that is open.
    pub fn typed(words: impl IntoIterator<Item = OsString>) -> Result<Self, clap::Error> {
        let matches = Self::command().try_get_matches_from(words)?;
        let opening = |id: &str| {
            let typed = matches.value_source(id) == Some(ValueSource::CommandLine);
            typed && !matches!(id, "data" | "json")
        };
        if matches.subcommand_name().is_some()
            && let Some(id) = matches
                .ids()
                .map(clap::Id::as_str)
                .find(|id| matches.contains_id(id) && opening(id))
        {
            let mut conflict = clap::Error::new(ErrorKind::ArgumentConflict).with_cmd(&Self::command());
            let option = format!("--{}", id.replace('_', "-"));
            conflict.insert(ContextKind::InvalidArg, ContextValue::String(option));
            return Err(conflict);
        }
        Self::from_arg_matches(&matches)
    }
}

/// How a session is opened: what is not given stays as it was, or is A4 = 440 Hz, equal, all naturals.
#[derive(Clone, Debug, clap::Args)]
pub struct OpeningArgs {
    /// Reference pitch: A4 in hertz, as in 442 or 440.5.
    #[arg(long, value_name = "HZ")]
    pub pitch: Option<ReferencePitch>,
    /// Temperament: a name such as equal or vallotti, or twelve offsets in cents from C to B.
    #[arg(long, value_name = "NAME", allow_negative_numbers = true)]
    pub temperament: Option<Temperament>,
    /// Pedal setting that the temperament serves: a major key, as in Eb, or all seven pedals.
    #[arg(long, value_name = "SETTING")]
    pub setting: Option<Setting>,
    /// Start of the performance: a time of day, as in 19:30, or minutes from now, as in 25.
    #[arg(long, value_name = "TIME")]
    pub start: Option<Start>,
    /// What the ensemble calls itself.
    #[arg(long, value_name = "ENSEMBLE")]
    pub name: Option<Name>,
    /// Address on which stations and the board are served.
    #[arg(long, value_name = "ADDRESS", default_value_t = IpAddr::V4(Ipv4Addr::UNSPECIFIED))]
    pub listen: IpAddr,
    /// UDP port for the stations.
    #[arg(long, value_name = "PORT", default_value_t = discovery::PORT)]
    pub port: u16,
    /// TCP port for the board.
    #[arg(long, value_name = "PORT", default_value_t = discovery::PORT + 1)]
    pub board_port: u16,
    /// TCP port for the leader's page, on this laptop only.
    #[arg(long, value_name = "PORT", default_value_t = discovery::PORT + 2)]
    pub control_port: u16,
    /// The input of this laptop through which an A is measured, as `consort-station inputs` lists it [default: the system's].
    #[arg(long, value_name = "INPUT")]
    pub microphone: Option<String>,
    /// Do not open the leader's page in a browser.
    #[arg(long)]
    pub no_browser: bool,
    /// Write down everything that happens to the session, for `replay`; names and codes are left out.
    #[arg(long, value_name = "FILE")]
    pub logbook: Option<PathBuf>,
    /// Do not announce the session on the network: stations then need the address or the join link.
    #[arg(long)]
    pub no_discovery: bool,
    /// UDP port of multicast DNS, for trials beside a running one.
    #[arg(long, hide = true, value_name = "PORT", default_value_t = 5353)]
    pub mdns_port: u16,
    /// Announce the session on this laptop only.
    #[arg(long, hide = true)]
    pub mdns_loopback: bool,
}

/// An order to the session that is open on this laptop.
#[derive(Clone, Debug, Subcommand)]
pub enum Order {
    /// Change the reference pitch: every string is judged anew at once.
    Pitch {
        /// A4 in hertz.
        hz: ReferencePitch,
        /// Not now, but from the next round on; the pitch that is agreed takes that back.
        #[arg(long)]
        next_round: bool,
    },
    /// Measure the A that somebody gives near this laptop, through its microphone: it is proposed, never agreed by itself.
    Measure,
    /// Answer an A that somebody has measured.
    Proposal {
        /// `now` or `next` agrees on it, to half a hertz, at once or from the next round; `keep` stays with what is agreed.
        #[arg(value_parser = ["now", "next", "keep"])]
        word: String,
    },
    /// Change the temperament.
    Temperament {
        /// A name, or twelve offsets in cents from C to B.
        #[arg(required = true, allow_negative_numbers = true)]
        words: Vec<String>,
        /// The note on which it is at home, in the place of C, as in D or Eb.
        #[arg(long, value_name = "NOTE", value_parser = home)]
        home: Option<Note>,
    },
    /// Change the pedal setting that the temperament serves.
    Setting {
        /// A major key, or all seven pedals.
        #[arg(required = true)]
        words: Vec<String>,
    },
    /// Change how far a string may be off and still be in tune.
    Tolerance {
        /// In cents: gut and nylon, wires, and the top octave and a half, as in 2 3 5.
        #[arg(required = true, num_args = 3, value_names = ["MIDDLE", "WIRES", "TOP"])]
        cents: Vec<f64>,
    },
    /// Set the start of the performance.
    Start {
        /// A time of day, as in 19:30, or minutes from now, as in 25; `none` clears it.
        #[arg(required = true)]
        words: Vec<String>,
    },
    /// Ask everyone for one string, as in 4C; `none` for no more.
    Call {
        /// The harp's octave and the letter.
        string: String,
    },
    /// Let in a laptop that asks without a code.
    Admit {
        /// Its tag, as `status` and its desk show it.
        tag: String,
    },
    /// Say no to a laptop that asks without a code.
    Decline {
        /// Its tag, as `status` and its desk show it.
        tag: String,
    },
    /// Say for its holder whether a seat may be taken over.
    Seat {
        /// The seat's number.
        number: u32,
        /// `give` or `keep`.
        #[arg(value_parser = ["give", "keep"])]
        word: String,
    },
    /// Turn a laptop away.
    Remove {
        /// Its tag, as `status` shows it.
        tag: String,
    },
    /// Let a laptop back in that was turned away.
    LetBack {
        /// Its tag, as `status` shows it.
        tag: String,
    },
    /// Let a laptop change the agreement as a deputy, or not any more.
    Deputy {
        /// Its tag, as `status` shows it.
        tag: String,
        /// `on` or `off`.
        #[arg(value_parser = ["on", "off"])]
        word: String,
    },
    /// Call a new round: everything is tuned anew.
    Round,
    /// Take back the last change.
    Undo,
    /// Show who is ready and what is left, each laptop with the tag that other orders take.
    Status,
    /// Write down what the session came to.
    Summary {
        /// Where: a name that ends in .html is a page to print, .csv holds every string, .json all of it.
        file: PathBuf,
    },
    /// Print the join link, and the code where one is shown.
    Link,
    /// Show a fresh joining code, and open joining if it was closed.
    Code,
    /// Give the board a new address: whoever looks by the one before sees nothing more.
    Board,
    /// Show seats in another order, on the board and everywhere.
    Order {
        /// Numbers of seats, as they are shown: these come first, in this order, the others after them as they were.
        #[arg(required = true, value_name = "SEAT")]
        seats: Vec<String>,
    },
    /// Silence the reference tones of all desks, or let them sound again.
    Tones {
        /// `off` silences them, `on` lets them sound.
        #[arg(value_parser = ["on", "off"])]
        word: String,
    },
    /// Open or close joining for players who have not joined yet.
    Joining {
        /// `on` or `off`.
        #[arg(value_parser = ["on", "off"])]
        word: String,
    },
    /// Close the session and end the coordinator.
    Stop,
    /// Play a logbook again and look whether everything comes out as it did.
    Replay {
        /// What `--logbook` wrote.
        file: PathBuf,
    },
}

/// A note of any octave.
fn home(text: &str) -> Result<Note, String> {
    format!("{text}4").parse().map_err(|_| {
        format!("“{text}” is not a note to be at home on: write a letter, with b or # behind it, as in D or Eb")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_options_are_well_formed() {
        Args::command().debug_assert();
    }

    fn typed(line: &str) -> Result<Args, String> {
        let words = line.split(' ').map(OsString::from);
        Args::typed(words).map_err(|why| consort_words::Words::english().typed(&why))
    }

    #[test]
    fn the_data_folder_may_stand_before_or_after_the_order() {
        for line in [
            "consort-coordinator --data hall status",
            "consort-coordinator status --data hall",
        ] {
            let args = typed(line).expect(line);
            assert!(matches!(args.order, Some(Order::Status)), "{line}");
            assert_eq!(args.data.as_deref(), Some(std::path::Path::new("hall")), "{line}");
        }
    }

    #[test]
    fn what_cannot_be_meant_is_said_with_what_to_do() {
        for (line, says) in [
            (
                "consort-coordinator --pitch 442 status",
                "--pitch does not go with what else was typed",
            ),
            (
                "consort-coordinator --no-browser link",
                "--no-browser does not go with what else was typed",
            ),
            ("consort-coordinator pitch", "<HZ> is missing"),
            ("consort-coordinator tolerance 2 3", "--help"),
            ("consort-coordinator pitch 4400", "4400"),
            ("consort-coordinator loud", "there is no order “loud”"),
            ("consort-coordinator --loud", "there is no option “--loud”"),
        ] {
            let sentence = typed(line).expect_err(line);
            assert!(
                sentence.contains(says) && !sentence.contains('\n'),
                "{line}: {sentence}"
            );
        }
    }
}
