//! Runs: strings in quick succession, none of them damped.

use consort_analysis::{Context, Heard, Order};
use consort_proto::Cents;

use crate::listening::{concert_harp, hear, readings};
use crate::sound::{Noise, Pluck, add_noise, silence};

const RATE: u32 = 48_000;

/// A harp whose strings were left where they are asked for, as one on which a run is expected.
fn in_a_run() -> Context {
    let mut context = concert_harp();
    for number in 1..=47 {
        context.remember(number, Some(Cents(0.0)));
    }
    context.order = Order::Run;
    context
}

/// A pluck of string `number`, so far above its target.
fn pluck(number: u8, cents: f64, at_s: f64) -> Pluck {
    let target = concert_harp().string(number).expect("a string").target;
    Pluck {
        at_s,
        ..Pluck::new(target.raised_by(Cents(cents)).get())
    }
}

/// The sound of plucks; a finger that takes a string again stops it first.
fn sound(plucks: &[Pluck], seconds: f64, rate: u32) -> Vec<f32> {
    let mut sound = silence(seconds, rate);
    for (at, pluck) in plucks.iter().enumerate() {
        let again = plucks[at + 1..].iter().find(|later| later.hz == pluck.hz);
        let until_s = again.map_or(seconds, |later| later.at_s);
        let alone = pluck.alone(until_s, rate);
        sound.iter_mut().zip(&alone).for_each(|(sum, sample)| *sum += sample);
    }
    add_noise(&mut sound, 3e-4, 5);
    sound
}

/// The strings that were settled, in the order of their onsets, with their distance from the target in cents.
fn settled(heard: &[Heard]) -> Vec<(u8, f64)> {
    let mut settled: Vec<_> = readings(heard)
        .into_iter()
        .filter(|(_, doubt)| doubt.is_none())
        .map(|(reading, _)| reading)
        .collect();
    settled.sort_by_key(|reading| reading.onset);
    let context = concert_harp();
    settled
        .into_iter()
        .map(|reading| {
            let target = context.string(reading.string).expect("a string").target;
            (reading.string, reading.hz.cents_above(target).0)
        })
        .collect()
}

/// Plays strings one after the other, a quarter of a second apart, and checks what is settled of them.
#[track_caller]
fn check(strings: &[u8]) {
    let mut noise = Noise(7);
    let all: Vec<f64> = (0..47).map(|_| 5.0 * noise.next()).collect();
    let stands: Vec<f64> = strings.iter().map(|number| all[usize::from(*number) - 1]).collect();
    let plucks: Vec<Pluck> = (0..)
        .zip(strings.iter().zip(&stands))
        .map(|(at, (number, cents))| pluck(*number, *cents, 0.5 + 0.25 * f64::from(at)))
        .collect();
    let seconds = 3.0 + 0.25 * strings.len() as f64;
    let heard = hear(&sound(&plucks, seconds, RATE), RATE, &in_a_run(), 480);
    let settled = settled(&heard);
    let found: Vec<u8> = settled.iter().map(|(string, _)| *string).collect();
    assert_eq!(found, strings);
    for ((string, cents), stands) in settled.iter().zip(&stands) {
        assert!(
            (cents - stands).abs() < 1.5,
            "string {string}: {cents:.2} is {stands:.2}"
        );
    }
}

#[test]
fn every_string_of_a_run_is_told_in_either_direction() {
    check(&[12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24]);
    check(&[34, 33, 32, 31, 30, 29, 28, 27, 26, 25]);
}

#[test]
fn a_string_that_is_skipped_or_out_of_order_is_told_as_it_was() {
    check(&[14, 15, 16, 17, 19, 20, 21]);
    check(&[14, 15, 17, 16, 18, 19, 20]);
}

#[test]
fn one_that_has_moved_is_found_where_it_stands() {
    let plucks: Vec<Pluck> = (0..8_u8)
        .map(|at| pluck(20 + at, if at == 4 { -28.0 } else { 0.0 }, 0.5 + 0.3 * f64::from(at)))
        .collect();
    let settled = settled(&hear(&sound(&plucks, 5.0, RATE), RATE, &in_a_run(), 480));
    let moved = settled.iter().find(|(string, _)| *string == 24).expect("string 24");
    assert!((moved.1 + 28.0).abs() < 1.0, "{moved:?}");
    assert_eq!(settled.len(), 8);
}

#[test]
fn a_pluck_that_stands_alone_is_heard_as_ever() {
    let sound = sound(&[pluck(22, 3.0, 0.5), pluck(30, -2.0, 3.0)], 5.5, RATE);
    let ever = settled(&hear(&sound, RATE, &concert_harp(), 480));
    assert_eq!(ever.iter().map(|(string, _)| *string).collect::<Vec<_>>(), [22, 30]);
    let heard = hear(&sound, RATE, &in_a_run(), 480);
    assert_eq!(settled(&heard).len(), ever.len());
    for ((string, cents), (expected, before)) in settled(&heard).into_iter().zip(ever) {
        assert_eq!(string, expected);
        assert!((cents - before).abs() < 0.1, "{cents} and {before}");
    }
    let tracks = heard.iter().filter(|heard| matches!(heard, Heard::Track(_))).count();
    assert!(tracks > 40, "{tracks} live tracks");
}

#[test]
fn a_string_that_is_plucked_twice_is_no_run() {
    let sound = sound(&[pluck(22, 3.0, 0.5), pluck(22, 3.0, 1.3)], 4.0, RATE);
    let settled = settled(&hear(&sound, RATE, &in_a_run(), 480));
    assert!(
        !settled.is_empty() && settled.iter().all(|(string, _)| *string == 22),
        "{settled:?}"
    );
}

#[test]
fn each_pluck_of_a_run_is_told_once() {
    let plucks: Vec<Pluck> = (0..24_u8)
        .map(|at| pluck(6 + at, 2.0, 0.5 + 0.2 * f64::from(at)))
        .collect();
    let heard = hear(&sound(&plucks, 8.0, RATE), RATE, &in_a_run(), 480);
    let mut onsets: Vec<_> = readings(&heard).iter().map(|(reading, _)| reading.onset).collect();
    let count = onsets.len();
    onsets.sort_unstable();
    onsets.dedup();
    assert_eq!(onsets.len(), count, "none twice");
    let near = |at: &Pluck| {
        onsets
            .iter()
            .any(|onset| (onset.0 as f64 / f64::from(RATE) - at.at_s).abs() < 0.06)
    };
    assert!(plucks.iter().all(near), "none never");
}

#[test]
fn the_size_of_blocks_changes_nothing_in_a_run() {
    for rate in [11_025, 16_000, 44_100, 48_000] {
        let plucks: Vec<Pluck> = (0..6_u8)
            .map(|at| pluck(20 + at, 1.0, 0.5 + 0.25 * f64::from(at)))
            .collect();
        let sound = sound(&plucks, 4.0, rate);
        let whole = hear(&sound, rate, &in_a_run(), sound.len());
        assert_eq!(settled(&whole).len(), 6, "{rate}: {:?}", readings(&whole));
        for block in [64, 441, 4096] {
            assert_eq!(
                whole,
                hear(&sound, rate, &in_a_run(), block),
                "blocks of {block} at {rate}"
            );
        }
    }
}

#[test]
fn noise_and_silence_are_no_run() {
    let mut sound = silence(6.0, RATE);
    assert_eq!(settled(&hear(&sound, RATE, &in_a_run(), 480)), []);
    add_noise(&mut sound, 0.05, 11);
    assert_eq!(settled(&hear(&sound, RATE, &in_a_run(), 480)), []);
}
