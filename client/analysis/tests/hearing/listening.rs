//! Lets a listener hear a whole sound.

use consort_analysis::{Config, Context, Doubt, Heard, Listener, Reading};
use consort_proto::{Hz, SampleRate};

pub(crate) fn hertz(hz: f64) -> Hz {
    Hz::new(hz).expect("a frequency")
}

pub(crate) fn concert_harp() -> Context {
    Context::concert_harp(hertz(440.0))
}

/// Everything heard of `sound`, pushed in blocks of `block` samples.
pub(crate) fn hear(sound: &[f32], rate: u32, context: &Context, block: usize) -> Vec<Heard> {
    let rate = SampleRate::new(rate).expect("a rate");
    let mut listener = Listener::new(Config {
        rate,
        ..Config::default()
    });
    listener.set_context(context);
    let mut heard = Vec::new();
    for block in sound.chunks(block) {
        listener.push(block);
        heard.extend(std::iter::from_fn(|| listener.poll()));
    }
    listener.finish();
    heard.extend(std::iter::from_fn(|| listener.poll()));
    heard
}

/// The finished readings among what was heard, each with its doubt.
pub(crate) fn readings(heard: &[Heard]) -> Vec<(Reading, Option<Doubt>)> {
    heard
        .iter()
        .filter_map(|heard| match heard {
            Heard::Settled(reading) => Some((*reading, None)),
            Heard::Unsure(reading, doubt) => Some((*reading, Some(*doubt))),
            _ => None,
        })
        .collect()
}

/// The one reading of a sound that holds one pluck of a concert harp.
#[track_caller]
pub(crate) fn only_reading(sound: &[f32], rate: u32) -> (Reading, Option<Doubt>) {
    let all = readings(&hear(sound, rate, &concert_harp(), 480));
    assert_eq!(all.len(), 1, "{all:?}");
    all[0]
}
