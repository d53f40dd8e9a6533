//! What a person types: options and orders, each turned into a type at once.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::{Parser, Subcommand};
use consort_proto::{
    JoinCode, JoinLink, Name, Note, ReferencePitch, SampleRate, Setting, Temperament, Tuning, discovery,
};

use consort_record::{Moment, Place};

use crate::invitation;
use crate::record::RecordArgs;

/// Hears one harp, shows which string wants turning and which way, and reports to the coordinator.
#[derive(Clone, Debug, Parser)]
#[command(
    name = "consort-station",
    version,
    disable_help_subcommand = true,
    subcommand_negates_reqs = true
)]
pub struct Args {
    /// What to do; without it, the station itself runs.
    #[command(subcommand)]
    pub order: Option<Order>,
    /// The harp and what it is tuned to.
    #[command(flatten)]
    pub harp: HarpArgs,
    /// How the station runs.
    #[command(flatten)]
    pub station: StationArgs,
    /// Print machine-readable lines of JSON.
    #[arg(long, global = true)]
    pub json: bool,
}

/// The harp and what it is tuned to while no coordinator says otherwise.
#[derive(Clone, Debug, clap::Args)]
pub struct HarpArgs {
    /// The harp: one that `harps` lists, one of the record by its name, or the path of a harp file.
    ///
    /// Left out, it is the harp that this station heard last, or `pedal-47`.
    #[arg(long, value_name = "HARP", global = true)]
    pub harp: Option<String>,
    /// Reference pitch: A4 in hertz, as in 442 or 440.5 [default: 440].
    #[arg(long, value_name = "HZ", global = true, allow_hyphen_values = true)]
    pub pitch: Option<ReferencePitch>,
    /// Temperament: a name such as equal or vallotti, or twelve offsets in cents from C to B [default: equal].
    #[arg(long, value_name = "NAME", global = true, allow_hyphen_values = true)]
    pub temperament: Option<Temperament>,
    /// Pedal setting that the temperament serves: a major key, as in Eb, or all seven pedals [default: C].
    #[arg(long, value_name = "SETTING", global = true)]
    pub setting: Option<Setting>,
}

impl HarpArgs {
    /// Pitch, temperament and setting together; what was not typed is A4 = 440 Hz, equal, naturals.
    pub fn tuning(&self) -> Tuning {
        let usual = Tuning::default();
        Tuning {
            a4: self.pitch.unwrap_or(usual.a4),
            temperament: self.temperament.unwrap_or(usual.temperament),
            setting: self.setting.unwrap_or(usual.setting),
        }
    }

    /// Whether any of it was typed.
    pub const fn names_a_tuning(&self) -> bool {
        self.pitch.is_some() || self.temperament.is_some() || self.setting.is_some()
    }
}

