//! A string's harmonic, and then the string an octave above: how far the second is heard above the first, against truth.

use consort_analysis::{Config, Context, Doubt, ExpectedString, Heard, Listener};
use consort_harp::chance::Chance;
use consort_harp::{Beating, Condition, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Harp, Hz, SampleRate, StringNumber, Tuning};

use super::{RATE, TRUE_S};
use crate::figures::Figures;
use crate::report;
use crate::statistics::{percent, quantile};

/// Harmonics that are played, and how exactly half of them are to be heard, cents.
const HARMONICS: u64 = 100;
const GOAL_CENTS: f64 = 0.5;
/// Harmonics are played on the strings of the middle, where a hand can lie on their middles: from the wires to an octave
/// above middle C (common practice, no source).
const PLAYED_HZ: std::ops::RangeInclusive<f64> = 60.0..=550.0;
/// How far strings are off, cents.
const OFF: f64 = 8.0;
/// A pluck sounds so long before a hand stops it, and the hand lies on the strings so long, seconds.
const SOUNDS_S: f64 = 2.7;
const HAND_S: f64 = 0.6;

pub(super) fn measure(harp: &Harp, figures: &mut Figures) -> Result<(), String> {
    let tuning = Tuning::default();
    let played: Vec<StringNumber> = harp
        .numbered()
        .filter(|(_, string)| PLAYED_HZ.contains(&tuning.open_target(string).get()))
        .map(|(number, _)| number)
        .collect();
    let mut errors = Vec::new();
    for seed in 0..HARMONICS {
        let mut chance = Chance::new(seed ^ 0x6861_726d);
        let string = played[chance.below(played.len())];
        // Seven strings make an octave.
        let octave = u32::from(string.get())
            .checked_sub(7)
            .and_then(|number| StringNumber::new(number).ok())
            .ok_or("a string without an octave above it")?;
        errors.extend(play(harp, string, octave, &mut chance, seed)?);
    }
    report(&format!(
        "{HARMONICS} harmonics, each against the open string an octave above"
    ));
    figures.at_most(
        GOAL_CENTS,
        "harmonic against octave: error, median",
        quantile(&mut errors, 0.5),
        "cents",
    );
    figures.tell(
        "harmonic against octave: error, 95 %",
        quantile(&mut errors, 0.95),
        "cents",
    );
    let heard = percent(errors.len(), HARMONICS as usize);
    figures.tell("harmonic against octave: heard both", heard, "%");
    Ok(())
}

/// The error of one comparison, cents; none where one of the two was not heard.
fn play(
    harp: &Harp,
    string: StringNumber,
    octave: StringNumber,
    chance: &mut Chance,
    seed: u64,
) -> Result<Option<f64>, String> {
    let mut condition = Condition::sound(seed);
    condition.far_off = [string, octave].map(|number| (number, OFF * chance.spread())).to_vec();
    let stage = Stage {
        rate: SampleRate::new(RATE).map_err(|why| why.to_string())?,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room::default(),
    };
    let mut played = VirtualHarp::new(harp, &condition, stage);
    let mut listener = Listener::new(Config {
        rate: stage.rate,
        ..Config::default()
    });
    let tuning = Tuning::default();
    let expected: Vec<ExpectedString> = harp
        .strings()
        .iter()
        .map(|string| ExpectedString::new(tuning.open_target(string)))
        .collect();
    listener.set_context(&Context::new(&expected).map_err(|why| why.to_string())?);
    let pluck = |chance: &mut Chance| Pluck {
        loudness: chance.between(0.8, 1.2),
        place: chance.between(0.38, 0.46),
        plane: chance.between(0.35, 0.65),
    };
    let plucks = [pluck(chance), pluck(chance)];
    hear(&mut played, &mut listener, HAND_S);
    played.pluck_harmonic(string, plucks[0]);
    let harmonic = hear(&mut played, &mut listener, SOUNDS_S);
    played.damp_all();
    hear(&mut played, &mut listener, HAND_S);
    played.pluck(octave, plucks[1]);
    let higher = hear(&mut played, &mut listener, SOUNDS_S);
    let (Some(harmonic), Some(higher)) = (harmonic, higher) else {
        return Ok(None);
    };
    let one = |string, pluck, partial| Beating { string, pluck, partial };
    let beats = played.true_beats(one(string, plucks[0], 2), one(octave, plucks[1], 1), TRUE_S);
    let truth = 1200.0 * (1.0 + beats / higher.get()).log2();
    Ok(Some((higher.cents_above(harmonic).0 - truth).abs()))
}

/// Lets `seconds` pass; the last pitch that was heard in them, as the desk takes it.
fn hear(harp: &mut VirtualHarp, listener: &mut Listener, seconds: f64) -> Option<Hz> {
    const PIECE: usize = RATE as usize / 100;
    let mut last = None;
    for _ in 0..(seconds * 100.0) as usize {
        let mut piece = [0.0; PIECE];
        harp.render(&mut piece);
        listener.push(&piece);
        while let Some(heard) = listener.poll() {
            if let Heard::Settled(reading) | Heard::Unsure(reading, Doubt::Which) = heard {
                last = Some(reading.hz);
            }
        }
    }
    last
}
