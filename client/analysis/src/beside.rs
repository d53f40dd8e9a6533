//! What sounds beside the partials of a note just now: as much of it lies on them, and is taken for the string once that has
//! faded.

use consort_transform::Complex;

use crate::decimate::dot;
use crate::partials::{FOLLOWED_MAX, Followed};

/// So many partials have a look beside them; those above are taken to have what the last of these has.
const LOOKED_AT: usize = 5;
/// The power of noise on one spot comes and goes: this share of what is shown is the newest look.
const NEWEST: f64 = 0.5;
/// The lesser of two equal noises is half of each in the mean; it is taken since another string may ring on one side.
const OF_THE_LESSER: f64 = 2.0;

/// What a frame of half the length lets through of a noise, beside what is let through here: twice the band, and a window of
/// Hann (1.50 bins of noise) in the place of Blackman's (1.73), by which strong partials are seen less from between them.
const OF_A_FRAME: f64 = 2.0 * 1.50 / 1.73;

/// Mean square amplitudes between the partials of one note.
#[derive(Debug)]
pub(crate) struct Beside {
    power: [f64; FOLLOWED_MAX],
    /// How many of them are known.
    count: usize,
    window: Vec<f32>,
    cosines: Vec<f32>,
    sines: Vec<f32>,
}

impl Beside {
    /// Looks at stretches of up to `len_max` samples.
    pub(crate) fn new(len_max: usize) -> Self {
        let empty = || Vec::with_capacity(len_max);
        Self {
            power: [0.0; FOLLOWED_MAX],
            count: 0,
            window: empty(),
            cosines: empty(),
            sines: empty(),
        }
    }

    /// Other partials are followed from now on.
    pub(crate) const fn begin(&mut self) {
        self.count = 0;
    }

    /// Looks at `sound`, the newest of the note, twice as long as its frames so that the partials themselves are not seen
    /// half-way between them; `rate` in samples a second. Never allocates.
    pub(crate) fn look(&mut self, followed: &[Followed], sound: &[f32], rate: f64) {
        let count = followed.len().min(LOOKED_AT);
        if self.window.len() != sound.len() {
            let len = sound.len() as f32;
            self.window.clear();
            self.window.extend((0..sound.len()).map(|n| {
                let turn = std::f32::consts::TAU * (n as f32 + 0.5) / len;
                (0.42 - 0.5 * turn.cos() + 0.08 * (2.0 * turn).cos()) * 2.0 / (0.42 * len)
            }));
        }
        let mut looks = [0.0; LOOKED_AT];
        for (look, partial) in looks.iter_mut().zip(followed) {
            let hz = partial.hz;
            let half = 0.5 * hz / partial.n as f64;
            let below = self.power_at(hz - half, sound, rate);
            let above = self.power_at(hz + half, sound, rate);
            *look = OF_A_FRAME * OF_THE_LESSER * below.min(above);
        }
        for at in 0..count {
            let near = &looks[at.saturating_sub(1)..(at + 2).min(count)];
            let now = near.iter().sum::<f64>() / near.len() as f64;
            self.power[at] = if at < self.count {
                (1.0 - NEWEST) * self.power[at] + NEWEST * now
            } else {
                now
            };
        }
        self.count = count;
    }

    /// What is beside the partial at this place; `None` before the first look.
    pub(crate) fn of(&self, at: usize) -> Option<f64> {
        Some(self.power[at.min(self.count.checked_sub(1)?)])
    }

    fn power_at(&mut self, hz: f64, sound: &[f32], rate: f64) -> f64 {
        let (turn, mut z) = (
            Complex::from_polar(1.0, std::f64::consts::TAU * hz / rate),
            Complex::new(1.0, 0.0),
        );
        self.cosines.clear();
        self.sines.clear();
        for window in &self.window {
            self.cosines.push(z.re as f32 * window);
            self.sines.push(z.im as f32 * window);
            z *= turn;
        }
        f64::from(dot(sound, &self.cosines)).powi(2) + f64::from(dot(sound, &self.sines)).powi(2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: f64 = 16_000.0;

    fn look(sound: &[f32]) -> Beside {
        let followed: Vec<Followed> = (1..=4)
            .map(|n| Followed {
                n,
                hz: 200.0 * n as f64,
                before: 0.0,
            })
            .collect();
        let mut beside = Beside::new(sound.len());
        beside.look(&followed, sound, RATE);
        beside
    }

    fn tone(hz: f64) -> Vec<f32> {
        (0..1_280)
            .map(|n| (std::f64::consts::TAU * hz * f64::from(n) / RATE).cos() as f32)
            .collect()
    }

    #[test]
    fn a_string_alone_has_nothing_beside_it() {
        let partials = [200.0, 400.0, 600.0, 800.0].map(tone);
        let sound: Vec<f32> = (0..1_280).map(|n| partials.iter().map(|tone| tone[n]).sum()).collect();
        let beside = look(&sound);
        assert!((0..4).all(|at| beside.of(at) < Some(1e-6)), "{beside:?}");
    }

    #[test]
    fn another_string_on_one_side_is_not_beside_it_and_noise_is() {
        assert!(look(&tone(300.0)).of(3) < Some(1e-6));
        // A sequence that looks like chance: variance 1/12, of which a frame of 640 samples lets 6/640 through.
        let mut seed = 1_u32;
        let noise: Vec<f32> = std::iter::repeat_with(|| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 8) as f32 / (1 << 24) as f32 - 0.5
        })
        .take(1_280)
        .collect();
        let beside = look(&noise);
        let mean = (0..4).map(|at| beside.of(at).expect("a look")).sum::<f64>() / 4.0;
        let expected = 6.0 / 640.0 / 12.0;
        assert!((0.2..5.0).contains(&(mean / expected)), "{mean} of {expected}");
    }
}