/// How the station runs.
#[derive(Clone, Debug, clap::Args)]
pub struct StationArgs {
    /// The harpist's name, as the board shows it.
    #[arg(long, value_name = "PLAYER")]
    pub name: Option<Name>,
    /// Where the sound comes from: `default`, an input that `inputs` lists, `stdin`, or recordings.
    #[arg(long, value_name = "INPUT", num_args = 1.., default_value = "default")]
    pub input: Vec<String>,
    /// Samples per second of standard input (32-bit floating point, little-endian, mono).
    #[arg(long, value_name = "RATE", default_value = "48000", value_parser = sample_rate)]
    pub rate: SampleRate,
    /// Hear recordings as fast as possible, not at the pace at which they were played.
    #[arg(long)]
    pub fast: bool,
    /// End once the recordings have been heard and what they told has been reported.
    #[arg(long)]
    pub until_end: bool,
    /// When the recordings were made, as in 2026-11-25T19:30:00Z: the record keeps their plucks under that time [default:
    /// now].
    #[arg(long, value_name = "MOMENT")]
    pub recorded: Option<Moment>,
    /// Where the harp stands, as its record keeps it [default: the ensemble's name, or home].
    #[arg(long, value_name = "PLACE", value_parser = place)]
    pub place: Option<Place>,
    /// Begin with the first string at once, not with the seven plucks that tell of pedals, levers and open tuning.
    #[arg(long)]
    pub no_opening: bool,
    /// The code on the leader's screen, as in 48291372; needed once.
    #[arg(long, value_name = "CODE", conflicts_with = "join")]
    pub code: Option<JoinCode>,
    /// The join link from the leader's page, in the code's place; needed once.
    #[arg(long, value_name = "LINK")]
    pub join: Option<JoinLink>,
    /// Where the coordinator is, as in 192.168.1.20; for a network on which it cannot be found.
    #[arg(long, value_name = "ADDRESS", value_parser = coordinator_address)]
    pub coordinator: Option<SocketAddr>,
    /// Folder for the station's data [default: the usual place for this user's data].
    #[arg(long, value_name = "FOLDER")]
    pub data: Option<PathBuf>,
    /// Write down everything that happens between this station and its coordinator, for `replay`; names and codes are left
    /// out.
    #[arg(long, value_name = "FILE")]
    pub logbook: Option<PathBuf>,
    /// Do not look for a coordinator on the network.
    #[arg(long)]
    pub no_discovery: bool,
    /// UDP port of multicast DNS, for trials beside a running one.
    #[arg(long, hide = true, value_name = "PORT", default_value_t = 5353)]
    pub mdns_port: u16,
    /// Look for a coordinator on this laptop only.
    #[arg(long, hide = true)]
    pub mdns_loopback: bool,
    /// TCP port for the desk, on this laptop only; 0 takes any free one.
    #[arg(long, value_name = "PORT", default_value_t = discovery::PORT + 3)]
    pub desk_port: u16,
    /// Show the desk in this terminal and open no browser; where it goes to a file or a pipe, as plain lines.
    #[arg(long)]
    pub terminal: bool,
    /// Print each change of advice as a line of JSON.
    #[arg(long, value_name = "FORM", value_parser = ["json"])]
    pub advice: Option<String>,
    /// Do not open the desk in a browser.
    #[arg(long)]
    pub no_browser: bool,
}

