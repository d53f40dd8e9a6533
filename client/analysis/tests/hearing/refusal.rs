//! Sounds that are no strings give no reading, or an unsure one.

use consort_analysis::Heard;

use crate::listening::{concert_harp, hear, readings};
use crate::sound::{Noise, Pluck, add_noise, silence};

const RATE: u32 = 48_000;

/// Whether nothing that was heard claims to be settled.
#[track_caller]
fn check(name: &str, sound: &[f32]) {
    let heard = hear(sound, RATE, &concert_harp(), 480);
    let settled: Vec<_> = heard
        .iter()
        .filter(|heard| matches!(heard, Heard::Settled(_)))
        .collect();
    assert!(settled.is_empty(), "{name}: {settled:?}");
}

#[test]
fn a_knock_gives_no_reading() {
    for seed in 1..=5 {
        let mut sound = silence(2.0, RATE);
        let mut noise = Noise(seed);
        for (n, sample) in sound.iter_mut().skip(15_000).enumerate() {
            *sample += (0.4 * noise.next() * (-(n as f64) / 600.0).exp()) as f32;
        }
        check("knock", &sound);
    }
}

#[test]
fn a_rustle_gives_no_reading() {
    let mut sound = silence(2.0, RATE);
    add_noise(&mut sound[20_000..60_000], 0.05, 4);
    check("rustle", &sound);
}

/// A voice: harmonics of a pitch that wavers by a third, under formants.
#[test]
fn a_voice_gives_no_reading() {
    for base in [110.0, 147.0, 208.0] {
        let mut sound = silence(2.0, RATE);
        let mut phase = 0.0;
        for (n, sample) in sound.iter_mut().enumerate().skip(12_000) {
            let t = n as f64 / f64::from(RATE) - 0.25;
            let hz = base * (1.0 + 0.12 * (std::f64::consts::TAU * 1.7 * t).sin() + 0.1 * t);
            phase += std::f64::consts::TAU * hz / f64::from(RATE);
            let swell = (std::f64::consts::PI * 2.5 * t).sin().abs();
            for partial in 1..=20 {
                let order = f64::from(partial);
                let formant = 1.0 / (1.0 + ((order * hz - 600.0) / 200.0).powi(2)) + 0.05;
                *sample += (0.1 * swell * formant * (phase * order).sin()) as f32;
            }
        }
        check("voice", &sound);
    }
}

/// A string stopped by the hand after a tenth of a second is not measured with certainty.
#[test]
fn a_string_damped_at_once_is_not_settled() {
    let mut sound = Pluck::new(311.9).alone(2.0, RATE);
    let stop = (0.4 * f64::from(RATE)) as usize;
    for (n, sample) in sound.iter_mut().skip(stop).enumerate() {
        *sample *= (-(n as f64) / 200.0).exp() as f32;
    }
    check("damped", &sound);
}

/// Fifths, fourths and octaves of which every partial is one of a string an octave and more below, which answers them 14 to 20 dB
/// softer: it is not said to be that string, wherever they are plucked.
#[test]
fn strings_of_a_chord_are_not_the_low_string_whose_partials_they_have() {
    let below = 164.8;
    let stiffness = 2e-5;
    for chord in [&[2.0, 3.0][..], &[3.0, 4.0], &[2.0, 3.0, 4.0]] {
        for (place, answer) in [(0.2, 0.02), (0.2, 0.04), (0.35, 0.04), (0.43, 0.02), (0.43, 0.04)] {
            let mut sound = silence(2.0, RATE);
            let low = Pluck {
                place,
                stiffness,
                amplitude: answer,
                ..Pluck::new(below)
            };
            low.play(&mut sound, RATE);
            for times in chord {
                let hz = below * times;
                let amplitude = 0.2;
                Pluck { hz, amplitude, ..low }.play(&mut sound, RATE);
            }
            let heard = hear(&sound, RATE, &concert_harp(), 480);
            let is_below = |hz: f64| (hz / below - 1.0).abs() < 0.03;
            let told = heard
                .iter()
                .find(|heard| matches!(heard, Heard::Settled(reading) if is_below(reading.hz.get())));
            assert!(told.is_none(), "{chord:?} plucked at {place}, {answer}: {told:?}");
        }
    }
}

#[test]
fn silence_is_not_heard() {
    assert!(readings(&hear(&silence(2.0, RATE), RATE, &concert_harp(), 480)).is_empty());
    let mut hiss = silence(3.0, RATE);
    add_noise(&mut hiss, 1e-3, 8);
    check("hiss", &hiss);
}
