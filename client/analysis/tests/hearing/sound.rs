//! Sounds to listen to: stiff damped strings, noise, tones.

use std::f64::consts::{PI, TAU};

/// A plucked string, partial by partial.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pluck {
    /// Frequency of the first partial, hertz.
    pub(crate) hz: f64,
    /// B of fₙ = n·f₀·√(1 + B·n²).
    pub(crate) stiffness: f64,
    /// Peak amplitude of the first partial, full scale 1.
    pub(crate) amplitude: f64,
    /// When it is plucked, seconds.
    pub(crate) at_s: f64,
    /// Where it is plucked, as a share of its length.
    pub(crate) place: f64,
    /// By how much the first partial is weaker than the string would make it, decibels.
    pub(crate) first_weaker_db: f64,
}

impl Pluck {
    pub(crate) fn new(hz: f64) -> Self {
        Self {
            hz,
            stiffness: 1e-4,
            amplitude: 0.2,
            at_s: 0.3,
            place: 0.4,
            first_weaker_db: 0.0,
        }
    }

    /// Its partials, from the first: frequency in hertz, amplitude, and the time in which it falls to 1/e in seconds.
    ///
    /// Partial n has the amplitude sin(n·π·place)/n of a string let go from a corner, and dies away with a loss factor of
    /// 0.001 that grows with n.
    pub(crate) fn partials(&self, rate: u32) -> Vec<(f64, f64, f64)> {
        let mut partials = Vec::new();
        for n in 1..=40_u32 {
            let order = f64::from(n);
            let ratio = ((1.0 + self.stiffness * order * order) / (1.0 + self.stiffness)).sqrt();
            let hz = self.hz * order * ratio;
            if hz > (0.45 * f64::from(rate)).min(9000.0) {
                break;
            }
            let weaker = if n == 1 {
                10.0_f64.powf(-self.first_weaker_db / 20.0)
            } else {
                1.0
            };
            let shape = (order * PI * self.place).sin() / order / (PI * self.place).sin();
            let decay_s = (1.0 / (PI * self.hz * 0.001)).min(2.5) / (1.0 + 0.15 * (order - 1.0));
            partials.push((hz, self.amplitude * shape * weaker, decay_s));
        }
        partials
    }

    /// Adds the string to `sound`; the attack takes half a millisecond.
    pub(crate) fn play(&self, sound: &mut [f32], rate: u32) {
        let start = (self.at_s * f64::from(rate)) as usize;
        for (order, (hz, amplitude, decay_s)) in (1_u32..).map(f64::from).zip(self.partials(rate)) {
            for (m, sample) in sound.iter_mut().enumerate().skip(start) {
                let t = m as f64 / f64::from(rate) - self.at_s;
                let attack = (t / 0.0005).min(1.0);
                *sample += (amplitude * attack * (-t / decay_s).exp() * (TAU * hz * t + 0.7 * order).sin()) as f32;
            }
        }
    }

    /// The string alone, in `seconds` of sound.
    pub(crate) fn alone(&self, seconds: f64, rate: u32) -> Vec<f32> {
        let mut sound = silence(seconds, rate);
        self.play(&mut sound, rate);
        sound
    }
}

pub(crate) fn silence(seconds: f64, rate: u32) -> Vec<f32> {
    vec![0.0; (seconds * f64::from(rate)) as usize]
}

/// Adds white noise of this root mean square.
pub(crate) fn add_noise(sound: &mut [f32], rms: f64, seed: u64) {
    let mut noise = Noise(seed);
    for sample in sound {
        // Uniform in ±1 has a root mean square of 1/√3.
        *sample += (rms * 3.0_f64.sqrt() * noise.next()) as f32;
    }
}

/// Adds a steady tone.
pub(crate) fn add_tone(sound: &mut [f32], rate: u32, hz: f64, amplitude: f64) {
    for (n, sample) in sound.iter_mut().enumerate() {
        *sample += (amplitude * (TAU * hz * n as f64 / f64::from(rate)).sin()) as f32;
    }
}

/// Uniform numbers in ±1.
///
/// Source: G. Marsaglia, "Xorshift RNGs", Journal of Statistical Software 8 (2003) 14.
pub(crate) struct Noise(pub(crate) u64);

impl Noise {
    pub(crate) fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}
