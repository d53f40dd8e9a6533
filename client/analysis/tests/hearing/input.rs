//! Inputs that carry no string: silence, hum, clipping, numbers that are none.

use consort_analysis::{Health, Heard};

use crate::listening::{concert_harp, hear, readings};
use crate::sound::{Pluck, add_noise, add_tone, silence};

const RATE: u32 = 48_000;

fn health(sound: &[f32]) -> Vec<Health> {
    let heard = hear(sound, RATE, &concert_harp(), 480);
    heard
        .iter()
        .filter_map(|heard| {
            if let Heard::Input(health) = heard {
                Some(*health)
            } else {
                None
            }
        })
        .collect()
}

#[test]
fn a_dead_input_is_silent_and_recovers() {
    let mut sound = silence(2.0, RATE);
    assert_eq!(health(&sound), [Health::Silent]);
    sound.extend(Pluck::new(440.0).alone(2.0, RATE));
    assert_eq!(health(&sound), [Health::Silent, Health::Good]);
}

#[test]
fn a_constant_voltage_is_silence() {
    let mut sound = silence(3.0, RATE);
    sound.iter_mut().for_each(|sample| *sample += 0.3);
    assert_eq!(readings(&hear(&sound, RATE, &concert_harp(), 480)).len(), 0);
}

#[test]
fn a_clipped_string_is_told_and_still_read() {
    let mut sound = Pluck {
        amplitude: 3.0,
        ..Pluck::new(311.9)
    }
    .alone(2.0, RATE);
    sound.iter_mut().for_each(|sample| *sample = sample.clamp(-1.0, 1.0));
    assert!(health(&sound).contains(&Health::Clipped));
    let all = readings(&hear(&sound, RATE, &concert_harp(), 480));
    assert_eq!(all[0].0.string, 24);
}

#[test]
fn mains_hum_is_named_and_is_no_string() {
    for (hz, exact) in [(50, 50.02), (60, 59.97)] {
        let mut sound = silence(4.0, RATE);
        for n in 1..=5 {
            add_tone(&mut sound, RATE, f64::from(n) * exact, 0.02 / f64::from(n));
        }
        add_noise(&mut sound, 1e-4, 2);
        assert_eq!(health(&sound), [Health::Humming(hz)]);
        assert!(readings(&hear(&sound, RATE, &concert_harp(), 480)).is_empty());
    }
}

/// Hum 6 dB softer than the string, a quarter tone from it.
#[test]
fn a_string_beside_the_hum_is_read() {
    let mut sound = Pluck::new(61.7354).alone(2.4, RATE);
    for n in 1..=6 {
        add_tone(&mut sound, RATE, 60.0 * f64::from(n), 0.1 / f64::from(n));
    }
    let all = readings(&hear(&sound, RATE, &concert_harp(), 480));
    assert_eq!(all.len(), 1, "{all:?}");
    assert_eq!(all[0].0.string, 40);
    let cents = 1200.0 * (all[0].0.hz.get() / 61.7354).log2();
    assert!(cents.abs() < 1.0, "{cents} {all:?}");
}

#[test]
fn numbers_that_are_none_do_no_harm() {
    let mut sound = Pluck {
        at_s: 1.0,
        ..Pluck::new(311.9)
    }
    .alone(3.0, RATE);
    for (n, bad) in (0..).zip([f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, f32::MIN, -0.0]) {
        sound[n * 3000..n * 3000 + 500].fill(bad);
    }
    let all = readings(&hear(&sound, RATE, &concert_harp(), 480));
    assert!(all.iter().any(|(reading, _)| reading.string == 24), "{all:?}");
    let sound = vec![f32::NAN; 100_000];
    assert!(readings(&hear(&sound, RATE, &concert_harp(), 480)).is_empty());
}

#[test]
fn any_rate_is_taken() {
    for rate in [
        8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 88_200, 96_000, 176_400, 192_000, 384_000,
    ] {
        let all = readings(&hear(&Pluck::new(311.9).alone(2.0, rate), rate, &concert_harp(), 480));
        assert_eq!(all[0].0.string, 24, "{rate}: {all:?}");
        assert!((all[0].0.hz.get() - 311.9).abs() < 0.05, "{rate}: {all:?}");
    }
}
