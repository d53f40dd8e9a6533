//! Chases a string that is turned so far that its partials leave the bands in which they are followed: the bands go with it.

use consort_proto::{Cents, Hz};
use consort_transform::Complex;

use crate::character::{expected_stiffness, partial_ratio};
use crate::decimate::dot;
use crate::fit::{FittedString, PartialPitch, fit_string};
use crate::frequency::{Framing, turning};

/// So many partials are chased, and so many frames of each are looked at: 0.05 s and one frame.
const PARTIALS: usize = 14;
const FRAMES: usize = 5;
/// From one look to the next, 0.04 s, no key turns a string further than this, cents.
const STEP_CENTS: f64 = 30.0;
/// After so many looks in which nothing was found it is lost.
const LOST: u32 = 8;

/// Where the string that is chased is, if one is.
#[derive(Debug, Default)]
pub(crate) struct Chase {
    hz: Option<f64>,
    missed: u32,
    cosines: Vec<f32>,
    sines: Vec<f32>,
}

/// What is looked at.
#[derive(Clone, Copy, Debug)]
pub(crate) struct View<'a> {
    /// The newest sound: frames as long as the window, one hop apart, end with it.
    pub(crate) sound: &'a [f32],
    pub(crate) window: &'a [f32],
    /// Samples from one frame to the next, and in a second.
    pub(crate) hop: usize,
    pub(crate) rate: f64,
    /// Mean square amplitude of what else is near the partials.
    pub(crate) noise: f64,
}

impl View<'_> {
    /// Samples that are looked at with a window of so many.
    pub(crate) const fn len(window: usize, hop: usize) -> usize {
        window + (FRAMES - 1) * hop
    }
}

impl Chase {
    /// Room for windows of up to `len_max` samples.
    pub(crate) fn new(len_max: usize) -> Self {
        Self {
            cosines: Vec::with_capacity(len_max),
            sines: Vec::with_capacity(len_max),
            ..Self::default()
        }
    }

    /// Nothing is chased.
    pub(crate) const fn end(&mut self) {
        self.hz = None;
    }

    /// The string stands at `hz` and is chased from here, unless it is already.
    pub(crate) fn begin(&mut self, hz: f64) {
        if self.hz.is_none() {
            (self.hz, self.missed) = (Some(hz), 0);
        }
    }

    /// Where it was last.
    pub(crate) const fn at(&self) -> Option<f64> {
        self.hz
    }

    /// Where it is now, and the power of its partials; `None` when it is not found. Never allocates.
    pub(crate) fn look(&mut self, view: View<'_>) -> Option<(FittedString, f64)> {
        let near = self.hz?;
        let found = self.fit(near, view).filter(|(fitted, _)| {
            let (Ok(now), Ok(before)) = (Hz::new(fitted.hz), Hz::new(near)) else {
                return false;
            };
            now.cents_above(before).is_within(Cents(STEP_CENTS))
        });
        match found {
            Some((fitted, _)) => (self.hz, self.missed) = (Some(fitted.hz), 0),
            None => {
                self.missed += 1;
                if self.missed >= LOST {
                    self.end();
                }
            }
        }
        found
    }

    fn fit(&mut self, near: f64, view: View<'_>) -> Option<(FittedString, f64)> {
        let stiffness = expected_stiffness(near);
        let framing = Framing {
            hop_s: view.hop as f64 / view.rate,
            frame_s: view.window.len() as f64 / view.rate,
            noise: view.noise,
            drift: false,
        };
        let mut pitches = [PartialPitch::default(); PARTIALS];
        let (mut count, mut power) = (0, 0.0);
        for n in 1..=PARTIALS {
            let hz = near * partial_ratio(n, stiffness);
            if hz > 0.4 * view.rate {
                break;
            }
            let frames = self.frames(hz, view)?;
            let Some(turning) = turning(&frames, framing) else {
                continue;
            };
            pitches[count] = PartialPitch {
                n,
                hz: hz + turning.hz,
                sigma_hz: turning.sigma_hz,
                amplitude: turning.energy.sqrt(),
            };
            power += turning.energy;
            count += 1;
        }
        Some((fit_string(&pitches[..count], near)?, power))
    }

    /// The newest frames around `hz`, brought down to zero frequency.
    fn frames(&mut self, hz: f64, view: View<'_>) -> Option<[Complex<f64>; FRAMES]> {
        let step = std::f64::consts::TAU * hz / view.rate;
        let (turn, mut z) = (Complex::from_polar(1.0, step), Complex::new(1.0, 0.0));
        self.cosines.clear();
        self.sines.clear();
        for window in view.window {
            self.cosines.push(z.re as f32 * window);
            self.sines.push(z.im as f32 * window);
            z *= turn;
        }
        let mut frames = [Complex::default(); FRAMES];
        for (m, frame) in frames.iter_mut().enumerate() {
            let sound = view.sound.get(m * view.hop..m * view.hop + view.window.len())?;
            let (re, im) = (dot(sound, &self.cosines), dot(sound, &self.sines));
            let back = Complex::from_polar(1.0, -step * (m * view.hop) as f64);
            *frame = Complex::new(f64::from(re), -f64::from(im)) * back;
        }
        Some(frames)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tone with three partials rises by two semitones in a second, and is found within two cents of where it was in the
    /// middle of what is looked at.
    #[test]
    fn a_string_that_rises_by_two_semitones_is_chased_all_the_way() {
        let (rate, hop, len) = (16_000.0, 160, 640);
        let cents = |s: f64| 200.0 * s;
        let mut phase = 0.0;
        let sound: Vec<f32> = (0..16_000)
            .map(|n| {
                phase += std::f64::consts::TAU * 300.0 * (cents(f64::from(n) / rate) / 1200.0).exp2() / rate;
                (phase.sin() + 0.5 * (2.0 * phase).sin() + 0.3 * (3.0 * phase).sin()) as f32
            })
            .collect();
        let window: Vec<f32> = (0..len)
            .map(|n| {
                let turn = (n as f32 + 0.5) / len as f32;
                (0.5 - 0.5 * (std::f32::consts::TAU * turn).cos()) * 4.0 / len as f32
            })
            .collect();
        let mut chase = Chase::new(len);
        chase.begin(300.0);
        let all = View::len(len, hop);
        for end in (all..sound.len()).step_by(4 * hop) {
            let view = View {
                sound: &sound[end - all..end],
                window: &window,
                hop,
                rate,
                noise: 0.0,
            };
            let (fitted, _) = chase.look(view).expect("found");
            let truth = cents((end - all / 2) as f64 / rate);
            let error = 1200.0 * (fitted.hz / 300.0).log2() - truth;
            assert!(error.abs() < 2.0, "{error} cents at {truth}");
        }
    }
}
