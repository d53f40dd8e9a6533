//! A pluck: the lines with which a string begins to sound, and the pitch that it truly has.

use std::f64::consts::{PI, TAU};

use crate::bank::Line;
use crate::stringing::{PARTIALS_MAX, Stringing};

/// How a finger plucks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pluck {
    /// How far the string is drawn, against an ordinary pluck of the same string: 1 is ordinary.
    pub loudness: f64,
    /// Where it is drawn, as a share of its length: 0.5 is the middle.
    pub place: f64,
    /// How far the plane of the pluck is turned from the one that moves the soundboard, radians.
    pub plane: f64,
}

impl Pluck {
    /// An ordinary pluck; harpists pluck nearer the middle than guitarists (Woodhouse, Euphonics 7.4), the rest is
    /// assumed.
    pub const ORDINARY: Self = Self {
        loudness: 1.0,
        place: 0.42,
        plane: 0.5,
    };
}

/// Amplitude of an ordinary pluck's first partial, full scale 1, before plucking place and soundboard.
const AMPLITUDE: f64 = 0.1;
/// A finger is this wide, millimetres: it draws no sharp corner, so partials shorter than it are missing (assumed).
const FINGER_MM: f64 = 12.0;
/// Lines below this amplitude are not begun: they would lie 90 dB under the first.
const WORTH_SOUNDING: f64 = 3e-6;
/// The time over which the true pitch is taken, seconds after the pluck.
const TRUTH_FROM_S: f64 = 0.15;
const TRUTH_TO_S: f64 = 1.5;
const TRUTH_STEPS: usize = 270;

/// The lines of a pluck, two for each partial.
pub(crate) fn lines(string: &Stringing, pluck: Pluck) -> Vec<Line> {
    lines_of(string, pluck, 1)
}

/// The lines of a harmonic: a hand that touches the middle of the string leaves the even partials alone, so
/// that it sounds an octave higher (common practice, no source).
pub(crate) fn harmonic_lines(string: &Stringing, pluck: Pluck) -> Vec<Line> {
    lines_of(string, pluck, 2)
}

/// The lines of every partial whose number is a multiple of `every`.
fn lines_of(string: &Stringing, pluck: Pluck, every: usize) -> Vec<Line> {
    let mut lines = Vec::with_capacity(2 * PARTIALS_MAX);
    for n in (every..=PARTIALS_MAX).step_by(every) {
        let count = n as f64;
        // A triangle has partials of 1/n²; the force on the soundboard has n times that.
        let finger = (-(count * FINGER_MM / (2.0 * string.length_mm)).powi(2)).exp();
        let shape = (PI * count * pluck.place).sin() / count * finger;
        let amplitude = AMPLITUDE * pluck.loudness * shape * string.body[n - 1];
        for (share, hz, decay_s) in polarisations(string, pluck.plane, n) {
            let amplitude = amplitude * share;
            if amplitude.abs() > WORTH_SOUNDING {
                // Each line begins at zero, so that the pluck makes no step.
                lines.push(Line {
                    hz,
                    decay_s,
                    re: amplitude,
                    im: 0.0,
                });
            }
        }
    }
    lines
}

/// Share, frequency and decay of the two lines of partial `n`.
fn polarisations(string: &Stringing, plane: f64, n: usize) -> [(f64, f64, f64); 2] {
    let (hz, decay_s) = (string.partial_hz(n), string.decay_s(n));
    // The polarisation that moves the soundboard gives more to it and dies sooner.
    [
        (plane.cos(), hz, decay_s / string.split_decay.sqrt()),
        (
            plane.sin(),
            hz + string.split_hz * n as f64,
            decay_s * string.split_decay.sqrt(),
        ),
    ]
}

/// The true pitch of `pluck`, hertz, with the string's rest at its note: the mean of the first partial over 0.15 to 1.5 s
/// after the pluck, weighted by energy.
///
/// The first partial is that of the law, f₀·√(1 + B), since that of a low string is weak and lies beside it.
pub fn true_hz(string: &Stringing, pluck: Pluck) -> f64 {
    let off_law = string.pitch_hz() / string.partial_hz(1);
    off_law * mean_hz(string, pluck, 1, (TRUTH_FROM_S, TRUTH_TO_S))
}

/// The frequency of partial `n` of `pluck`, hertz, with the string's rest at its note: the mean between two moments after
/// the pluck, seconds, weighted by energy.
pub fn mean_hz(string: &Stringing, pluck: Pluck, n: usize, (from_s, to_s): (f64, f64)) -> f64 {
    let start_cents = string.glide_cents(string.draw_mm() * pluck.loudness, pluck.place);
    let glide_decay_s = string.decay_s(1);
    let lines = polarisations(string, pluck.plane, n);
    // Both lines sound as one: its phase advances by Im(z̄·z′) / |z|², which is weighted by |z|².
    let (mut advance, mut energy) = (0.0, 0.0);
    for step in 0..TRUTH_STEPS {
        let time = from_s + (to_s - from_s) * (step as f64 + 0.5) / TRUTH_STEPS as f64;
        let bend = (glide_at(start_cents, glide_decay_s, time) / 1200.0).exp2();
        let (mut z, mut change) = ((0.0, 0.0), (0.0, 0.0));
        for (share, hz, decay_s) in lines {
            let (sin, cos) = (TAU * (hz - lines[0].1) * time).sin_cos();
            let size = share * (-time / decay_s).exp();
            let (re, im) = (size * cos, size * sin);
            let (loss, turn) = (1.0 / decay_s, TAU * hz * bend);
            z = (z.0 + re, z.1 + im);
            change = (change.0 - loss * re - turn * im, change.1 - loss * im + turn * re);
        }
        advance += z.0 * change.1 - z.1 * change.0;
        energy += z.0 * z.0 + z.1 * z.1;
    }
    advance / energy / TAU
}

/// What is left of a glide that began at `start_cents`: it follows the energy, which falls twice as fast as the
/// amplitude.
pub(crate) fn glide_at(start_cents: f64, decay_s: f64, time_s: f64) -> f64 {
    start_cents * (-2.0 * time_s / decay_s).exp()
}
