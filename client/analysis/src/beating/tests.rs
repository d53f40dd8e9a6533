//! Two strings made of decaying partials, and what is told of them.

use std::f64::consts::TAU;

use consort_transform::Complex;

use super::*;

const RATE: u32 = 16_000;

/// A string of partials n·hz·√((1 + B·n²)/(1 + B)) with amplitudes `size`/n, plucked so that every partial of even number is
/// weak.
fn string(hz: f64, size: f64, seconds: f64) -> Vec<f32> {
    let count = (seconds * f64::from(RATE)) as usize;
    let mut sound = vec![0.0_f32; count];
    for n in 1..=10_u32 {
        let number = f64::from(n);
        let stiff = 1.2e-4;
        let partial = number * hz * ((1.0 + stiff * number * number) / (1.0 + stiff)).sqrt();
        let place = (std::f64::consts::PI * number * 0.42).sin() / number;
        for (at, sample) in sound.iter_mut().enumerate() {
            let t = at as f64 / f64::from(RATE);
            let fade = (-(0.4 + partial * 0.003) * t).exp();
            *sample += (size * place * fade * (std::f64::consts::TAU * partial * t + number).sin()) as f32;
        }
    }
    sound
}

fn together(lower: &[f32], higher: &[f32]) -> Vec<f32> {
    lower.iter().zip(higher).map(|(a, b)| a + b).collect()
}

fn hz(value: f64) -> Hz {
    Hz::new(value).expect("a frequency")
}

fn told(sound: &[f32], lower: f64, higher: f64, interval: Interval) -> Result<Beating, NoBeat> {
    let pair = Together {
        lower: hz(lower),
        higher: hz(higher),
        interval,
    };
    beating(sound, SampleRate::new(RATE).expect("a rate"), pair)
}

/// The partials are given, so their difference is known: of the pair p to q it is f(q) of the higher less f(p) of the lower.
#[test]
#[rustfmt::skip]
fn beats_are_told_to_a_twentieth_in_a_second() {
    let stiff = |n: f64| n * ((1.0 + 1.2e-4 * n * n) / (1.0 + 1.2e-4)).sqrt();
    for (interval, lower, ratio, beats) in [
        // interval          Hz      ratio    beats/s
        (Interval::OCTAVE, 130.8,  2.0,       0.3),
        (Interval::OCTAVE, 130.8,  2.0,      -0.7),
        (Interval::OCTAVE, 247.0,  2.0,       1.5),
        (Interval::OCTAVE, 247.0,  2.0,      -6.0),
        (Interval::FIFTH,  185.0,  1.5,      -0.6),
        (Interval::FIFTH,  220.0,  1.5,       3.0),
        (Interval::FIFTH,  233.0,  1.5,      15.0),
        (Interval::FOURTH, 185.0,  4.0 / 3.0,  0.8),
        (Interval::FOURTH, 174.6,  4.0 / 3.0, -0.4),
        (Interval::FOURTH, 207.7,  4.0 / 3.0, 10.0),
    ] {
        let (p, q) = interval.meeting();
        let higher = (lower * stiff(f64::from(p)) + beats) / stiff(f64::from(q));
        let sound = together(&string(lower, 0.2, 2.0), &string(higher, 0.2, 2.0));
        // They are said to sound a few cents from where they do.
        let found = told(&sound, lower * 1.003, lower * ratio * 0.998, interval).expect("both sound");
        assert!((found.beats_per_second - beats).abs() < 0.05, "{beats} on {lower}: {found:?}");
        assert!((found.lower.get() - lower).abs() < 0.05, "{found:?}");
    }
}

/// A partial of two directions of motion that lie `split` cents apart, the second weaker and longer.
fn moves(hz: f64, split: f64, t: f64) -> Complex<f64> {
    let loss = 0.4 + hz * 0.003;
    let one = |size: f64, loss: f64, hz: f64| Complex::from_polar(size * (-loss * t).exp(), TAU * hz * t);
    one(1.0, loss, hz) + one(0.45, 0.5 * loss, hz * (split / 1200.0).exp2())
}

/// What it turns by in the mean from 0.15 to 2 s, weighted with its energy, hertz.
fn turns(hz: f64, split: f64) -> f64 {
    const STEP_S: f64 = 1e-4;
    let (mut sum, mut weight) = (0.0, 0.0);
    for step in 1_500..20_000 {
        let t = f64::from(step) * STEP_S;
        let (before, after) = (moves(hz, split, t), moves(hz, split, t + STEP_S));
        let beside = after * before.conj() * Complex::from_polar(1.0, -TAU * hz * STEP_S);
        sum += beside.arg() * before.norm_sqr();
        weight += before.norm_sqr();
    }
    hz + sum / weight / TAU / STEP_S
}

