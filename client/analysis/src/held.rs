//! A held tone: the A that an oboe gives, or a violin, an organ, a piano or a fork, in a room with other sound.
//!
//! Four times a second the last second is looked at: the pitch whose partials stand out most from what is beside them, in
//! the half octave around the note that is expected, and then where the lowest of these partials lie exactly.
//! The answer is the middle of the last looks, and how far these lie apart tells how steady the tone was.
//! Method: Hann window, and of each partial the middle of its power, which vibrato leaves where it is.

use std::sync::Arc;

use consort_proto::{Cents, Hz, SampleRate};
use consort_transform::{Complex, RealToComplex};

/// Listens for a held tone near one note.
pub struct HeldTone {
    rate: f64,
    expected: Hz,
    /// The newest second, oldest first from `at` on.
    ring: Vec<f32>,
    at: usize,
    filled: usize,
    until_look: usize,
    fft: Arc<dyn RealToComplex<f64>>,
    windowed: Vec<f64>,
    spectrum: Vec<Complex<f64>>,
    scratch: Vec<Complex<f64>>,
    power: Vec<f64>,
    around: Vec<f64>,
    /// The newest looks, oldest first: where the tone was, if there was one.
    looks: [Option<f64>; LOOKS],
    sorted: Vec<f64>,
}

impl std::fmt::Debug for HeldTone {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("HeldTone")
            .field("expected", &self.expected)
            .finish_non_exhaustive()
    }
}

/// What is held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Held {
    /// No tone stands out, or it has not been held for long enough.
    Nothing,
    /// A tone is held, but it lies further than a quarter tone from the note that was expected.
    Elsewhere(Hz),
    /// The note.
    Tone {
        /// Its pitch over the last seconds: of its lowest partial.
        hz: Hz,
        /// How uncertain that is, one standard deviation.
        sigma: Cents,
        /// How far single looks lie from it, one standard deviation: how steadily it was held.
        wavers: Cents,
    },
}

/// A look is this long, seconds, and comes so often in a second.
const LOOK_S: f64 = 1.0;
const LOOKS_PER_S: f64 = 4.0;
/// Looks that are kept, and those that at least must have found the tone: three seconds, and one and a half.
const LOOKS: usize = 12;
const FOUND_MIN: usize = 6;
/// The spectrum is drawn this much finer than the look's length asks for, so that the middle of a partial is met.
const FINER: usize = 2;
/// Pitches that are looked through: half an octave either way, in steps of this many cents.
const SEARCH_CENTS: i32 = 600;
const STEP_CENTS: usize = 2;
/// Partials that a pitch is judged by; higher ones lie among those of other pitches.
const PARTIALS: usize = 6;
/// Partials of which the pitch is made.
const MEASURED: usize = 3;
/// Power beside a partial is taken from this far on either side, hertz, and not from within the partial's own width.
const BESIDE_HZ: f64 = 60.0;
const OWN_WIDTH_HZ: f64 = 4.0;
/// A partial stands out when it has this many times the power of what lies beside it: 15 dB.
const STANDS_OUT: f64 = 30.0;
/// What has less than this many times the power beside it does not belong to a partial.
const BELONGS: f64 = 10.0;
/// Vibrato swings the first partial by so much, hertz, either way, and the second by twice that: more than 30 cents.
const VIBRATO_HZ: f64 = 10.0;
/// Rounds in which the middle of a partial is found.
const TIMES: usize = 3;
/// No partial counts for more than this, natural logarithm of the ratio: one loud one is no tone of many.
const COUNTS_MOST: f64 = 7.0;
/// Beyond that it still tells this share, so that of two pitches within its width the nearer one is better.
const TELLS: f64 = 0.02;
/// Looks further than this from the middle one are another tone's, cents: a wide vibrato swings by half of it.
const SAME_TONE: Cents = Cents(50.0);
/// A tone that lies further than this from the note is another note, cents.
const THE_NOTE: Cents = Cents(50.0);
/// Looks overlap; so many of them count as one when the doubt is worked out.
const LOOKS_IN_ONE: f64 = LOOK_S * LOOKS_PER_S;
/// Doubt that remains however steady the tone (measured on exact tones).
const SIGMA_FLOOR: Cents = Cents(0.05);

