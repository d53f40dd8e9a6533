//! What one partial of a plucked string sounds like: two directions of motion that begin together, glide, and die away.

use std::f64::consts::TAU;

use consort_transform::Complex;

/// One partial.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    /// Where it comes to rest, hertz.
    pub(super) hz: f64,
    /// How fast it dies, per second.
    pub(super) loss: f64,
    /// How far above its rest it begins, hertz, and how fast that falls, per second.
    pub(super) glide: (f64, f64),
    /// How strongly the string moves in its second direction, against the first; how far that sounds from it, hertz; and
    /// how fast it dies, per second.
    ///
    /// Two end conditions give each partial two lines (J. Woodhouse, JASA 150, 2021).
    pub(super) other: (f64, f64, f64),
}

impl Line {
    /// `count` frames, `hop_s` apart, of this partial around `band_hz`, with amplitude 1 of its first direction at the first
    /// frame, whose middle lies `first_s` after the pluck.
    pub(super) fn frames(self, band_hz: f64, count: usize, (first_s, hop_s): (f64, f64)) -> Vec<Complex<f64>> {
        let Self { hz, loss, .. } = self;
        let (begins, fall) = self.glide;
        // The phase that the glide adds up to, turns: its integral from the first frame on.
        let glide = begins * (-fall * first_s).exp() / fall;
        let (share, split, lasting) = self.other;
        let frame = |m: usize| {
            let t = m as f64 * hop_s;
            let turns = (hz - band_hz) * t + glide * (1.0 - (-fall * t).exp());
            let since = first_s + t;
            let second = share * (loss * first_s - lasting * since).exp();
            Complex::from_polar((-loss * t).exp(), TAU * turns)
                + Complex::from_polar(second, TAU * (turns + split * since))
        };
        (0..count).map(frame).collect()
    }
}
