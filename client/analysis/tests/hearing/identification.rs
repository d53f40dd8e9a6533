//! Which string it was: the traps of octave, fifth and twelfth, and what order and memory add.

use consort_analysis::{Context, ExpectedString, Order};
use consort_proto::Cents;

use crate::listening::{concert_harp, hear, hertz, only_reading, readings};
use crate::sound::{Pluck, add_noise};

const RATE: u32 = 48_000;

#[test]
fn every_string_of_a_concert_harp_is_told_from_all_others() {
    let harp = concert_harp();
    for (number, string) in harp.strings() {
        for offset in [-40.0, 15.0] {
            let hz = string.target.raised_by(Cents(offset)).get();
            let stiffness = if hz > 900.0 { 6e-4 } else { 1e-4 };
            let pluck = Pluck {
                stiffness,
                ..Pluck::new(hz)
            };
            let (reading, _) = only_reading(&pluck.alone(2.0, RATE), RATE);
            assert_eq!(reading.string, number, "{hz} Hz");
        }
    }
}

/// Each sound suggests another string than the one that made it.
#[test]
#[rustfmt::skip]
fn a_comb_that_explains_only_part_of_the_sound_does_not_win() {
    for (number, hz, place, first_weaker_db) in [
        // no.    Hz      place  first/dB
        (  40,   61.7354,  0.40,   40.0), // Without its first partial it looks like the octave above.
        (  40,   61.7354,  0.50,   30.0), // Plucked at the middle: only odd partials, the third leads, a twelfth above.
        (  33,  123.4708,  0.50,    0.0),
        (  21,  415.3047,  0.33,    0.0), // No third partial.
        (  26,  246.9417,  0.25,   12.0), // Octave and twelfth stronger than the first.
        (  24,  311.1270,  0.50,   10.0), // A third partial stronger than the first, at string 13.
        (  11, 1108.7305,  0.50,    0.0), // Shares partials with the octave below, which would have more.
        (   1, 2959.9554,  0.50,    0.0), // One partial only: it could be the fourteenth of a string in the bass.
        (   3, 2489.0159,  0.40,    0.0),
    ] {
        let pluck = Pluck { place, first_weaker_db, ..Pluck::new(hz) };
        let mut sound = pluck.alone(2.0, RATE);
        add_noise(&mut sound, 1e-4, 5);
        let (reading, _) = only_reading(&sound, RATE);
        assert_eq!(reading.string, number, "{hz} Hz plucked at {place}: {reading:?}");
    }
}

/// The string plucked before rings on, only 6 dB softer: what was there before the onset does not count.
#[test]
fn a_string_that_rings_on_is_not_heard_again() {
    for (before, number, hz) in [
        (466.1638, 21, 415.3047),
        (246.9417, 14, 830.6094),
        (123.4708, 21, 415.3047),
    ] {
        let mut sound = Pluck {
            at_s: 0.2,
            amplitude: 0.1,
            ..Pluck::new(before)
        }
        .alone(2.6, RATE);
        Pluck {
            at_s: 0.9,
            ..Pluck::new(hz)
        }
        .play(&mut sound, RATE);
        let all = readings(&hear(&sound, RATE, &concert_harp(), 480));
        let last = all
            .iter()
            .map(|(reading, _)| reading)
            .max_by_key(|reading| reading.onset)
            .expect("readings");
        assert_eq!(last.string, number, "{before} Hz rings on: {all:?}");
        assert!(
            last.hz.cents_above(hertz(hz)).0.abs() < 0.5,
            "{before} Hz rings on: {all:?}"
        );
    }
}

/// A scale at four plucks a second, no string damped, to a listener that is not told what came before: nearly every one is named,
/// some without a doubt, though who plucks so many plays, and none is settled as another.
#[test]
fn a_run_of_four_strings_a_second_is_never_misread() {
    let harp = concert_harp();
    let mut sound = vec![0.0; 6 * RATE as usize];
    let run: Vec<u8> = (12..=27).rev().collect();
    for (at, number) in run.iter().enumerate() {
        let hz = harp
            .string(*number)
            .expect("string")
            .target
            .raised_by(Cents(f64::from(*number) - 20.0))
            .get();
        Pluck {
            at_s: 0.3 + 0.25 * at as f64,
            ..Pluck::new(hz)
        }
        .play(&mut sound, RATE);
    }
    let (mut found, mut settled) = (Vec::new(), 0);
    for (reading, doubt) in readings(&hear(&sound, RATE, &harp, 480)) {
        let plucked = ((reading.onset.0 as f64 / f64::from(RATE) - 0.3) / 0.25).round() as usize;
        if run.get(plucked) == Some(&reading.string) {
            found.push(reading.string);
        }
        if doubt.is_none() {
            assert_eq!(reading.string, run[plucked], "{reading:?}");
            let target = harp.string(reading.string).expect("string").target;
            let error = reading.hz.cents_above(target).0 - (f64::from(reading.string) - 20.0);
            assert!(error.abs() < 3.0, "{error} {reading:?}");
            settled += 1;
        }
    }
    assert!(found.len() >= 13, "{found:?}");
    assert!(settled >= 3, "{settled} settled");
}