impl HeldTone {
    /// Listens at `rate` for a tone near `expected`.
    pub fn new(rate: SampleRate, expected: Hz) -> Self {
        let rate = f64::from(rate.get());
        let length = (LOOK_S * rate) as usize;
        let size = (length * FINER).next_power_of_two();
        let fft = consort_transform::double(size);
        let bins = size / 2 + 1;
        Self {
            rate,
            expected,
            ring: vec![0.0; length],
            at: 0,
            filled: 0,
            until_look: length,
            windowed: vec![0.0; size],
            spectrum: vec![Complex::default(); bins],
            scratch: fft.make_scratch_vec(),
            power: vec![0.0; bins],
            around: Vec::with_capacity(bins),
            looks: [None; LOOKS],
            sorted: Vec::with_capacity(LOOKS),
            fft,
        }
    }

    /// Takes in samples; what is no number counts as silence.
    pub fn push(&mut self, samples: &[f32]) {
        for &sample in samples {
            self.ring[self.at] = if sample.is_finite() {
                sample.clamp(-8.0, 8.0)
            } else {
                0.0
            };
            self.at = (self.at + 1) % self.ring.len();
            self.filled = (self.filled + 1).min(self.ring.len());
            self.until_look -= 1;
            if self.until_look == 0 {
                self.until_look = (self.rate / LOOKS_PER_S) as usize;
                self.look();
            }
        }
    }

    /// What has been held over the last seconds.
    pub fn held(&mut self) -> Held {
        self.sorted.clear();
        self.sorted.extend(self.looks.iter().flatten());
        self.sorted.sort_by(f64::total_cmp);
        if self.sorted.len() < FOUND_MIN {
            return Held::Nothing;
        }
        let middle = self.sorted[self.sorted.len() / 2];
        let beside = |hz: f64| 1200.0 * (hz / middle).log2();
        self.sorted.retain(|hz| Cents(beside(*hz)).is_within(SAME_TONE));
        if self.sorted.len() < FOUND_MIN {
            return Held::Nothing;
        }
        let count = self.sorted.len() as f64;
        let mean = self.sorted.iter().map(|hz| beside(*hz)).sum::<f64>() / count;
        let spread = self.sorted.iter().map(|hz| (beside(*hz) - mean).powi(2)).sum::<f64>() / (count - 1.0);
        let wavers = spread.sqrt();
        let Ok(hz) = Hz::new(middle * (mean / 1200.0).exp2()) else {
            return Held::Nothing;
        };
        if !hz.cents_above(self.expected).is_within(THE_NOTE) {
            return Held::Elsewhere(hz);
        }
        let independent = (count / LOOKS_IN_ONE).max(1.0);
        Held::Tone {
            hz,
            sigma: Cents((wavers / independent.sqrt()).hypot(SIGMA_FLOOR.0)),
            wavers: Cents(wavers),
        }
    }

    fn look(&mut self) {
        let length = self.ring.len();
        self.windowed.fill(0.0);
        for (n, into) in self.windowed.iter_mut().take(length).enumerate() {
            let hann = 0.5 - 0.5 * (std::f64::consts::TAU * n as f64 / length as f64).cos();
            *into = hann * f64::from(self.ring[(self.at + n) % length]);
        }
        let done = self
            .fft
            .process_with_scratch(&mut self.windowed, &mut self.spectrum, &mut self.scratch);
        let found = done.ok().and_then(|()| {
            for (power, bin) in self.power.iter_mut().zip(&self.spectrum) {
                *power = bin.norm_sqr();
            }
            self.loudest_pitch().and_then(|hz| self.measure(hz))
        });
        self.looks.rotate_left(1);
        self.looks[LOOKS - 1] = found;
    }

