//! An hour of plucks at one station, heard as fast as it can: whether its memory stays where it is.

use std::io::Write;
use std::path::Path;

use consort_tests::process::Folder;

use crate::figures::Figures;
use crate::recordings::{as_loud, read_manifest, read_samples};
use crate::{desk, report};

/// What `cargo measure` says about this measure.
pub(crate) const ABOUT: &str = "the memory of a station, whose desk is open, over an hour of plucks [--json FILE]";

/// The recordings that are played, over and over.
const RECORDINGS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../recordings");
/// Sound that is played.
const HOUR_S: usize = 3_600;
/// Memory is looked at this often, in seconds of the sound; until the second look everything has been in use once.
const LOOK_EVERY_S: usize = 300;
/// What may be added after that: a heap wavers by as much.
const GOAL_MB: f64 = 1.0;
const RATE: usize = 48_000;

/// Runs the measure.
pub(crate) fn run(words: &[String]) -> Result<(), String> {
    let mut figures = Figures::new("hour", words)?;
    let folder = Folder::new("measure-hour");
    let (mut station, url) = desk::open(&folder)?;
    // Somebody looks all the while.
    let pictures = desk::look(&url)?;
    let mut sound = station.stdin().ok_or("the station does not listen")?;
    let plucks = plucks()?;
    let (mut played, mut looks) = (0, Vec::new());
    for pluck in plucks.iter().cycle() {
        sound.write_all(pluck).map_err(|why| why.to_string())?;
        played += pluck.len() / size_of::<f32>();
        while pictures.try_recv().is_ok() {}
        if played >= (looks.len() + 1) * LOOK_EVERY_S * RATE {
            let bytes = station
                .resident_bytes()
                .ok_or("the memory of a program cannot be read here")?;
            let mb = bytes as f64 / 1e6;
            report(&format!("  after {:>2} min {mb:>8.1} MB", played / RATE / 60));
            looks.push(mb);
        }
        if played >= HOUR_S * RATE {
            break;
        }
    }
    let (settled, last) = (looks.get(1), looks.last());
    let (Some(settled), Some(last)) = (settled, last) else {
        return Err("too little was played".to_owned());
    };
    figures.tell("memory after ten minutes", *settled, "MB");
    figures.at_most(GOAL_MB, "added until the hour is over", last - settled, "MB");
    figures.close()
}

/// The clean recordings as the station takes them, each plucked twice so that it counts, with a second of rest.
fn plucks() -> Result<Vec<Vec<u8>>, String> {
    let clean = read_manifest(Path::new(RECORDINGS))?.into_iter();
    clean
        .filter(|recording| recording.condition == "clean")
        .map(|recording| {
            let (samples, rate) = read_samples(&recording.path)?;
            if rate as usize != RATE {
                return Err(format!("{} is not at {RATE} Hz", recording.file));
            }
            let samples = as_loud(&recording, &samples, rate);
            let once = || samples.iter().copied().chain(std::iter::repeat_n(0.0, RATE));
            Ok(once().chain(once()).flat_map(f32::to_le_bytes).collect())
        })
        .collect()
}
