//! One look at a second of sound: its loudest tone near the note that is expected, and where each partial of it lies.

use consort_proto::Hz;

use crate::spectrum::Spectrum;
use crate::window::hann;

/// Partials that are measured; higher ones lie among those of other tones.
pub(super) const PARTIALS: usize = 6;

/// What one look found.
#[derive(Clone, Copy, Debug)]
pub(super) struct Look {
    /// Roughly where the tone lies, cents above the note that is expected.
    pub(super) cents: f64,
    /// Power of its two lowest partials, decibels on a scale that all looks share.
    pub(super) level_db: f64,
    /// From the first partial on.
    pub(super) partials: [Partial; PARTIALS],
}

/// One partial in one look.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Partial {
    /// Where it lies, divided by its number, cents above the note that is expected.
    pub(super) cents: f64,
    /// How uncertain that is by what lies beside it, one standard deviation squared.
    pub(super) variance: f64,
    /// Its power; nothing where it does not stand out.
    pub(super) power: f64,
}

/// Looks at sound of one length.
pub(super) struct Looker {
    rate: f64,
    expected: f64,
    window: Vec<f32>,
    spectrum: Spectrum,
    power: Vec<f32>,
    around: Vec<f32>,
    /// How loud a tone is at each pitch that is looked through.
    loud: Vec<f64>,
}

/// The spectrum is drawn this much finer than the look's length asks for, so that the middle of a partial is met.
const FINER: usize = 2;
/// Pitches that are looked through: half an octave either way, in steps of this many cents.
const SEARCH_CENTS: i32 = 600;
const STEP_CENTS: i32 = 2;
/// Partials by which the loudest is found: within half an octave no other tone shares them.
const LOWEST: usize = 2;
/// What lies further than this from the loudest tone is another one, cents: a wide vibrato still belongs to it.
const ANOTHER_CENTS: i32 = 60;
/// The tone that is given is so many times as strong as any other: 6 dB.
const ABOVE_OTHERS: f64 = 4.0;
/// Power beside a partial is taken from this far on either side, hertz, and not from within the partial's own width.
const BESIDE_HZ: f64 = 60.0;
const OWN_WIDTH_HZ: f64 = 4.0;
/// A partial stands out when it has this many times the power of what lies beside it: 15 dB.
const STANDS_OUT: f64 = 30.0;
/// The middle of a partial is first sought within so many hertz, for the first and more for each further one.
const BEGINS_HZ: f64 = 3.0;
/// What is looked through narrows to the partial's own width, between these, hertz: of a steady tone, and of one with vibrato
/// of 30 cents either way, for each partial's number.
const NARROWEST_HZ: f64 = 0.4;
const VIBRATO_HZ: f64 = 7.0;
/// Nothing further than so many hertz for each partial's number is looked at.
const REACH_HZ: f64 = 16.0;
const REACH_MOST_HZ: f64 = 50.0;
/// A middle that runs away further than this from where it was sought is another tone's, hertz for each partial's number.
const STAYS_HZ: f64 = 3.0;
/// Rounds in which the middle of a partial is found.
const ROUNDS: usize = 15;
/// Bins as wide as a look's length asks for that say the same under a Hann window, for each that is independent.
const SHARED_BINS: f64 = 1.5;
/// A middle whose weight follows it answers by half of what it is moved: its variance is four times as large.
const ANSWERS: f64 = 0.5;
/// Cents in a natural logarithm.
const CENTS: f64 = 1200.0 / std::f64::consts::LN_2;

impl Looker {
    /// Looks at stretches of `length` samples at `rate`, for a tone near `expected`.
    pub(super) fn new(rate: f64, length: usize, expected: Hz) -> Self {
        let spectrum = Spectrum::new((length * FINER).next_power_of_two());
        let bins = spectrum.bins();
        Self {
            rate,
            expected: expected.get(),
            window: hann(length),
            power: vec![0.0; bins],
            around: Vec::with_capacity(bins),
            loud: vec![0.0; (2 * SEARCH_CENTS / STEP_CENTS) as usize + 1],
            spectrum,
        }
    }

    /// What is heard in `samples`: nothing where no tone stands out, or none stands out from the others. Never allocates.
    pub(super) fn look(&mut self, samples: &[f32]) -> Option<Look> {
        self.spectrum.power(samples, &self.window, &mut self.power);
        let (cents, loud) = self.loudest()?;
        let mut partials = [Partial::default(); PARTIALS];
        for (number, partial) in (1_i32..).map(f64::from).zip(&mut partials) {
            *partial = self.partial(self.pitch(cents), number).unwrap_or_default();
        }
        Some(Look {
            cents: f64::from(cents),
            level_db: 10.0 * loud.log10(),
            partials,
        })
    }

