//! A bank of decaying oscillators: the lines that one string sounds with.

use std::f64::consts::TAU;

/// Samples that are rendered between two looks at the pitch.
pub(crate) const TICK: usize = 64;
/// Oscillators that are turned side by side, so that the compiler can use vector instructions.
pub(crate) const WIDTH: usize = 8;
/// An oscillator below this amplitude is taken out: −120 dB of full scale.
const INAUDIBLE: f32 = 1e-6;
/// A pitch that has moved by less than this ratio is left: 0.002 cents.
const BEND_STEP: f64 = 1.2e-6;

/// Sums of [`WIDTH`] lanes, one per sample of a tick; folded into sound once for all banks.
pub(crate) type Lanes = [[f32; WIDTH]; TICK];

/// One line: frequency, decay, and where it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Line {
    /// Hertz, before the bank's pitch is applied.
    pub(crate) hz: f64,
    /// Time in which its amplitude falls to 1/e, seconds.
    pub(crate) decay_s: f64,
    /// Real part of where it stands; sounds as the imaginary part.
    pub(crate) re: f64,
    /// Imaginary part.
    pub(crate) im: f64,
}

/// Lines that bend together.
#[derive(Clone, Debug, Default)]
pub(crate) struct Bank {
    re: Vec<f32>,
    im: Vec<f32>,
    c: Vec<f32>,
    s: Vec<f32>,
    /// Radians per sample at pitch 1.
    step: Vec<f64>,
    /// Natural logarithm of the decay in one sample.
    fade: Vec<f64>,
    /// The pitch that the coefficients hold.
    bend: f64,
    /// Further decay by a hand on the string, natural logarithm per sample.
    hand: f64,
    stale: bool,
}

impl Bank {
    /// Adds a line at `rate` samples per second; one above four tenths of the rate cannot be held and is left out.
    pub(crate) fn add(&mut self, line: Line, rate: f64) {
        let step = TAU * line.hz / rate;
        if line.hz >= 0.4 * rate {
            return;
        }
        self.unpad();
        self.re.push(line.re as f32);
        self.im.push(line.im as f32);
        self.step.push(step);
        self.fade.push(-1.0 / (line.decay_s * rate));
        self.stale = true;
    }

    /// Whether nothing sounds.
    pub(crate) fn is_silent(&self) -> bool {
        self.step.is_empty()
    }

    /// A hand lies on the string: its lines fall to 1/e in `decay_s` from now on; new lines wait for [`Self::release`].
    pub(crate) fn damp(&mut self, decay_s: f64, rate: f64) {
        self.hand = -1.0 / (decay_s * rate);
        self.stale = true;
    }

    /// The hand is gone.
    pub(crate) fn release(&mut self) {
        if self.hand != 0.0 {
            self.hand = 0.0;
            self.stale = true;
        }
    }

    /// Brings each line back to its amplitude in `levels`: lines that last for ever would drift by rounding.
    pub(crate) fn steady(&mut self, levels: &[f32]) {
        for ((re, im), level) in self.re.iter_mut().zip(&mut self.im).zip(levels) {
            let back = level / re.hypot(*im);
            *re *= back;
            *im *= back;
        }
    }

    /// Adds `count` samples (at most [`TICK`]) at pitch `bend`, a ratio, to `lanes`.
    pub(crate) fn render(&mut self, lanes: &mut Lanes, count: usize, bend: f64) {
        if self.is_silent() {
            return;
        }
        if self.stale || (bend / self.bend - 1.0).abs() > BEND_STEP {
            self.set(bend);
        }
        let groups = self.re.chunks_exact_mut(WIDTH).zip(self.im.chunks_exact_mut(WIDTH));
        let turns = self.c.chunks_exact(WIDTH).zip(self.s.chunks_exact(WIDTH));
        for ((re, im), (c, s)) in groups.zip(turns) {
            let (mut x, mut y) = ([0.0_f32; WIDTH], [0.0_f32; WIDTH]);
            let (mut cos, mut sin) = ([0.0_f32; WIDTH], [0.0_f32; WIDTH]);
            x.copy_from_slice(re);
            y.copy_from_slice(im);
            cos.copy_from_slice(c);
            sin.copy_from_slice(s);
            for sums in &mut lanes[..count] {
                for k in 0..WIDTH {
                    sums[k] += y[k];
                    let turned = x[k] * cos[k] - y[k] * sin[k];
                    y[k] = x[k] * sin[k] + y[k] * cos[k];
                    x[k] = turned;
                }
            }
            re.copy_from_slice(&x);
            im.copy_from_slice(&y);
        }
    }

    /// Takes out what can no longer be heard.
    pub(crate) fn prune(&mut self) {
        self.unpad();
        let mut at = 0;
        while at < self.step.len() {
            if self.re[at].hypot(self.im[at]) < INAUDIBLE {
                self.re.swap_remove(at);
                self.im.swap_remove(at);
                self.step.swap_remove(at);
                self.fade.swap_remove(at);
            } else {
                at += 1;
            }
        }
    }

    /// Takes out the silence that fills the last group.
    fn unpad(&mut self) {
        self.re.truncate(self.step.len());
        self.im.truncate(self.step.len());
        self.stale = true;
    }

    /// Sets the coefficients for pitch `bend`, and fills the last group up with silence.
    fn set(&mut self, bend: f64) {
        let padded = self.step.len().next_multiple_of(WIDTH);
        self.re.resize(padded, 0.0);
        self.im.resize(padded, 0.0);
        self.c.clear();
        self.s.clear();
        for (step, fade) in self.step.iter().zip(&self.fade) {
            let (sin, cos) = (step * bend).sin_cos();
            let held = (fade + self.hand).exp();
            self.c.push((held * cos) as f32);
            self.s.push((held * sin) as f32);
        }
        self.c.resize(padded, 0.0);
        self.s.resize(padded, 0.0);
        self.bend = bend;
        self.stale = false;
    }
}
