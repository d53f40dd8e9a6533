//! A string that is plucked once more while it rings.

use crate::listening::{concert_harp, hear, readings};
use crate::sound::{Pluck, add_noise, silence};

const RATE: u32 = 48_000;
/// A finger lies on a string so long before it plucks it, and has silenced it after so long, seconds.
const TOUCHES_BEFORE_S: f64 = 0.05;
const TOUCHES_S: f64 = 0.03;

/// A string that is plucked at 0.3 s, stopped, and plucked as loud again `after_s` later.
fn twice(hz: f64, after_s: f64) -> Vec<f32> {
    let first = Pluck::new(hz);
    let mut sound = silence(0.3 + after_s + 2.0, RATE);
    first.play(&mut sound, RATE);
    for (n, sample) in sound.iter_mut().enumerate() {
        let touched_s = n as f64 / f64::from(RATE) - (first.at_s + after_s - TOUCHES_BEFORE_S);
        *sample *= (1.0 - touched_s / TOUCHES_S).clamp(0.0, 1.0) as f32;
    }
    let again = Pluck {
        at_s: first.at_s + after_s,
        ..first
    };
    again.play(&mut sound, RATE);
    add_noise(&mut sound, 1e-4, 7);
    sound
}

/// The finger has ended what the string did before: none of it says what is new of its next pluck.
#[test]
#[rustfmt::skip]
fn a_string_that_is_plucked_again_at_once_is_heard_each_time() {
    for (number, hz) in [
        (33, 124.0),
        (26, 248.0),
        (21, 417.0),
    ] {
        for after_s in [0.42, 0.55, 0.8] {
            let readings = readings(&hear(&twice(hz, after_s), RATE, &concert_harp(), 480));
            assert_eq!(readings.len(), 2, "{hz} Hz, again after {after_s} s: {readings:?}");
            for (reading, doubt) in &readings {
                assert_eq!(*doubt, None, "{hz} Hz, again after {after_s} s");
                let cents = 1200.0 * (reading.hz.get() / hz).log2();
                assert_eq!(reading.string, number, "{hz} Hz, again after {after_s} s");
                assert!(cents.abs() < 1.0, "{hz} Hz, again after {after_s} s: {cents}");
            }
            let [first, second] = [readings[0].0.sigma.0, readings[1].0.sigma.0];
            assert!(first > second, "what was heard of the first is less: {first}, {second} cents");
        }
    }
}

/// Lost samples put partials out of step as a finger does, but nothing is plucked.
#[test]
fn a_string_of_which_samples_are_lost_is_not_plucked_again() {
    for (number, hz) in [(33, 124.0), (26, 248.0), (21, 417.0)] {
        for lost_s in [0.0021, 0.0058, 0.0133] {
            let pluck = Pluck::new(hz);
            let mut sound = silence(2.8, RATE);
            pluck.play(&mut sound, RATE);
            let from = ((pluck.at_s + 0.5) * f64::from(RATE)) as usize;
            sound.drain(from..from + (lost_s * f64::from(RATE)) as usize);
            add_noise(&mut sound, 1e-4, 7);
            let readings = readings(&hear(&sound, RATE, &concert_harp(), 480));
            let strings: Vec<u8> = readings.iter().map(|(reading, _)| reading.string).collect();
            assert_eq!(strings, [number], "{hz} Hz, {lost_s} s lost: {readings:?}");
        }
    }
}
