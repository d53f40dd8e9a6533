//! Inputs that carry no string: silence, hum, clipping, numbers that are none.

use consort_analysis::{Config, Health, Heard, Listener};
use consort_proto::SampleRate;

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

/// Loud, broken and dull inputs: whatever arrives, nothing of it becomes a certain reading.
#[test]
fn what_is_no_sound_is_never_settled() {
    let square = |hz: f64| move |t: f64| if (hz * t).fract() < 0.5 { 1.0 } else { -1.0 };
    let jumps = |t: f64| if (3.0 * t).fract() < 0.5 { 0.8 } else { -0.8 };
    let denormal = |t: f64| f64::from(f32::MIN_POSITIVE) * 0.01 * (2000.0 * t).sin();
    let checks: [(&str, &dyn Fn(f64) -> f64); 7] = [
        ("full-scale square at 1 kHz", &square(1000.0)),
        ("full-scale square at 100 Hz", &square(100.0)),
        ("full-scale square at 311 Hz", &square(311.127)),
        ("a voltage that jumps", &jumps),
        ("denormal numbers", &denormal),
        ("a voltage that drifts", &|t: f64| 0.2 * t - 0.4),
        ("every other sample at full scale", &|t: f64| {
            if (24_000.0 * t).round() as i64 % 2 == 0 {
                1.0
            } else {
                -1.0
            }
        }),
    ];
    for (name, wave) in checks {
        for rate in [16_000, RATE, 192_000] {
            let len = 4 * rate;
            let sound: Vec<f32> = (0..len).map(|n| wave(f64::from(n) / f64::from(rate)) as f32).collect();
            let all = readings(&hear(&sound, rate, &concert_harp(), 480));
            assert!(
                all.iter().all(|(_, doubt)| doubt.is_some()),
                "{name} at {rate}: {all:?}"
            );
        }
    }
}

/// A driver that loses samples: the string goes on, and its phase jumps.
#[test]
fn a_string_whose_stream_jumps_in_time_is_read_or_doubted() {
    for (number, hz) in [(40, 61.7354), (24, 311.9), (12, 990.0), (3, 2489.0)] {
        for lost in [7, 480, 9_600] {
            for at_s in [0.31, 0.4, 0.7, 1.1] {
                let mut sound = Pluck::new(hz).alone(2.6, RATE);
                let at = (at_s * f64::from(RATE)) as usize;
                sound.drain(at..at + lost);
                for (reading, doubt) in readings(&hear(&sound, RATE, &concert_harp(), 480)) {
                    let error = 1200.0 * (reading.hz.get() / hz).log2();
                    let right = reading.string == number && error.abs() < 4.0;
                    assert!(
                        right || doubt.is_some(),
                        "{hz} Hz, {lost} lost at {at_s} s: {error:+.2} cents {reading:?}"
                    );
                }
            }
        }
    }
}

/// Nobody plays for an hour; then somebody does.
#[test]
fn an_hour_of_silence_changes_nothing() {
    let rate = 8_000;
    let mut listener = Listener::new(Config {
        rate: SampleRate::new(rate).expect("a rate"),
        ..Config::default()
    });
    let minute = silence(60.0, rate);
    let mut heard = Vec::new();
    for _ in 0..60 {
        listener.push(&minute);
        heard.extend(std::iter::from_fn(|| listener.poll()));
    }
    assert_eq!(heard, [Heard::Input(Health::Silent)]);
    listener.push(&Pluck::new(311.9).alone(2.2, rate));
    heard.extend(std::iter::from_fn(|| listener.poll()));
    let all = readings(&heard);
    assert_eq!(all.len(), 1);
    assert!((all[0].0.hz.get() - 311.9).abs() < 0.05, "{all:?}");
    assert_eq!(all[0].0.string, 24);
}
