//! What a string sounds like over one or more tunings: its partials against the law of a stiff string, its beating, its
//! decay.

use consort_proto::Hz;

use crate::entry::Timbre;
use crate::likely::CENTS_PER_LN;

/// The highest partial that is looked at.
pub(crate) const PARTIAL_MAX: u8 = 8;
/// How many partials that is, from the second on.
pub(crate) const PARTIALS: usize = PARTIAL_MAX as usize - 1;

/// Sums over plucks, so that tunings add up.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Sound {
    /// Weight and weighted sum of each partial's distance from that many times the first; weights are 1/cents².
    partials: [(f64, f64); PARTIALS],
    plucks: f64,
    /// Beating in cents, how often it was heard.
    beat: (f64, f64),
    /// Natural logarithm of the decay in seconds.
    decay: (f64, f64),
    /// Decibels.
    bright: (f64, f64),
}

/// A pluck's partials are uncertain by at least this, cents: what a station states may be too good.
const SIGMA_MIN: f64 = 0.15;

impl Sound {
    /// The sound of `timbres` of a string at `hz`.
    pub(crate) fn of(timbres: &[Timbre], hz: Hz) -> Self {
        let mut sound = Self::default();
        for timbre in timbres {
            sound.plucks += 1.0;
            for partial in &timbre.partials {
                let place = usize::from(partial.number).wrapping_sub(2);
                if let Some(sums) = sound.partials.get_mut(place) {
                    let weight = 1.0 / (partial.sigma.0.powi(2) + SIGMA_MIN * SIGMA_MIN);
                    sums.0 += weight;
                    sums.1 += weight * partial.above.0;
                }
            }
            if let Some(beat_hz) = timbre.beat_hz {
                sound.beat.0 += CENTS_PER_LN * beat_hz / hz.get();
                sound.beat.1 += 1.0;
            }
            if let Some(decay_s) = timbre.decay_s.filter(|&decay_s| decay_s > 0.0) {
                sound.decay.0 += decay_s.ln();
                sound.decay.1 += 1.0;
            }
            if let Some(db) = timbre.brightness_db {
                sound.bright.0 += db;
                sound.bright.1 += 1.0;
            }
        }
        sound
    }

    /// Adds another tuning's plucks.
    pub(crate) fn add(&mut self, other: &Self) {
        for (sums, more) in self.partials.iter_mut().zip(&other.partials) {
            sums.0 += more.0;
            sums.1 += more.1;
        }
        self.plucks += other.plucks;
        for (sums, more) in [
            (&mut self.beat, other.beat),
            (&mut self.decay, other.decay),
            (&mut self.bright, other.bright),
        ] {
            sums.0 += more.0;
            sums.1 += more.1;
        }
    }