/// A plucked string moves in two directions, which sound a little apart (J. Woodhouse, JASA 150, 2021): the beat is that of
/// the partials as they turn by themselves.
#[test]
#[rustfmt::skip]
fn strings_that_move_in_two_directions_beat_as_each_of_them_turns() {
    let law = |n: f64| n * ((1.0 + 1.2e-4 * n * n) / (1.0 + 1.2e-4)).sqrt();
    let string = |hz: f64, split: f64| -> Vec<f32> {
        let sample = |at: u32| {
            let t = f64::from(at) / f64::from(RATE);
            let partial = |n: f64| (std::f64::consts::PI * n * 0.42).sin() / n * moves(hz * law(n), split, t).im;
            (0.2 * (1..=10).map(f64::from).map(partial).sum::<f64>()) as f32
        };
        (0..2 * RATE).map(sample).collect()
    };
    for (interval, lower, splits, beats) in [
        // interval          Hz     cents          beats/s at first
        (Interval::OCTAVE, 130.8, [ 0.9,  0.7],   0.8),
        (Interval::OCTAVE, 247.0, [-1.0,  0.8],   1.5),
        (Interval::OCTAVE, 247.0, [ 1.2, -0.6],  -2.0),
        (Interval::FIFTH,  185.0, [-0.8, -1.0],   0.9),
        (Interval::FIFTH,  220.0, [ 1.0,  1.1],   3.0),
        (Interval::FOURTH, 174.6, [-1.2,  0.9],  -1.2),
    ] {
        let (p, q) = interval.meeting();
        let (p, q) = (f64::from(p), f64::from(q));
        let higher = (lower * law(p) + beats) / law(q);
        let truth = turns(higher * law(q), splits[1]) - turns(lower * law(p), splits[0]);
        let sound = together(&string(lower, splits[0]), &string(higher, splits[1]));
        let found = told(&sound, lower, higher, interval).expect("both sound");
        assert!((found.beats_per_second - truth).abs() < 0.05, "{truth} on {lower}: {found:?}");
    }
}

#[test]
fn a_string_that_does_not_sound_is_named() {
    let silent = vec![0.0_f32; 2 * RATE as usize];
    for (interval, ratio) in [
        (Interval::OCTAVE, 2.0),
        (Interval::FIFTH, 1.5),
        (Interval::FOURTH, 4.0 / 3.0),
    ] {
        let (lower, higher) = (string(220.0, 0.2, 2.0), string(220.0 * ratio, 0.2, 2.0));
        let hear = |sound: &[f32]| told(sound, 220.0, 220.0 * ratio, interval);
        assert!(hear(&together(&lower, &higher)).is_ok(), "{ratio}");
        assert_eq!(hear(&together(&lower, &silent)), Err(NoBeat::OnlyLower), "{ratio}");
        assert_eq!(hear(&together(&silent, &higher)), Err(NoBeat::OnlyHigher), "{ratio}");
        assert_eq!(hear(&silent), Err(NoBeat::Elsewhere), "{ratio}");
    }
}

#[test]
fn another_interval_is_no_beat_of_this_one() {
    // A fifth and a sixth were plucked where an octave was asked for.
    for other in [330.0, 370.0] {
        let sound = together(&string(220.0, 0.2, 2.0), &string(other, 0.2, 2.0));
        assert!(told(&sound, 220.0, 440.0, Interval::OCTAVE).is_err(), "{other}");
    }
    let sound = together(&string(261.6, 0.2, 2.0), &string(392.0, 0.2, 2.0));
    assert_eq!(told(&sound, 220.0, 440.0, Interval::OCTAVE), Err(NoBeat::Elsewhere));
}

#[test]
fn too_little_and_too_low_sound_is_refused() {
    let sound = string(220.0, 0.2, 0.9);
    assert_eq!(told(&sound, 220.0, 440.0, Interval::OCTAVE), Err(NoBeat::TooShort));
    assert_eq!(told(&[], 220.0, 440.0, Interval::OCTAVE), Err(NoBeat::TooShort));
    let sound = string(41.2, 0.2, 2.0);
    assert_eq!(told(&sound, 41.2, 61.7, Interval::FIFTH), Err(NoBeat::TooLow));
}

#[test]
fn what_is_no_number_is_refused_and_never_told() {
    let mut sound = together(&string(220.0, 0.2, 2.0), &string(440.0, 0.2, 2.0));
    sound[9_000] = f32::NAN;
    let found = told(&sound, 220.0, 440.0, Interval::OCTAVE);
    assert!(found.is_err_and(|why| why == NoBeat::Elsewhere));
}
