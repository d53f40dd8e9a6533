//! What a plain long transform sees of a sound: no model, no knowledge of harps.

use std::f64::consts::{PI, TAU};

use consort_harp::{Condition, Pickup, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Harp, Kind, SampleRate, StringNumber, harp_file};

/// Samples per second in these tests.
pub(crate) const RATE: u32 = 48_000;

/// A quiet stage with computed voices.
pub(crate) fn stage() -> Stage<'static> {
    Stage {
        rate: SampleRate::new(RATE).expect("a rate"),
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room::default(),
    }
}

/// String `number` of 47.
pub(crate) fn number(number: u32) -> StringNumber {
    StringNumber::new(number).expect("a string")
}

/// The concert harp.
pub(crate) fn concert_harp() -> Harp {
    harp_file::preset("pedal-47").expect("a preset")
}

/// A harp with nothing but string `which` of the concert harp, so that nothing answers it.
pub(crate) fn lone_string(which: u32, condition: &Condition) -> VirtualHarp {
    let string = *concert_harp().string(number(which)).expect("a string");
    let harp = Harp::new("One string".to_owned(), Kind::Other, vec![string]).expect("a harp");
    VirtualHarp::new(&harp, condition, stage())
}

/// The next `seconds` of `harp`.
pub(crate) fn sound(harp: &mut VirtualHarp, seconds: f64) -> Vec<f32> {
    let mut out = vec![0.0; (seconds * f64::from(RATE)) as usize];
    harp.render(&mut out);
    out
}

/// Frequency (hertz) and amplitude of the strongest line of `sound` within `reach` hertz of `hz`.
///
/// A Hann window over all of `sound`, four times as long a transform, and a parabola through the logarithms.
pub(crate) fn line_near(sound: &[f32], hz: f64, reach: f64) -> (f64, f64) {
    let len = (4 * sound.len()).next_power_of_two();
    let mut padded = vec![0.0_f64; len];
    let mut weight = 0.0;
    for (n, (out, sample)) in padded.iter_mut().zip(sound).enumerate() {
        let window = 0.5 - 0.5 * (TAU * n as f64 / sound.len() as f64).cos();
        *out = f64::from(*sample) * window;
        weight += window;
    }
    let transform = consort_transform::double(len);
    let mut spectrum = transform.make_output_vec();
    transform.process(&mut padded, &mut spectrum).expect("lengths agree");
    let bin_hz = f64::from(RATE) / len as f64;
    let size: Vec<f64> = spectrum.iter().map(|z| z.re.hypot(z.im)).collect();
    let from = ((hz - reach) / bin_hz).max(1.0) as usize;
    let to = (((hz + reach) / bin_hz) as usize).min(size.len() - 2);
    let at = (from..=to)
        .max_by(|a, b| size[*a].total_cmp(&size[*b]))
        .expect("some bins");
    let (a, b, c) = (size[at - 1].ln(), size[at].ln(), size[at + 1].ln());
    let part = 0.5 * (a - c) / (a - 2.0 * b + c);
    ((at as f64 + part) * bin_hz, 2.0 * size[at] / weight)
}

/// The mean frequency around `hz` of `sound` from `from_s` to `to_s`, weighted by energy, hertz.
///
/// The sound is shifted down by `hz` and smoothed; the phase is followed from sample to sample.
pub(crate) fn mean_hz(sound: &[f32], hz: f64, from_s: f64, to_s: f64) -> f64 {
    let rate = f64::from(RATE);
    // Eight periods keep the second partial out.
    let half = (4.0 * rate / hz) as usize;
    let window: Vec<f64> = (0..=2 * half)
        .map(|k| 0.5 - 0.5 * (PI * k as f64 / half as f64).cos())
        .collect();
    let shifted: Vec<(f64, f64)> = sound
        .iter()
        .enumerate()
        .map(|(n, sample)| {
            let (sin, cos) = (-TAU * hz * n as f64 / rate).sin_cos();
            (f64::from(*sample) * cos, f64::from(*sample) * sin)
        })
        .collect();
    let hop = 64;
    let smooth = |n: usize| {
        let around = shifted[n - half..=n + half].iter().zip(&window);
        around.fold((0.0, 0.0), |(re, im), (z, w)| (re + z.0 * w, im + z.1 * w))
    };
    let (from, to) = ((from_s * rate) as usize, (to_s * rate) as usize);
    let (mut advance, mut energy) = (0.0, 0.0);
    let mut last = smooth(from);
    for n in (from + hop..to).step_by(hop) {
        let z = smooth(n);
        let turned = (z.1 * last.0 - z.0 * last.1).atan2(z.0 * last.0 + z.1 * last.1);
        let weight = z.0.hypot(z.1) * last.0.hypot(last.1);
        advance += turned * weight;
        energy += weight;
        last = z;
    }
    hz + advance / energy * rate / (TAU * hop as f64)
}

/// How far `hz` lies above `from`, cents.
pub(crate) fn cents(hz: f64, from: f64) -> f64 {
    1200.0 * (hz / from).log2()
}
