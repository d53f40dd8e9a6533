//! How much memory a listener holds, with what it knows of a harp.

use consort_analysis::{Config, Context, Listener};
use consort_proto::{Hz, SampleRate};

/// So many are made, so that what a process takes by the way is little beside them.
const LISTENERS: usize = 16;
/// Each hears so much sound, samples, so that all of what it set aside has been in use.
const HEARS: usize = 4 * 48_000;

/// Bytes that a listener at 48 kHz and its context of 47 strings hold, by what the process has in memory before and after
/// some were made; `None` where the system does not tell. True only before much else was set aside and given back.
pub(super) fn bytes() -> Option<f64> {
    let a4 = Hz::new(440.0).ok()?;
    let sound: Vec<f32> = (0..HEARS)
        .map(|n| {
            // A new tone every half second, so that everything has something to do.
            let (at, hz) = (n % 24_000, 100.0 + 40.0 * (n / 24_000) as f64);
            let t = at as f64 / 48_000.0;
            let tone = |k: f64| (std::f64::consts::TAU * k * hz * t).sin() / k;
            (0.1 * (-3.0 * t).exp() * (tone(1.0) + tone(2.0) + tone(3.0))) as f32
        })
        .collect();
    let mut listeners = Vec::with_capacity(LISTENERS);
    let before = resident()?;
    for _ in 0..LISTENERS {
        let context = Box::new(Context::concert_harp(a4));
        let mut listener = Listener::new(Config {
            rate: SampleRate::STUDIO,
            ..Config::default()
        });
        listener.set_context(&context);
        listener.push(&sound);
        while listener.poll().is_some() {}
        listeners.push((listener, context));
    }
    Some((resident()? - before) / listeners.len() as f64)
}

/// Bytes of this process that are in memory.
fn resident() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmRSS:"))?;
    Some(1024.0 * line.split_whitespace().nth(1)?.parse::<f64>().ok()?)
}
