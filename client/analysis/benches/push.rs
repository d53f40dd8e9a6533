//! Time to hear one second of sound, at several rates: compare it with the second that the sound takes.

use consort_analysis::{Config, Context, Listener};
use consort_proto::{Hz, SampleRate};

fn main() {
    divan::main();
}

/// Two seconds of sound with a string of 311 Hz plucked in the middle of each.
fn plucks(rate: u32) -> Vec<f32> {
    let string = |t: f64| {
        let partial = |n: f64| (std::f64::consts::TAU * n * 311.0 * t).sin() / n;
        0.1 * (-2.0 * t).exp() * (1..=8).map(|n| partial(f64::from(n))).sum::<f64>()
    };
    let rate_s = f64::from(rate);
    (0..2 * rate)
        .map(|n| string((f64::from(n) / rate_s + 0.5).fract()) as f32)
        .collect()
}

#[divan::bench(args = [16_000, 44_100, 48_000, 96_000, 192_000])]
fn one_second_of_plucks(bencher: divan::Bencher<'_, '_>, rate: u32) {
    let sound = plucks(rate);
    let rate = SampleRate::new(rate).expect("a rate");
    let mut listener = Listener::new(Config {
        rate,
        ..Config::default()
    });
    listener.set_context(&Context::concert_harp(Hz::new(440.0).expect("A4")));
    let second = rate.get() as usize;
    let mut at = 0;
    bencher.bench_local(move || {
        for block in sound[at..at + second].chunks(480) {
            listener.push(block);
        }
        at = second - at;
        std::iter::from_fn(|| listener.poll()).count()
    });
}

#[divan::bench(args = [48_000])]
fn one_second_of_silence(bencher: divan::Bencher<'_, '_>, rate: u32) {
    let sound = vec![0.0; rate as usize];
    let rate = SampleRate::new(rate).expect("a rate");
    let mut listener = Listener::new(Config {
        rate,
        ..Config::default()
    });
    bencher.bench_local(move || {
        listener.push(&sound);
        std::iter::from_fn(|| listener.poll()).count()
    });
}