    /// The pitch whose partials stand out most; none where its lowest do not.
    fn loudest_pitch(&mut self) -> Option<f64> {
        let mut best: Option<(f64, f64)> = None;
        for cents in (-SEARCH_CENTS..=SEARCH_CENTS).step_by(STEP_CENTS) {
            let hz = self.expected.get() * (f64::from(cents) / 1200.0).exp2();
            let sum: f64 = (1..=PARTIALS)
                .map(|partial| {
                    let ratio = self.stands_out(hz * partial as f64).ln().max(0.0);
                    ratio.min(COUNTS_MOST) + TELLS * ratio
                })
                .sum();
            if best.is_none_or(|(most, _)| sum > most) {
                best = Some((sum, hz));
            }
        }
        let (_, hz) = best?;
        (1..=2)
            .any(|partial| self.stands_out(hz * f64::from(partial)) > STANDS_OUT)
            .then_some(hz)
    }

    /// The exact pitch near `hz`, from its lowest partials: each counts by how far it stands out, and the lower the more,
    /// since stiff strings draw the higher ones up.
    fn measure(&mut self, hz: f64) -> Option<f64> {
        let (mut sum, mut weights) = (0.0, 0.0);
        for partial in 1..=MEASURED {
            let number = partial as f64;
            let ratio = self.stands_out(hz * number);
            if ratio < STANDS_OUT {
                continue;
            }
            let floor = self.power_at(hz * number) / ratio;
            let Some(at) = self.middle_near(hz * number, number, floor) else {
                continue;
            };
            let weight = ratio.min(1e3) / number.powi(2);
            sum += weight * at / number;
            weights += weight;
        }
        (weights > 0.0).then(|| sum / weights)
    }

    /// How many times the power beside it the spectrum has at `hz`.
    fn stands_out(&mut self, hz: f64) -> f64 {
        let bin_hz = self.bin_hz();
        let at = (hz / bin_hz).round() as usize;
        let (own, beside) = ((OWN_WIDTH_HZ / bin_hz) as usize, (BESIDE_HZ / bin_hz) as usize);
        if at <= own || at + own >= self.power.len() {
            return 1.0;
        }
        let below = at.saturating_sub(beside)..at - own;
        let above = at + own..(at + beside).min(self.power.len());
        self.around.clear();
        self.around.extend_from_slice(&self.power[below]);
        self.around.extend_from_slice(&self.power[above]);
        let middle = self.around.len() / 2;
        let (_, floor, _) = self.around.select_nth_unstable_by(middle, f64::total_cmp);
        let floor = floor.max(f64::MIN_POSITIVE);
        self.power_at(hz) / floor
    }

    /// The most of the three bins around `hz`.
    fn power_at(&self, hz: f64) -> f64 {
        let at = (hz / self.bin_hz()).round() as usize;
        let bins = at.saturating_sub(1)..(at + 2).min(self.power.len());
        self.power[bins].iter().fold(0.0, |most, power| f64::max(most, *power))
    }

    /// Where the partial near `hz` lies, hertz: the middle of the power that stands out there.
    ///
    /// Vibrato spreads a partial evenly to both sides, so that its middle stays where the tone is.
    fn middle_near(&self, hz: f64, partial: f64, floor: f64) -> Option<f64> {
        let bin_hz = self.bin_hz();
        let reach = ((VIBRATO_HZ * partial).max(OWN_WIDTH_HZ) / bin_hz) as usize;
        let mut middle = hz;
        for _ in 0..TIMES {
            let at = (middle / bin_hz).round() as usize;
            let bins = at.checked_sub(reach).filter(|from| *from > 0)?..(at + reach + 1).min(self.power.len());
            let (mut sum, mut weights) = (0.0, 0.0);
            for (bin, power) in bins.clone().zip(&self.power[bins]) {
                let weight = (power - BELONGS * floor).max(0.0);
                sum += weight * bin as f64;
                weights += weight;
            }
            if weights == 0.0 {
                return None;
            }
            middle = sum / weights * bin_hz;
        }
        Some(middle)
    }

    fn bin_hz(&self) -> f64 {
        self.rate / self.windowed.len() as f64
    }
}
