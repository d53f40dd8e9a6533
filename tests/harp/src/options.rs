//! The command line of `consort-harpist`.

use std::path::PathBuf;

use consort_proto::{Harp, ReferencePitch, SampleRate, harp_file};

use crate::condition::Condition;
use crate::hand::Pace;
use crate::pickup::Pickup;
use crate::room::Room;

/// What was asked for.
#[derive(Clone, Debug)]
pub struct Options {
    /// The harp.
    pub harp: Harp,
    /// Its name, as a station knows it.
    pub harp_word: String,
    /// Seed of everything.
    pub seed: u64,
    /// How she works.
    pub pace: Pace,
    /// How the harp is found.
    pub condition: Condition,
    /// Reference pitch; only for the truth and for the station that is started.
    pub pitch: ReferencePitch,
    /// The pickup.
    pub pickup: Pickup,
    /// The room.
    pub room: Room,
    /// Folder of recordings, if they are the voices.
    pub recordings: Option<PathBuf>,
    /// Samples per second.
    pub rate: SampleRate,
    /// File for the truth; none is written without it.
    pub truth: Option<PathBuf>,
    /// The longest that it may take, seconds of sound.
    pub seconds: f64,
    /// Whether the sound takes as long as it lasts.
    pub paced: bool,
    /// Whether she plays all strings once more at the end.
    pub checks: bool,
    /// The station and its further options; without it the sound goes to standard output.
    pub station: Option<(PathBuf, Vec<String>)>,
    /// Write a WAV file, not bare samples.
    pub wav: Option<PathBuf>,
}

/// How it is called.
pub const USAGE: &str = "consort-harpist [--harp HARP] [--seed N] [--pace professional|student] \
[--found sound|rehearsal|troubled] [--pitch HZ] [--pickup good|poor] [--warm-up DB] [--talk DB] [--second-harp DB] \
[--recordings FOLDER] [--rate RATE] [--truth FILE] [--seconds S] [--paced] [--check] [--wav FILE] \
[--station PROGRAM [OPTION...]]";

impl Options {
    /// Reads `words`, those after the program's name; everything after `--station PROGRAM` is the station's.
    pub fn parse(words: impl IntoIterator<Item = String>) -> Result<Self, String> {
        let mut words = words.into_iter();
        let mut harp_word = "pedal-47".to_owned();
        let (mut seed, mut found, mut seconds) = (1, "rehearsal".to_owned(), 3_600.0);
        let (mut pace, mut pitch, mut pickup, mut room) = (
            Pace::PROFESSIONAL,
            ReferencePitch::default(),
            Pickup::GOOD,
            Room::default(),
        );
        let (mut recordings, mut truth, mut wav, mut station) = (None, None, None, None);
        let (mut rate, mut paced, mut checks) = (SampleRate::STUDIO, false, false);
        while let Some(word) = words.next() {
            let mut value = || words.next().ok_or_else(|| format!("{word} needs a value: {USAGE}"));
            match word.as_str() {
                "--harp" => harp_word = value()?,
                "--seed" => seed = number(&value()?)? as u64,
                "--found" => found = value()?,
                "--seconds" => seconds = number(&value()?)?,
                "--pace" => {
                    pace = match value()?.as_str() {
                        "professional" => Pace::PROFESSIONAL,
                        "student" => Pace::STUDENT,
                        other => return Err(format!("{other} is no pace: professional or student")),
                    }
                }
                "--pickup" => {
                    pickup = match value()?.as_str() {
                        "good" => Pickup::GOOD,
                        "poor" => Pickup::POOR,
                        other => return Err(format!("{other} is no pickup: good or poor")),
                    }
                }
                "--pitch" => pitch = value()?.parse().map_err(|why| format!("{why}"))?,
                "--warm-up" => room.warm_up_db = Some(number(&value()?)?),
                "--talk" => room.talk_db = Some(number(&value()?)?),
                "--second-harp" => room.harp_db = Some(number(&value()?)?),
                "--recordings" => recordings = Some(PathBuf::from(value()?)),
                "--rate" => rate = SampleRate::new(number(&value()?)? as u32).map_err(|why| why.to_string())?,
                "--truth" => truth = Some(PathBuf::from(value()?)),
                "--wav" => wav = Some(PathBuf::from(value()?)),
                "--paced" => paced = true,
                "--check" => checks = true,
                "--station" => {
                    let program = PathBuf::from(value()?);
                    station = Some((program, words.by_ref().collect()));
                }
                other => return Err(format!("{other} is no option: {USAGE}")),
            }
        }
        let harp = harp_file::preset(&harp_word).ok_or_else(|| format!("{harp_word} is no harp known by name"))?;
        let condition = match found.as_str() {
            "sound" => Condition::sound(seed),
            "rehearsal" => Condition::before_a_rehearsal(&harp, seed),
            "troubled" => Condition::troubled(&harp, seed),
            other => {
                return Err(format!(
                    "{other} is no way to find a harp: sound, rehearsal or troubled"
                ));
            }
        };
        Ok(Self {
            harp,
            harp_word,
            seed,
            pace,
            condition,
            pitch,
            pickup,
            room,
            recordings,
            rate,
            truth,
            seconds,
            paced,
            checks,
            station,
            wav,
        })
    }
}

fn number(text: &str) -> Result<f64, String> {
    text.parse::<f64>()
        .ok()
        .filter(|number| number.is_finite())
        .ok_or_else(|| format!("{text} is no number"))
}
