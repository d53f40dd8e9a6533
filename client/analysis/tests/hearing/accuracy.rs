//! How far readings of synthetic strings are from the truth, as a table.

use consort_proto::Cents;

use crate::listening::{hertz, only_reading};
use crate::sound::{Pluck, add_noise};

/// Checks one string over several offsets: the largest error in cents, the string's number, and that sigma is honest.
#[track_caller]
fn check(number: u8, target: f64, stiffness: f64, noise_db: f64, rate: u32, largest: f64) {
    for (seed, offset) in (1..).zip([-37.0, -8.0, 0.4, 23.0]) {
        let hz = hertz(target).raised_by(Cents(offset));
        let pluck = Pluck {
            stiffness,
            ..Pluck::new(hz.get())
        };
        let mut sound = pluck.alone(2.1, rate);
        add_noise(&mut sound, 0.2 * 10.0_f64.powf(noise_db / 20.0), seed);
        let (reading, doubt) = only_reading(&sound, rate);
        let error = reading.hz.cents_above(hz).0;
        let case = format!("{target} Hz {offset:+} cents, {noise_db} dB, {rate}: {error:.3} cents, {reading:?}");
        assert_eq!(reading.string, number, "{case}");
        assert!(error.abs() <= largest, "{case}");
        assert!(error.abs() <= 4.0 * reading.sigma.0, "{case}");
        assert!(doubt.is_none(), "{doubt:?} {case}");
    }
}

#[test]
#[rustfmt::skip]
fn a_string_is_read_within_its_bound() {
    for (number, target, stiffness, noise_db, rate, largest) in [
        // no.  target/Hz   B     noise/dB  rate    cents
        (  46,   34.6478, 1.0e-4, -100.0,  48_000, 0.25), // Bass: the model carries the first partial.
        (  40,   61.7354, 5.0e-5, -100.0,  48_000, 0.15),
        (  33,  123.4708, 2.0e-4, -100.0,  48_000, 0.15),
        (  26,  246.9417, 1.0e-4, -100.0,  48_000, 0.10),
        (  21,  415.3047, 1.0e-4, -100.0,  48_000, 0.05), // From here up the first partial decides.
        (  12,  987.7666, 2.1e-4, -100.0,  48_000, 0.05),
        (   5, 1975.5332, 8.0e-4, -100.0,  48_000, 0.05),
        (   1, 2959.9554, 1.7e-3, -100.0,  48_000, 0.05),
        (  46,   34.6478, 1.0e-4,  -40.0,  48_000, 0.40), // Noise costs little: the sound is long.
        (  33,  123.4708, 2.0e-4,  -40.0,  48_000, 0.25),
        (  21,  415.3047, 1.0e-4,  -40.0,  48_000, 0.10),
        (   5, 1975.5332, 8.0e-4,  -40.0,  48_000, 0.10),
        (  33,  123.4708, 2.0e-4,  -20.0,  48_000, 1.50),
        (  21,  415.3047, 1.0e-4,  -20.0,  48_000, 0.60),
        (   5, 1975.5332, 8.0e-4,  -20.0,  48_000, 0.80), // Gone within half a second.
        (  21,  415.3047, 5.0e-4, -100.0,  48_000, 0.10), // Stiffer and softer strings than expected.
        (  21,  415.3047, 1.0e-5, -100.0,  48_000, 0.10),
        (  46,   34.6478, 2.0e-4, -100.0,  48_000, 0.40),
        (  33,  123.4708, 2.0e-4, -100.0,  16_000, 0.15), // The rate changes nothing.
        (  21,  415.3047, 1.0e-4, -100.0,  16_000, 0.05),
        (   1, 2959.9554, 1.7e-3, -100.0,  16_000, 0.10),
        (  33,  123.4708, 2.0e-4, -100.0,  44_100, 0.15),
        (   5, 1975.5332, 8.0e-4, -100.0,  44_100, 0.05),
        (  33,  123.4708, 2.0e-4, -100.0,  96_000, 0.15),
        (   5, 1975.5332, 8.0e-4, -100.0,  96_000, 0.05),
        (  21,  415.3047, 1.0e-4, -100.0, 192_000, 0.05),
        (  33,  123.4708, 2.0e-4, -100.0,   8_000, 0.20), // Telephone quality.
    ] {
        check(number, target, stiffness, noise_db, rate, largest);
    }
}

/// Contact pickups and soundboards lose the first partials of bass strings; the pitch is still that of the first.
#[test]
fn a_bass_string_is_read_without_its_first_partial() {
    for weaker in [20.0, 30.0, 60.0] {
        let pluck = Pluck {
            stiffness: 1e-4,
            first_weaker_db: weaker,
            ..Pluck::new(62.0)
        };
        let (reading, doubt) = only_reading(&pluck.alone(2.1, 48_000), 48_000);
        assert_eq!((reading.string, doubt), (40, None), "{weaker} dB");
        let error = reading.hz.cents_above(hertz(62.0)).0;
        assert!(error.abs() < 0.2, "{weaker} dB: {error}");
    }
}

/// A string that slides by a steady 3 cents a second has slid by two between the middles of the halves of 1.35 s.
#[test]
fn a_glide_is_reported_with_its_direction() {
    let rate = 48_000;
    let sound: Vec<f32> = (0..2 * rate)
        .map(|n| {
            let t = f64::from(n) / f64::from(rate) - 0.3;
            let slope = 3.0 * std::f64::consts::LN_2 / 1200.0;
            let phase = std::f64::consts::TAU * 415.3047 * (t - 0.5 * slope * t * t);
            if t < 0.0 {
                0.0
            } else {
                (0.2 * (-t).exp() * phase.sin()) as f32
            }
        })
        .collect();
    let (reading, _) = only_reading(&sound, rate as u32);
    assert!((reading.glide.0 + 2.0).abs() < 0.2, "{reading:?}");
}
