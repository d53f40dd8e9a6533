//! The physical bound: how finely any listener could measure a string in noise, and how near this one comes.

use std::f64::consts::TAU;

use consort_proto::Cents;

use crate::listening::{hertz, only_reading};
use crate::sound::{Pluck, add_noise};

/// The least standard deviation of the frequency of A·exp(−t/τ)·cos(2π·f·t + φ) in white noise of root mean square `noise`,
/// with A, φ, τ and f unknown, hertz.
///
/// The Cramér–Rao bound var(ω) = (2·s²/A²)·S₀/(S₀·S₂ − S₁²) with S_k = Σ n^k·exp(−2·n/(τ·rate)); cf. Yao & Pandit,
/// IEEE Transactions on Signal Processing 43 (1995) 878.
fn bound_hz(amplitude: f64, decay_s: f64, noise: f64, seconds: f64, rate: f64) -> f64 {
    let (mut s0, mut s1, mut s2) = (0.0, 0.0, 0.0);
    for n in 0..(seconds * rate) as usize {
        let n = n as f64;
        let energy = (-2.0 * n / (decay_s * rate)).exp();
        s0 += energy;
        s1 += n * energy;
        s2 += n * n * energy;
    }
    let variance = 2.0 * (noise / amplitude).powi(2) * s0 / (s0 * s2 - s1 * s1);
    variance.sqrt() * rate / TAU
}

/// The least standard deviation of the pitch of a stiff string in white noise, cents: with its stiffness known, and with
/// its stiffness to be found as well.
///
/// ln fₙ = ln f₁ + ln n + ½·ln((1 + B·n²)/(1 + B)); partials are far enough apart to be independent.
fn bounds_cents(pluck: &Pluck, noise: f64, seconds: f64, rate: u32) -> (f64, f64) {
    let (mut pitch, mut both, mut stiff) = (0.0, 0.0, 0.0);
    for (order, (hz, amplitude, decay_s)) in (1_u32..).map(f64::from).zip(pluck.partials(rate)) {
        let deviation = bound_hz(amplitude, decay_s, noise, seconds, f64::from(rate)) / hz;
        let square = order * order;
        let slope = 0.5 * (square / (1.0 + pluck.stiffness * square) - 1.0 / (1.0 + pluck.stiffness));
        let weight = deviation.powi(-2);
        pitch += weight;
        both += weight * slope;
        stiff += weight * slope * slope;
    }
    let cents = 1200.0 / std::f64::consts::LN_2;
    (
        cents / pitch.sqrt(),
        cents * (stiff / (pitch * stiff - both * both)).sqrt(),
    )
}

/// A tone of 1 kHz, 17 dB above the noise at first, that falls to 1/e in 0.3 s, at 8,000 samples a second: 0.004332 Hz, and
/// so many times that where the record is cut at a share of the decay (computed from the formula).
#[test]
fn the_bound_is_the_computed_one() {
    let infinite = bound_hz(1.0, 0.3, 0.1, 6.0, 8_000.0);
    assert!((infinite - 0.004_332).abs() < 1e-5, "{infinite}");
    for (share, times) in [(0.25, 11.112), (1.0, 2.047), (2.0, 1.210), (4.0, 1.011)] {
        let cut = bound_hz(1.0, 0.3, 0.1, 0.3 * share, 8_000.0) / infinite;
        assert!((cut / times - 1.0).abs() < 0.005, "{share}: {cut}");
    }
}

/// Nobody reads a string more finely than the bound allows, so an error below it would be an error of this test; and noise
/// 20 dB below the pluck costs this listener at most so many cents (root mean square of sixteen readings).
#[test]
fn strings_in_noise_are_read_near_the_bound() {
    let (rate, seconds) = (48_000, 2.1);
    for (target, stiffness, most) in [
        (61.7354, 1e-4, 0.03),
        (123.4708, 1.2e-4, 0.02),
        (246.9417, 1e-4, 0.01),
        (415.3047, 1e-4, 0.01),
        (987.7666, 2.1e-4, 0.01),
        (1975.5332, 8e-4, 0.02),
    ] {
        let mut squares = 0.0;
        let mut bounds = (0.0, 0.0);
        for seed in 1..=16 {
            let hz = hertz(target).raised_by(Cents(3.0 * (seed as f64 - 8.0)));
            let pluck = Pluck {
                stiffness,
                ..Pluck::new(hz.get())
            };
            let mut sound = pluck.alone(seconds, rate);
            let first_half_second = &sound[14_400..38_400];
            let power = first_half_second.iter().map(|x| f64::from(x * x)).sum::<f64>() / 24_000.0;
            let noise = power.sqrt() / 10.0;
            add_noise(&mut sound, noise, seed);
            let (reading, _) = only_reading(&sound, rate);
            squares += reading.hz.cents_above(hz).0.powi(2);
            bounds = bounds_cents(&pluck, noise, seconds - pluck.at_s, rate);
        }
        let error = (squares / 16.0).sqrt();
        let case = format!(
            "{target} Hz: {error:.4} cents, bounds {:.4} and {:.4}",
            bounds.0, bounds.1
        );
        assert!(error > 0.5 * bounds.0, "{case}");
        assert!(error < most, "{case}");
    }
}