/// What else the program can do.
#[derive(Clone, Debug, Subcommand)]
pub enum Order {
    /// Hear recordings (WAV or FLAC) and print each pluck.
    Listen {
        /// The recordings.
        #[arg(required = true, value_name = "FILE")]
        files: Vec<PathBuf>,
        /// Print every change of a provisional answer as well.
        #[arg(long)]
        trace: bool,
        /// Hear all files as one tuning in the usual order, and remember strings from one to the next.
        #[arg(long)]
        one_tuning: bool,
    },
    /// Keep what an input carries, as the station hears it, in a WAV file, for `listen` or for someone far away to look at.
    Capture {
        /// The file; what was in it before is replaced.
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// An input that `inputs` lists.
        #[arg(long, value_name = "INPUT", default_value = "default")]
        input: String,
        /// How long.
        #[arg(long, value_name = "SECONDS", default_value = "10", value_parser = clap::value_parser!(u32).range(1..=3_600))]
        seconds: u32,
    },
    /// Show the board of a coordinator on this laptop, for a director; its code is needed once.
    Board {
        /// The code on the leader's screen, as in 48291372; needed once.
        #[arg(long, value_name = "CODE")]
        code: Option<JoinCode>,
        /// Where the coordinator is, as in 192.168.1.20; for a network on which it cannot be found.
        #[arg(long, value_name = "ADDRESS", value_parser = coordinator_address)]
        coordinator: Option<SocketAddr>,
        /// As whom this laptop joins.
        #[arg(long, value_name = "NAME", default_value = "Director")]
        name: Name,
        /// Folder for this laptop's key [default: the usual place for this user's data].
        #[arg(long, value_name = "FOLDER")]
        data: Option<PathBuf>,
        /// TCP port of the board on this laptop; control has the next one; 0 takes any free ones.
        #[arg(long, value_name = "PORT", default_value_t = discovery::PORT + 4)]
        port: u16,
        /// Do not look for the coordinator on the network.
        #[arg(long)]
        no_discovery: bool,
        /// Do not open the board in a browser.
        #[arg(long)]
        no_browser: bool,
        /// UDP port of multicast DNS, for trials beside a running one.
        #[arg(long, hide = true, value_name = "PORT", default_value_t = 5353)]
        mdns_port: u16,
        /// Look for a coordinator on this laptop only.
        #[arg(long, hide = true)]
        mdns_loopback: bool,
    },
    /// Measure the A that an oboe, a violin, an organ, a piano or a fork gives, from an input or from recordings.
    Reference {
        /// Recordings (WAV or FLAC) in the input's place.
        #[arg(value_name = "FILE")]
        files: Vec<PathBuf>,
        /// The note that is given.
        #[arg(long, value_name = "NOTE", default_value = "A4")]
        note: Note,
        /// An input that `inputs` lists.
        #[arg(long, value_name = "INPUT", default_value = "default", conflicts_with = "files")]
        input: String,
        /// How long the input is heard.
        #[arg(long, value_name = "SECONDS", default_value = "6", value_parser = clap::value_parser!(u32).range(3..=600), conflicts_with = "files")]
        seconds: u32,
    },
    /// The harp's record: why a string will not stay, and what to do.
    Record(RecordArgs),
    /// Print the pitch to which each open string is tuned.
    Targets {
        /// As comma-separated values.
        #[arg(long)]
        csv: bool,
    },
    /// Print how often octaves, fifths and fourths of the open strings beat in the temperament.
    Beats {
        /// As comma-separated values.
        #[arg(long)]
        csv: bool,
    },
    /// List the inputs that can be heard.
    Inputs,
    /// Play a logbook again and look whether everything comes out as it did.
    Replay {
        /// What `--logbook` wrote.
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
    /// List the harps that are known by name.
    Harps,
    /// Print a known harp as a file, to start one's own from.
    Harp {
        /// One that `harps` lists.
        name: String,
    },
}

fn sample_rate(text: &str) -> Result<SampleRate, String> {
    let number: u32 = text.trim().parse().map_err(|_| {
        let shown: String = text.chars().take(40).collect();
        format!("“{shown}” is not a number of samples per second, as in 48000")
    })?;
    SampleRate::new(number).map_err(|why| why.to_string())
}

/// A place with a name.
fn place(text: &str) -> Result<Place, String> {
    match Place::new(text) {
        Ok(place) if place.as_str().is_empty() => {
            Err("“” is no place: say where the harp stands, as in “The town hall”, or leave --place out".to_owned())
        }
        place => place.map_err(|why| why.to_string()),
    }
}

/// An address with or without its port.
fn coordinator_address(text: &str) -> Result<SocketAddr, String> {
    invitation::address(text).ok_or_else(|| {
        let shown: String = text.trim().chars().take(60).collect();
        format!(
            "“{shown}” is not an address such as 192.168.1.20 or 192.168.1.20:{}",
            discovery::PORT
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_options_are_well_formed() {
        use clap::CommandFactory;
        Args::command().debug_assert();
    }

    #[test]
    fn the_port_of_an_address_may_be_left_out() {
        for (typed, meant) in [
            ("192.168.1.20", Some("192.168.1.20:4700")),
            (" 192.168.1.20:9 ", Some("192.168.1.20:9")),
            ("::1", Some("[::1]:4700")),
            ("hall", None),
            ("192.168.1.20:harp", None),
        ] {
            assert_eq!(
                coordinator_address(typed).ok().map(|a| a.to_string()).as_deref(),
                meant,
                "{typed}"
            );
        }
    }
}