    /// The loudest tone: where, cents, and its power.
    fn loudest(&mut self) -> Option<(i32, f64)> {
        let pitches = || (-SEARCH_CENTS..=SEARCH_CENTS).step_by(STEP_CENTS as usize);
        for (at, cents) in pitches().enumerate() {
            self.loud[at] = (1..=LOWEST)
                .map(|number| {
                    let hz = self.pitch(cents) * number as f64;
                    let power = self.most_at(hz);
                    if power > STANDS_OUT * self.beside(hz) {
                        power
                    } else {
                        0.0
                    }
                })
                .sum();
        }
        let (cents, most) = pitches()
            .zip(self.loud.iter().copied())
            .max_by(|one, other| one.1.total_cmp(&other.1))
            .filter(|(_, most)| *most > 0.0)?;
        let other = pitches()
            .zip(&self.loud)
            .filter(|(at, _)| (at - cents).abs() > ANOTHER_CENTS)
            .fold(0.0, |most, (_, loud)| f64::max(most, *loud));
        (most > ABOVE_OTHERS * other).then_some((cents, most))
    }

    /// Where partial `number` of a tone at about `hz` lies.
    ///
    /// The middle of its power under a Gaussian that takes on the partial's own place and width, so that little of what lies
    /// beside a steady partial moves it, and vibrato, which spreads power evenly to both sides, leaves it where it is.
    /// Source: G. Bernstein, M. Jarvis, "Shapes and Shears, Stars and Smears", AJ 123 (2002) 583–618, adaptive moments.
    fn partial(&mut self, hz: f64, number: f64) -> Option<Partial> {
        let sought = hz * number;
        let (bin_hz, beside) = (self.bin_hz(), self.beside(sought));
        let reach = ((REACH_HZ * number).min(REACH_MOST_HZ) / bin_hz) as usize;
        let at = (sought / bin_hz).round() as usize;
        let bins = at.checked_sub(reach).filter(|from| *from > 0)?..at + reach + 1;
        let powers = self.power.get(bins.clone())?;
        let over = || {
            bins.clone()
                .zip(powers)
                .map(|(bin, power)| (bin as f64 * bin_hz, f64::from(*power) - beside))
        };
        let (mut middle, mut width) = (sought, BEGINS_HZ * (1.0 + number));
        let mut weight = 0.0;
        for _ in 0..ROUNDS {
            let under = |hz: f64| (-0.5 * ((hz - middle) / width).powi(2)).exp();
            let sum = |of: &dyn Fn(f64) -> f64| over().map(|(hz, power)| under(hz) * power * of(hz)).sum::<f64>();
            weight = sum(&|_| 1.0);
            if weight <= 0.0 {
                return None;
            }
            let moved = sum(&|hz| hz) / weight;
            let spread = sum(&|hz| (hz - moved).powi(2)) / weight;
            // Under a Gaussian as wide as itself a partial seems to have half its spread.
            width = (2.0 * spread.max(0.0)).sqrt().clamp(NARROWEST_HZ, VIBRATO_HZ * number);
            middle = moved;
            if (middle - sought).abs() > STAYS_HZ * (1.0 + number) {
                return None;
            }
        }
        let noise = beside / std::f64::consts::LN_2;
        let shaken: f64 = over()
            .map(|(hz, power)| {
                let under = (-0.5 * ((hz - middle) / width).powi(2)).exp();
                under.powi(2) * (power.max(0.0) + noise) * noise * (hz - middle).powi(2)
            })
            .sum();
        let shared = SHARED_BINS * self.size() / self.window.len() as f64;
        let variance_hz = shaken * shared / (ANSWERS * weight).powi(2);
        Some(Partial {
            cents: CENTS * (middle / number / self.expected).ln(),
            variance: variance_hz * (CENTS / middle).powi(2),
            power: weight,
        })
    }

    /// The middle one of the powers beside `hz`.
    fn beside(&mut self, hz: f64) -> f64 {
        let bin_hz = self.bin_hz();
        let at = (hz / bin_hz).round() as usize;
        let (own, beside) = ((OWN_WIDTH_HZ / bin_hz) as usize, (BESIDE_HZ / bin_hz) as usize);
        let bins = self.power.len();
        self.around.clear();
        for side in [at.saturating_sub(beside)..at.saturating_sub(own), at + own..at + beside] {
            self.around
                .extend_from_slice(&self.power[side.start.min(bins)..side.end.min(bins)]);
        }
        if self.around.is_empty() {
            return f64::INFINITY;
        }
        let middle = self.around.len() / 2;
        let (_, floor, _) = self.around.select_nth_unstable_by(middle, f32::total_cmp);
        f64::from(floor.max(f32::MIN_POSITIVE))
    }

    /// The most of the three bins around `hz`.
    fn most_at(&self, hz: f64) -> f64 {
        let bins = self.power.len();
        let at = (hz / self.bin_hz()).round() as usize;
        let around = at.saturating_sub(1).min(bins)..(at + 2).min(bins);
        f64::from(self.power[around].iter().copied().fold(0.0, f32::max))
    }

    fn pitch(&self, cents: i32) -> f64 {
        self.expected * (f64::from(cents) / 1200.0).exp2()
    }

    fn bin_hz(&self) -> f64 {
        self.rate / self.size()
    }

    /// Samples in one transform.
    fn size(&self) -> f64 {
        (2 * (self.power.len() - 1)) as f64
    }
}