    /// The sound of several tunings.
    pub(crate) fn over<'a>(sounds: impl Iterator<Item = &'a Self>) -> Self {
        sounds.fold(Self::default(), |mut all, sound| {
            all.add(sound);
            all
        })
    }

    pub(crate) const fn is_silent(&self) -> bool {
        self.plucks == 0.0
    }

    pub(crate) const fn plucks(&self) -> f64 {
        self.plucks
    }

    /// Distance of partial `place + 2` from that many times the first, cents, and its variance.
    pub(crate) fn partial(&self, place: usize) -> Option<(f64, f64)> {
        let (weight, sum) = self.partials[place];
        (weight > 0.0).then(|| (sum / weight, 1.0 / weight))
    }

    /// Beating in cents, if at least half of the plucks beat.
    pub(crate) fn beat_cents(&self) -> Option<f64> {
        (self.beat.1 * 2.0 >= self.plucks && self.beat.1 > 0.0).then(|| self.beat.0 / self.beat.1)
    }

    /// Natural logarithm of the decay in seconds.
    pub(crate) fn ln_decay(&self) -> Option<f64> {
        (self.decay.1 > 0.0).then(|| self.decay.0 / self.decay.1)
    }

    /// Brightness in decibels.
    pub(crate) fn bright_db(&self) -> Option<f64> {
        (self.bright.1 > 0.0).then(|| self.bright.0 / self.bright.1)
    }

    /// Natural logarithm of the inharmonicity that fits the partials best, near `expected`, and its variance.
    pub(crate) fn ln_stiffness(&self, expected: f64, off_law: f64) -> Option<(f64, f64)> {
        let mut ln_b = expected;
        let mut precision = 0.0;
        for _ in 0..4 {
            let (mut score, mut information) = (0.0, 0.0);
            for place in 0..PARTIALS {
                if let Some((above, variance)) = self.partial(place) {
                    let law = law_cents(place, ln_b);
                    let weight = 1.0 / (variance + 2.0 * off_law * off_law);
                    score += weight * law * (above - law);
                    information += weight * law * law;
                }
            }
            if information <= 0.0 {
                return None;
            }
            // Where partials say little, the expected value holds.
            precision = information + 1.0 / (LN_STIFFNESS_WIDE * LN_STIFFNESS_WIDE);
            let pull = (expected - ln_b) / (LN_STIFFNESS_WIDE * LN_STIFFNESS_WIDE);
            ln_b += ((score + pull) / precision).clamp(-0.7, 0.7);
        }
        Some((ln_b, 1.0 / precision))
    }
}

/// Stiffness may lie this far from what is expected before anything is known of a harp: a factor of e either way.
const LN_STIFFNESS_WIDE: f64 = 1.0;

/// How far partial `place + 2` of a string with inharmonicity e^`ln_b` lies above that many times the first, cents.
///
/// fₙ = n·f₀·√(1 + B·n²) (H. Fletcher, JASA 36, 1964, 203–209).
pub(crate) fn law_cents(place: usize, ln_b: f64) -> f64 {
    let (n, b) = ((place + 2) as f64, ln_b.exp());
    CENTS_PER_LN * 0.5 * ((b * (n * n - 1.0)) / (1.0 + b)).ln_1p()
}

/// Inharmonicity to expect at `hz` before anything is known of the harp, as a natural logarithm: nominal dimensions of
/// concert harp strings.
pub(crate) fn ln_usual_stiffness(hz: f64) -> f64 {
    const LINES: [(f64, f64); 5] = [
        (30.0, 1e-4),
        (120.0, 1e-4),
        (500.0, 1.2e-4),
        (1000.0, 2.2e-4),
        (3000.0, 1.5e-3),
    ];
    let mut below = LINES[0];
    for above in LINES {
        if hz < above.0 && above.0 > below.0 {
            let share = ((hz / below.0).ln() / (above.0 / below.0).ln()).clamp(0.0, 1.0);
            return f64::ln(below.1) * (1.0 - share) + f64::ln(above.1) * share;
        }
        below = above;
    }
    f64::ln(below.1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::Partial;
    use consort_proto::Cents;

    /// 1200·log2 √((1 + B·n²)/(1 + B)) for B = 0.001 and n = 4 is 12.8751 cents.
    #[test]
    fn the_law_of_the_stiff_string() {
        assert!((law_cents(2, 0.001_f64.ln()) - 12.8751).abs() < 5e-4);
    }

    #[test]
    fn stiffness_is_read_from_partials() {
        let ln_b = 2.5e-4_f64.ln();
        let partials = (2..=8)
            .map(|number| Partial {
                number,
                above: Cents(law_cents(usize::from(number) - 2, ln_b)),
                sigma: Cents(0.1),
            })
            .collect();
        let timbre = Timbre {
            partials,
            ..Timbre::default()
        };
        let sound = Sound::of(&[timbre], Hz::new(300.0).expect("a pitch"));
        let (found, _) = sound.ln_stiffness(1e-4_f64.ln(), 0.1).expect("a stiffness");
        assert!((found - ln_b).abs() < 0.05, "{}", found.exp());
    }
}
