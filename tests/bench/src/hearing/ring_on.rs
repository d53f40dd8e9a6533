//! How a recorded string would have rung on, had its recording not ended.

use std::f64::consts::{PI, TAU};

use consort_analysis::expected_inharmonicity;
use consort_proto::Hz;

use super::bed::RATE;

/// What is listened to: the last of the recording, seconds.
const LAST_S: f64 = 0.6;
/// The ringing takes over from the recording within its last so many seconds.
const TAKES_OVER_S: f64 = 0.1;
/// Partials that are looked for, up to this frequency, hertz.
const PARTIALS: usize = 24;
const TOP_HZ: f64 = 6_000.0;
/// Each is looked for over this share of its frequency to both sides, in steps of so many hertz.
const SHARE: f64 = 0.02;
const STEP_HZ: f64 = 0.5;
/// What is softer than the strongest by this ratio of amplitudes (60 dB) is left away.
const LEAST: f64 = 1e-3;
/// No partial is taken to die more slowly than this, nepers in a second: what beats may seem to swell at the end.
const DECAY_MIN: f64 = 0.2;

/// One partial as it was in the middle of what was listened to.
#[derive(Clone, Copy)]
struct Partial {
    hz: f64,
    amplitude: f64,
    phase: f64,
    /// Nepers in a second.
    decay: f64,
}

impl Partial {
    /// Adds its sound from `from_s` after that middle on.
    fn add(&self, sound: &mut [f64], from_s: f64) {
        // From sample to sample it turns and fades by the same: a cosine for each would take ten times as long.
        let (fades, turns) = (-self.decay / f64::from(RATE), TAU * self.hz / f64::from(RATE));
        let step = (fades.exp() * turns.cos(), fades.exp() * turns.sin());
        let (level, phase) = (
            self.amplitude * (-self.decay * from_s).exp(),
            TAU * self.hz * from_s + self.phase,
        );
        let mut now = (level * phase.cos(), level * phase.sin());
        for sample in sound {
            *sample += now.0;
            now = (now.0 * step.0 - now.1 * step.1, now.0 * step.1 + now.1 * step.0);
        }
    }
}

/// `sound`, a string at `hz` that still rings when it ends, and on to `len` samples: each partial goes on with the pitch and
/// the decay that it has in the last of the sound.
pub(super) fn rung_on(sound: &[f32], hz: Hz, len: usize) -> Vec<f32> {
    let mut long = sound.to_vec();
    let rate = f64::from(RATE);
    let last = (LAST_S * rate) as usize;
    let Some(first) = sound.len().checked_sub(last) else {
        long.resize(len, 0.0);
        return long;
    };
    let partials = partials(&sound[first..], hz);
    let middle = first as f64 + 0.5 * last as f64;
    let taken_over = TAKES_OVER_S * rate;
    let begins = sound.len() as f64 - taken_over;
    long.resize(len.max(sound.len()), 0.0);
    let first = begins as usize;
    let mut rings = vec![0.0; long.len() - first];
    for partial in &partials {
        partial.add(&mut rings, (first as f64 - middle) / rate);
    }
    for (n, (sample, rings)) in long[first..].iter_mut().zip(&rings).enumerate() {
        let share = (n as f64 / taken_over).clamp(0.0, 1.0);
        let share = 0.5 - 0.5 * (PI * share).cos();
        *sample = ((1.0 - share) * f64::from(*sample) + share * rings) as f32;
    }
    long.truncate(len);
    long
}

/// The partials of a string at `hz` in a stretch of sound.
fn partials(sound: &[f32], hz: Hz) -> Vec<Partial> {
    let stiffness = expected_inharmonicity(hz);
    let ratio = |n: f64| n * ((1.0 + stiffness * n * n) / (1.0 + stiffness)).sqrt();
    let mut found = Vec::new();
    for n in 1..=PARTIALS {
        let at = hz.get() * ratio(n as f64);
        if at > TOP_HZ {
            break;
        }
        let steps = (SHARE * at / STEP_HZ).ceil().max(4.0) as i32;
        let places: Vec<f64> = (-steps..=steps).map(|step| at + STEP_HZ * f64::from(step)).collect();
        let levels: Vec<f64> = places
            .iter()
            .map(|place| tone(sound, *place).0.max(1e-12).ln())
            .collect();
        let Some(most) = (1..levels.len() - 1).max_by(|a, b| levels[*a].total_cmp(&levels[*b])) else {
            continue;
        };
        let (left, middle, right) = (levels[most - 1], levels[most], levels[most + 1]);
        if left > middle || right > middle {
            continue;
        }
        let curve = left - 2.0 * middle + right;
        let shift = if curve < 0.0 { 0.5 * (left - right) / curve } else { 0.0 };
        let place = places[most] + STEP_HZ * shift;
        let (amplitude, phase) = tone(sound, place);
        let (early, late) = sound.split_at(sound.len() / 2);
        let apart_s = 0.5 * sound.len() as f64 / f64::from(RATE);
        let fallen = (tone(early, place).0 / tone(late, place).0.max(1e-12)).ln();
        found.push(Partial {
            hz: place,
            amplitude,
            phase,
            decay: (fallen / apart_s).max(DECAY_MIN),
        });
    }
    let strongest = found.iter().map(|partial| partial.amplitude).fold(0.0, f64::max);
    found.retain(|partial| partial.amplitude > LEAST * strongest);
    found
}

/// Amplitude and phase, in the middle of `sound`, of what it has at `hz`, under Hann's window.
fn tone(sound: &[f32], hz: f64) -> (f64, f64) {
    let len = sound.len() as f64;
    let turn = |angle: f64| (angle.cos(), angle.sin());
    let step = turn(TAU * hz / f64::from(RATE));
    let window_step = turn(TAU / len);
    let times = |a: (f64, f64), b: (f64, f64)| (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0);
    // Both turn from the first sample on, which lies half the length before the middle.
    let mut phasor = turn(-TAU * hz / f64::from(RATE) * 0.5 * len);
    let mut window = (1.0, 0.0);
    let (mut re, mut im) = (0.0, 0.0);
    for sample in sound {
        let weighted = f64::from(*sample) * (0.5 - 0.5 * window.0);
        re += weighted * phasor.0;
        im -= weighted * phasor.1;
        phasor = times(phasor, step);
        window = times(window, window_step);
    }
    // The window's mean is a half, and a cosine has half its amplitude at its frequency.
    (4.0 * re.hypot(im) / len, im.atan2(re))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two partials of a string, the upper one dying faster: cut after 1.5 s they go on as they would have.
    #[test]
    fn a_string_rings_on_as_it_would_have() {
        let rate = RATE as usize;
        let sound: Vec<f32> = (0..3 * rate)
            .map(|n| {
                let t = n as f64 / f64::from(RATE);
                let partial = |hz: f64, decay: f64| (-decay * t).exp() * (TAU * hz * t).sin();
                (0.1 * partial(220.3, 0.9) + 0.05 * partial(440.8, 1.6)) as f32
            })
            .collect();
        let long = rung_on(&sound[..3 * rate / 2], Hz::new(220.3).expect("hertz"), 3 * rate);
        assert_eq!(long.len(), sound.len());
        let power = |sound: &[f32]| sound.iter().map(|x| f64::from(x * x)).sum::<f64>();
        let apart: Vec<f32> = long.iter().zip(&sound).map(|(a, b)| a - b).collect();
        let rest = 3 * rate / 2..;
        let share = power(&apart[rest.clone()]) / power(&sound[rest]);
        assert!(share < 1e-3, "{share} of its power is amiss");
    }
}
