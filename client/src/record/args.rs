//! What is typed after `record`.

use std::path::PathBuf;

use clap::Subcommand;
use consort_proto::{Note, StringNumber};
use consort_record::sheet::CONCERT_DAYS_MAX;
use consort_record::{Moment, Sheet};

use super::NotDone;
use super::shelf::ShelfOrder;

/// The harp's record: which harp, in which form, and what to do.
#[derive(Clone, Debug, clap::Args)]
pub struct RecordArgs {
    /// The harp's name in the record; needed once there are several.
    #[arg(long, value_name = "NAME", global = true)]
    pub of: Option<String>,
    /// As comma-separated values.
    #[arg(long, global = true)]
    pub csv: bool,
    /// What to do.
    #[command(subcommand)]
    pub order: RecordOrder,
}

/// What can be done with a harp's record.
#[derive(Clone, Debug, Subcommand)]
pub enum RecordOrder {
    /// Begin the record of the harp that --harp chooses, before its first tuning.
    Begin {
        /// What people call it [default: the name in its harp file].
        name: Option<String>,
    },
    /// List the harps of this record.
    Harps,
    /// Say what is wrong and what to do.
    Findings,
    /// Say how each string is usually found.
    Strings {
        /// Draw the whole harp into this file (SVG).
        #[arg(long, value_name = "FILE")]
        plot: Option<PathBuf>,
    },
    /// One string's history.
    History {
        /// As harpists name it, as in 5D, or its number from the top.
        string: String,
        /// Draw it into this file (SVG).
        #[arg(long, value_name = "FILE")]
        plot: Option<PathBuf>,
    },
    /// Say which strings to replace, and when.
    Plan {
        /// The day of a technician's appointment, as in 2026-12-01.
        #[arg(long, value_name = "DAY")]
        regulation: Option<String>,
    },
    /// Check discs or levers by ear: every string in every position; broken off, it goes on where it was.
    Check {
        /// Recordings (WAV or FLAC) in the input's place: one for each pedal or lever position, in the order asked for.
        #[arg(value_name = "FILE")]
        files: Vec<PathBuf>,
        /// An input that `inputs` lists.
        #[arg(long, value_name = "INPUT", default_value = "default", conflicts_with = "files")]
        input: String,
    },
    /// Say how far each disc or lever lies off whole semitones.
    Steps,
    /// Allow for discs or levers that are off: open strings of these letters are tuned so that the position played sounds
    /// right; says what that does to every position.
    Allow {
        /// The letters, as in "C G"; without any, all that were checked are shown and nothing changes.
        letters: Option<String>,
        /// Allow for them no longer.
        #[arg(long, requires = "letters")]
        off: bool,
        /// Show it for this setting: a major key or all seven pedals [default: that of the newest tuning].
        #[arg(long, value_name = "SETTING")]
        plays: Option<String>,
    },
    /// Make a page (HTML) for teacher or technician, to be printed.
    Page {
        /// The file; what was in it before is replaced.
        file: PathBuf,
        /// The day of a technician's appointment, which the plan keeps to.
        #[arg(long, value_name = "DAY")]
        regulation: Option<String>,
    },
    /// Write everything down in a file: JSON, the backup; or one list as CSV.
    Export {
        /// The file; what was in it before is replaced.
        file: PathBuf,
        /// readings, fittings, events, concerts, climate or lengths, as CSV.
        #[arg(long, value_name = "LIST", value_parser = ["readings", "fittings", "events", "concerts", "climate", "lengths"])]
        list: Option<String>,
    },
    /// Take in such a file; a second time changes nothing.
    Import {
        /// The file.
        file: PathBuf,
        /// The harp here that the one in the file is.
        #[arg(long, value_name = "NAME")]
        into: Option<String>,
        /// What the one in the file is to be called here, where another already has its name.
        #[arg(long = "as", value_name = "NAME", conflicts_with = "into")]
        called: Option<String>,
    },
    /// Write down that a string was put on.
    Fitted {
        /// As harpists name it, as in 5D, or its number from the top.
        string: String,
        /// The day, as in 2026-11-25.
        day: String,
        /// nylon, gut, fluorocarbon or wire [default: what the harp has there].
        #[arg(long, value_name = "MATERIAL", value_parser = ["nylon", "gut", "fluorocarbon", "wire"])]
        material: Option<String>,
        /// Diameter in millimetres.
        #[arg(long, value_name = "MM")]
        gauge: Option<f64>,
        /// The bought length that it was cut from, by a name of your own.
        #[arg(long, value_name = "NAME")]
        length: Option<String>,
    },
    /// Write down what was done to the harp.
    Did {
        /// restrung, moved, regulated, pin-pushed, broke or remark.
        deed: String,
        /// The day, as in 2026-11-25.
        day: String,
        /// To which string.
        #[arg(long, value_name = "STRING")]
        string: Option<String>,
        /// In your own words.
        #[arg(long, value_name = "TEXT", default_value = "")]
        note: String,
    },
    /// Write down a concert.
    Concert {
        /// The day, as in 2026-12-12.
        day: String,
        /// What people call it.
        #[arg(default_value = "concert")]
        name: String,
    },
    /// Write down the room's temperature and humidity, of now or another moment.
    Room {
        /// Degrees Celsius.
        #[arg(long, value_name = "DEGREES", allow_hyphen_values = true)]
        temperature: Option<f64>,
        /// Relative humidity.
        #[arg(long, value_name = "PERCENT", allow_hyphen_values = true)]
        humidity: Option<f64>,
        /// Another moment than now, as in 2026-11-25T19:30:00Z; a figure that is given replaces the one noted for it.
        #[arg(long, value_name = "MOMENT")]
        at: Option<Moment>,
    },
    /// Say what belongs to the harp for good.
    Harp {
        /// How its pins are held: tapered or threaded.
        #[arg(long, value_parser = ["tapered", "threaded"])]
        pins: Option<String>,
        /// How much it is played: professional, student or amateur.
        #[arg(long, value_parser = ["professional", "student", "amateur"])]
        player: Option<String>,
        /// The day it was made.
        #[arg(long, value_name = "DAY")]
        made: Option<String>,
        /// Replace nothing unbroken within so many days before a concert.
        #[arg(long, value_name = "DAYS", value_parser = concert_days, allow_hyphen_values = true)]
        concert_days: Option<u32>,
    },
    /// The string shelf: lengths in stock, what was cut from them, what to buy.
    #[command(subcommand)]
    Shelf(ShelfOrder),
    /// List what was written down, the newest day first.
    Written,
    /// Take something out that was written down; `undo` brings it back.
    TakeOut {
        /// As `written` lists it, as in "5D, put on on 2026-11-25 (1.02 mm)".
        entry: String,
    },
    /// Take back the last thing that was written down.
    Undo,
}

/// The number of days that `word` gives; whether that many can be left alone is the record's to say.
pub(super) fn concert_days(word: &str) -> Result<u32, String> {
    word.trim().parse().map_err(|_| {
        let shown: String = word.trim().chars().take(20).collect();
        format!("“{shown}” is no number of days before a concert: give a whole one, from 0 to {CONCERT_DAYS_MAX}")
    })
}

/// The string that `word` names on the harp of `sheet`.
pub(super) fn string(word: &str, sheet: &Sheet) -> Result<StringNumber, NotDone> {
    let by_number = word
        .parse::<u32>()
        .ok()
        .and_then(|number| StringNumber::new(number).ok());
    let by_name = Note::from_harp_name(word)
        .ok()
        .and_then(|note| sheet.harp.find(note.letter, note.octave));
    by_number
        .filter(|&number| sheet.harp.string(number).is_some())
        .or(by_name)
        .ok_or_else(|| NotDone::NoSuchString(word.chars().take(20).collect()))
}
