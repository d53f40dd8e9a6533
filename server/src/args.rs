//! What a person types: options and orders, each turned into a type at once.

use std::net::{IpAddr, Ipv4Addr};
use std::path::PathBuf;

use clap::{Parser, Subcommand};
use consort_pages::NotAProposal;
use consort_proto::{Name, ReferencePitch, Scheme, Setting, Temperament, discovery};

use crate::start::Start;

/// Opens the session of a harp ensemble, or sends an order to the session that is open on this computer.
#[derive(Clone, Debug, Parser)]
#[command(
    name = "consort-coordinator",
    version,
    disable_help_subcommand = true,
    args_conflicts_with_subcommands = true
)]
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

/// How a session is opened: what is not given stays as it was, or is A4 = 440 Hz, equal, all naturals.
#[derive(Clone, Debug, clap::Args)]
pub struct OpeningArgs {
    /// Reference pitch: A4 in hertz, as in 442 or 440.5.
    #[arg(long, value_name = "HZ")]
    pub pitch: Option<ReferencePitch>,
    /// Temperament: a name such as equal or vallotti, or twelve offsets in cents from C to B.
    #[arg(long, value_name = "NAME", value_parser = temperament, allow_negative_numbers = true)]
    pub temperament: Option<Temperament>,
    /// Pedal setting that the temperament serves: a major key, as in Eb, or all seven pedals.
    #[arg(long, value_name = "KEY")]
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
    /// TCP port for the leader's page, on this computer only.
    #[arg(long, value_name = "PORT", default_value_t = discovery::PORT + 2)]
    pub control_port: u16,
    /// Do not open the leader's page in a browser.
    #[arg(long)]
    pub no_browser: bool,
    /// Do not announce the session on the network: stations then need the address or the join link.
    #[arg(long)]
    pub no_discovery: bool,
    /// UDP port of multicast DNS, for trials beside a running one.
    #[arg(long, hide = true, value_name = "PORT", default_value_t = 5353)]
    pub mdns_port: u16,
    /// Announce the session on this computer only.
    #[arg(long, hide = true)]
    pub mdns_loopback: bool,
}

/// An order to the session that is open on this computer.
#[derive(Clone, Debug, Subcommand)]
pub enum Order {
    /// Change the reference pitch: every string is judged anew at once.
    Pitch {
        /// A4 in hertz.
        hz: ReferencePitch,
    },
    /// Change the temperament.
    Temperament {
        /// A name, or twelve offsets in cents from C to B.
        #[arg(required = true, allow_negative_numbers = true)]
        words: Vec<String>,
    },
    /// Change the pedal setting that the temperament serves.
    Setting {
        /// A major key, or all seven pedals.
        #[arg(required = true)]
        words: Vec<String>,
    },
    /// Set the start of the performance.
    Start {
        /// A time of day, as in 19:30, or minutes from now, as in 25; `none` clears it.
        #[arg(required = true)]
        words: Vec<String>,
    },
    /// Call a new round: everything is tuned anew.
    Round,
    /// Take back the last change.
    Undo,
    /// Show who is ready and what is left.
    Status,
    /// Print the join link.
    Link,
    /// Close the session and end the coordinator.
    Stop,
}

/// The temperament that `text` names or spells out; in words for a person who does not see the list.
pub fn temperament(text: &str) -> Result<Temperament, String> {
    consort_pages::temperament(text).map_err(|why| match why {
        NotAProposal::Temperament(shown) => {
            let names = Scheme::ALL.map(Scheme::word).join(", ");
            format!(
                "“{shown}” is not a temperament: choose one of {names}, or give twelve offsets in cents from C to B"
            )
        }
        other => other.to_string(),
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
    fn a_temperament_is_a_name_or_twelve_numbers() {
        assert_eq!(temperament("vallotti"), Ok(Temperament::named(Scheme::Vallotti)));
        let own = temperament("5.9 0 2 3.9 -2 7.8 -2 3.9 2 0 5.9 -3.9").expect("twelve");
        assert_eq!(own.offsets()[11].0, -3.9);
        assert_eq!(temperament("0,0,0,0,0,0,0,0,0,0,0,0").map(|own| own.scheme()), Ok(None));
        for bad in [
            "",
            "0 1 2",
            "loud",
            "nan,0,0,0,0,0,0,0,0,0,0,0",
            "99 0 0 0 0 0 0 0 0 0 0 0",
        ] {
            assert!(temperament(bad).is_err(), "{bad}");
        }
    }
}