/// E-flat and F-flat are a semitone apart: half-way between them pitch says nothing, and what is known decides.
#[test]
fn what_is_known_decides_where_pitch_does_not() {
    let hz = hertz(311.1270).raised_by(Cents(52.0)).get();
    let sound = Pluck::new(hz).alone(2.0, RATE);
    let string = |context: &Context| readings(&hear(&sound, RATE, context, 480))[0].0.string;
    let mut harp = concert_harp();
    assert_eq!(string(&harp), 23, "by pitch alone, F-flat is two cents nearer");
    harp.remember(24, Some(Cents(50.0)));
    harp.remember(23, Some(Cents(0.0)));
    assert_eq!(string(&harp), 24, "E-flat was left that sharp");
    let mut harp = concert_harp();
    harp.order = Order::Usual;
    harp.previous = Some(25);
    assert_eq!(string(&harp), 24, "E-flat follows D-flat on the way up");
    let mut harp = concert_harp();
    harp.chosen = Some(24);
    assert_eq!(string(&harp), 24, "E-flat was chosen by hand");
}

/// No prior makes a string out of another one's sound: A-flat 4 is an octave and a tone below the B-flat that was chosen.
#[test]
fn evidence_overrules_order_and_choice() {
    let sound = Pluck::new(415.3047).alone(2.0, RATE);
    let mut harp = concert_harp();
    harp.order = Order::Usual;
    harp.previous = Some(13);
    assert_eq!(readings(&hear(&sound, RATE, &harp, 480))[0].0.string, 21);
    harp.chosen = Some(13);
    assert_eq!(readings(&hear(&sound, RATE, &harp, 480))[0].0.string, 21);
}

/// Nor is it the chosen one where only every second partial of a lower pitch would fit: D-flat 4, an octave and more above
/// which A-flat 4 sounds, could stand on A-flat 3 while it is brought up.
#[test]
fn a_chosen_string_is_not_heard_in_every_second_partial_of_itself() {
    let sound = Pluck::new(415.3047).alone(2.0, RATE);
    let mut harp = concert_harp();
    harp.chosen = Some(25);
    assert_eq!(readings(&hear(&sound, RATE, &harp, 480))[0].0.string, 21);
}

/// A new string is on its way up: it is the one that was chosen, wherever it stands between its lower octave and its target,
/// though other strings are meant to stand there.
#[test]
fn a_chosen_string_is_heard_from_an_octave_below() {
    let mut harp = concert_harp();
    harp.chosen = Some(21);
    let target = hertz(415.3047);
    for below in [-1200.0, -950.0, -700.0, -500.0, -310.0, -100.0, 0.0] {
        let sound = Pluck::new(target.raised_by(Cents(below)).get()).alone(2.0, RATE);
        let (reading, doubt) = readings(&hear(&sound, RATE, &harp, 480))[0];
        assert_eq!((reading.string, doubt), (21, None), "{below}");
        let error = reading.hz.cents_above(target).0 - below;
        assert!(error.abs() < 0.5, "{below}: {error}");
    }
}

/// A small harp has only its own strings.
#[test]
fn only_expected_strings_are_heard() {
    let strings = [523.2511, 493.8833, 440.0, 391.9954].map(|hz| ExpectedString::new(hertz(hz)));
    let harp = Context::new(&strings).expect("four strings");
    let all = readings(&hear(&Pluck::new(441.0).alone(2.0, RATE), RATE, &harp, 480));
    assert_eq!(all[0].0.string, 3);
    assert!(
        readings(&hear(&Pluck::new(220.5).alone(2.0, RATE), RATE, &harp, 480))
            .iter()
            .all(|(_, doubt)| doubt.is_some())
    );
}
