//! Sound brought down to zero along the way that a string is expected to take, and smoothed into blocks: over three periods of
//! the string, which silences its other partials and those of strings nearby.

use consort_transform::Complex;

use crate::fit::CENT;
use crate::trend::Way;
use crate::window::hann_into;

/// At most so many blocks, whole periods apart and this many times as long.
pub(super) const BLOCKS: usize = 32;
pub(super) const BLOCKS_MIN: usize = 4;
pub(super) const LONG: usize = 3;

/// Blocks of one tone after the other.
#[derive(Debug, Default)]
pub(super) struct Blocks {
    blocks: Vec<Complex<f64>>,
    /// How many there are of each tone, and seconds from one to the next.
    count: usize,
    apart_s: f64,
    /// One tone brought down, and the window of a block.
    down: Vec<Complex<f64>>,
    window: Vec<f32>,
}

/// The sound of one look.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sound<'a> {
    pub(super) samples: &'a [f32],
    /// Samples in a second.
    pub(super) rate: f64,
    /// The way that the string is expected to take, told for the middle of the sound.
    pub(super) way: Way,
}

impl Blocks {
    /// Blocks of up to so many tones, in sound of up to `len_max` samples.
    pub(super) fn new(tones: usize, len_max: usize) -> Self {
        Self {
            blocks: Vec::with_capacity(tones * BLOCKS),
            down: Vec::with_capacity(len_max),
            window: Vec::with_capacity(len_max),
            ..Self::default()
        }
    }

    /// Begins anew with another sound; how many blocks each tone will have, `None` where these are too few to see a string by.
    pub(super) fn begin(&mut self, sound: Sound<'_>) -> Option<usize> {
        let hz = sound.way.hz;
        let periods = hz * sound.samples.len() as f64 / sound.rate;
        let apart = (periods / BLOCKS as f64).ceil();
        self.apart_s = apart / hz;
        self.count = ((periods / apart) as usize).checked_sub(LONG - 1)?;
        self.blocks.clear();
        if self.count < BLOCKS_MIN {
            return None;
        }
        let long = (LONG as f64 * self.apart_s * sound.rate) as usize;
        hann_into(&mut self.window, long.min(sound.samples.len()));
        Some(self.count)
    }

    /// Adds the blocks of a tone that lies `ratio` times as high as the string's first partial.
    pub(super) fn add(&mut self, sound: Sound<'_>, ratio: f64) {
        let Sound { samples, rate, way } = sound;
        let middle = 0.5 * samples.len() as f64 - 0.5;
        let turn = std::f64::consts::TAU * way.hz * ratio / rate;
        // Turns by `turn` a sample in the middle, and faster by `faster` from each sample to the next.
        let faster = turn * way.speed * CENT / rate;
        let mut step = Complex::from_polar(1.0, -(turn - faster * middle));
        let grow = Complex::from_polar(1.0, -faster);
        let mut z = Complex::new(1.0, 0.0);
        self.down.clear();
        for x in samples {
            self.down.push(z * f64::from(*x));
            z *= step;
            step *= grow;
        }
        let (len, hop) = (self.window.len(), self.apart_s * rate);
        let first = middle - 0.5 * (hop * (self.count as f64 - 1.0) + len as f64 - 1.0);
        for block in 0..self.count {
            let from = ((first + hop * block as f64).round().max(0.0) as usize).min(samples.len() - len);
            let own = &self.down[from..from + len];
            let sum: Complex<f64> = own.iter().zip(&self.window).map(|(z, w)| z * f64::from(*w)).sum();
            // The window's mean is one half, and a tone's amplitude twice what is brought down.
            self.blocks.push(sum * (4.0 / len as f64));
        }
    }

    /// The blocks of the tone that was added as number `at`, from zero.
    pub(super) fn of(&self, at: usize) -> &[Complex<f64>] {
        &self.blocks[at * self.count..(at + 1) * self.count]
    }

    /// Seconds from one block to the next.
    pub(super) const fn apart_s(&self) -> f64 {
        self.apart_s
    }

    /// How many times the whole look is as long as one block.
    pub(super) fn in_a_look(&self) -> f64 {
        (self.count + LONG - 1) as f64 / LONG as f64
    }
}

/// Weights of so many blocks, one in all: a sine's first half wave, which tells places apart better than Hann's square of it.
pub(super) fn sine(count: usize) -> [f64; BLOCKS] {
    weights(count, f64::sin)
}

/// Hann's, under which what lies further aside is seen less.
pub(super) fn hann(count: usize) -> [f64; BLOCKS] {
    weights(count, |turn| turn.sin().powi(2))
}

fn weights(count: usize, of: impl Fn(f64) -> f64) -> [f64; BLOCKS] {
    let mut weights = [0.0; BLOCKS];
    for (at, weight) in weights.iter_mut().enumerate().take(count) {
        *weight = of(std::f64::consts::PI * (at as f64 + 0.5) / count as f64);
    }
    let sum: f64 = weights.iter().sum();
    weights.map(|weight| weight / sum)
}
