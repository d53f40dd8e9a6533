//! Two stiff strings that glide and die away: what their partials sound like, and which two strings explain a sound best.

use std::f64::consts::{PI, TAU};

use consort_transform::Complex;

use super::NEAR_CENTS;
use super::bands::{Band, Bands, Partial};
use super::line::Line;
use super::solve::{Normal, amplitudes};
use crate::character::partial_ratio;
use crate::fit::CENT;

/// The lower string's place among the two.
pub(super) const LOWER: usize = 0;

/// What is unknown of a string as a whole, in this order.
const PITCH: usize = 0;
const STIFFNESS: usize = 1;
const GLIDE: usize = 2;
const LOSS: usize = 3;
const LOSS_BY_NUMBER: usize = 4;
const OTHER: usize = 5;
const SPLIT: usize = 6;
const LASTS: usize = 7;
const OF_STRING: usize = 8;
/// What is unknown of each partial: how far it lies beside the law, cents, and how much faster it dies, natural logarithm.
const BESIDE: usize = 0;
const FADES: usize = 1;
const OF_PARTIAL: usize = 2;

/// Uncertainties beforehand, one standard deviation each. The pitch is known from the coarse look, cents; the stiffness,
/// both losses and a partial's fading as natural logarithms of a ratio.
const PITCH_CENTS: f64 = 20.0;
const STIFFNESS_SHARE: f64 = 0.5;
const LOSS_SHARE: f64 = 0.7;
const LOSS_BY_NUMBER_SHARE: f64 = 0.5;
const FADES_SHARE: f64 = 0.15;
/// The glide right after the pluck: a cent or a few (from the mean tension of a plucked string, as in E. Legge &
/// N. Fletcher, JASA 76, 1984).
const GLIDE_CENTS: (f64, f64) = (1.0, 2.0);
/// How far a partial lies beside its string's law: gut and nylon little, wound strings, which lie below this, more.
const BESIDE_CENTS: f64 = 0.25;
const BESIDE_WOUND_CENTS: f64 = 1.0;
const WOUND_BELOW_HZ: f64 = 95.0;
/// Losses to begin with: per second, and per second for each hertz of a partial (loss factor π·10⁻³).
const LOSS_PER_S: f64 = 0.5;
const LOSS_PER_HZ: f64 = PI * 1.0e-3;
/// The glide dies twice as fast as the amplitude.
const GLIDE_FADES: f64 = 2.0;
/// The second direction of motion: a share of the first by how the plane of the pluck lies, some cents beside it, and
/// lasting longer, natural logarithm, since the first is the one that moves the soundboard (assumed).
const OTHER_SHARE: (f64, f64) = (0.3, 0.3);
const SPLIT_CENTS: f64 = 0.8;
const OTHER_LASTS: (f64, f64) = (0.8, 0.3);

/// Rounds of the fit.
const ROUNDS: usize = 20;
/// What is not explained in a band counts as its noise, with so much power; frames overlap, hence more than one.
const NOISE: f64 = 4.0;
/// And at least this share of the band's energy, and of the strongest band's.
const NOISE_LEAST: f64 = 1e-5;
const NOISE_LEAST_OF_ALL: f64 = 1e-7;
/// Before anything is explained.
const NOISE_BEGIN: f64 = 1e-2;
/// The higher string is looked for in steps of this many cents, and at so many other places it is tried.
const SCAN_CENTS: f64 = 1.5;
const PLACES: usize = 2;
/// Step of a numerical derivative.
const STEP: f64 = 1e-4;

/// Two strings as they explain a sound.
#[derive(Clone, Debug)]
pub(super) struct Model {
    about: [(f64, f64); 2],
    first_s: f64,
    hop_s: f64,
    /// Where the unknowns of each partial begin.
    partials: Vec<(Partial, usize)>,
    values: Vec<f64>,
    expected: Vec<f64>,
    spread: Vec<f64>,
    noise: Vec<f64>,
    cost: f64,
    normal: Normal,
    /// Both partials of the lowest pair as they were explained.
    met: [Vec<Complex<f64>>; 2],
}

/// A beat as the model has it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found {
    pub(super) hz: f64,
    pub(super) sigma_hz: f64,
}

impl Model {
    /// A beginning: both strings where they seem to stand, the higher one `aside_cents` from there, each with its second
    /// direction so far beside the first.
    pub(super) fn begun(bands: &Bands, aside_cents: f64, split_cents: [f64; 2]) -> Self {
        let (mut expected, mut spread) = (Vec::new(), Vec::new());
        for (string, (hz, _)) in bands.about.into_iter().enumerate() {
            let aside = if string == LOWER { 0.0 } else { aside_cents };
            expected.extend([
                bands.cents_of(string) + aside,
                0.0,
                GLIDE_CENTS.0,
                LOSS_PER_S.ln(),
                (LOSS_PER_HZ * hz).ln(),
                OTHER_SHARE.0,
                split_cents[string],
                OTHER_LASTS.0,
            ]);
            spread.extend([
                PITCH_CENTS,
                STIFFNESS_SHARE,
                GLIDE_CENTS.1,
                LOSS_SHARE,
                LOSS_BY_NUMBER_SHARE,
                OTHER_SHARE.1,
                SPLIT_CENTS,
                OTHER_LASTS.1,
            ]);
        }
        let mut partials = Vec::new();
        for &partial in bands.bands.iter().flat_map(|band| &band.partials) {
            partials.push((partial, expected.len()));
            let wound = bands.about[partial.string].0 < WOUND_BELOW_HZ;
            expected.extend([0.0, 0.0]);
            spread.extend([if wound { BESIDE_WOUND_CENTS } else { BESIDE_CENTS }, FADES_SHARE]);
        }
        let strongest = bands.strongest();
        Self {
            about: bands.about,
            first_s: bands.first_s,
            hop_s: bands.hop_s,
            partials,
            values: expected.clone(),
            normal: Normal::new(expected.len()),
            expected,
            spread,
            noise: bands
                .bands
                .iter()
                .map(|band| (NOISE_BEGIN * band.energy).max(NOISE_LEAST_OF_ALL * strongest))
                .collect(),
            cost: f64::INFINITY,
            met: [Vec::new(), Vec::new()],
        }
    }

    /// The first partial of a string, hertz, without its glide.
    pub(super) fn pitch(&self, string: usize) -> f64 {
        self.about[string].0 * (self.values[string * OF_STRING + PITCH] * CENT).exp()
    }

    /// How badly it explains the sound and agrees with what was known before.
    pub(super) const fn cost(&self) -> f64 {
        self.cost
    }

    /// The energy of the higher string's partial in the lowest pair against the lower one's.
    pub(super) fn higher_share(&self) -> f64 {
        mean_square(&self.met[1 - LOWER]) / mean_square(&self.met[LOWER]).max(f64::MIN_POSITIVE)
    }

    /// Other places of the higher string that explain the sound nearly as well or better while all else stays as it is,
    /// cents from where it is said to sound; the best first.
    pub(super) fn elsewhere(&self, bands: &Bands) -> Vec<f64> {
        let at = (1 - LOWER) * OF_STRING + PITCH;
        let steps = (NEAR_CENTS / SCAN_CENTS) as i32;
        let mut places: Vec<(f64, f64)> = (-steps..=steps)
            .map(|step| f64::from(step) * SCAN_CENTS)
            .map(|cents| {
                let mut values = self.values.clone();
                values[at] = cents;
                (self.cost_of_sound(bands, &values), cents)
            })
            .collect();
        // The valleys: lower than both neighbours.
        let costs: Vec<f64> = places.iter().map(|place| place.0).collect();
        let mut index = 0_usize;
        places.retain(|_| {
            let near = [index.checked_sub(1), Some(index + 1)]
                .into_iter()
                .flatten()
                .filter_map(|at| costs.get(at));
            let valley = near.into_iter().all(|near| costs[index] <= *near);
            index += 1;
            valley
        });
        places.retain(|place| (place.1 - self.values[at]).abs() > SCAN_CENTS);
        places.sort_by(|a, b| a.0.total_cmp(&b.0));
        places.into_iter().take(PLACES).map(|place| place.1).collect()
    }

    /// The same strings with the higher one elsewhere.
    pub(super) fn with_higher_at(mut self, cents: f64) -> Self {
        let at = (1 - LOWER) * OF_STRING + PITCH;
        (self.values[at], self.expected[at]) = (cents, cents);
        // What was bent to fit the wrong place is straight again.
        for &(partial, place) in &self.partials {
            if partial.string != LOWER {
                self.values[place + BESIDE] = 0.0;
                self.values[place + FADES] = 0.0;
            }
        }
        self
    }

    /// The same strings, moved to where they explain `bands` best.
    pub(super) fn fitted(mut self, bands: &Bands) -> Self {
        let strongest = bands.strongest();
        self.met = [Vec::new(), Vec::new()];
        let mut damping = 1e-2;
        for _ in 0..ROUNDS {
            let now = self.cost_of(bands, &self.values);
            self.gather(bands);
            let mut moved = false;
            for _ in 0..6 {
                let Some(step) = self.normal.solve(damping) else {
                    damping *= 6.0;
                    continue;
                };
                let tried: Vec<f64> = self
                    .values
                    .iter()
                    .zip(&step)
                    .map(|(value, step)| value + step)
                    .collect();
                if self.cost_of(bands, &tried) < now {
                    self.values = tried;
                    damping = (damping / 6.0).max(1e-8);
                    moved = true;
                    break;
                }
                damping *= 6.0;
            }
            for (at, band) in bands.bands.iter().enumerate() {
                let left = mean_square(&self.explained(band, &self.values).0);
                self.noise[at] = (NOISE * left)
                    .max(NOISE_LEAST * band.energy)
                    .max(NOISE_LEAST_OF_ALL * strongest);
            }
            if !moved {
                break;
            }
        }
        self.gather(bands);
        self.conclude(bands);
        self
    }

    /// The beat of partial `p` of the lower string with partial `q` of the higher one, from `from_s` after the pluck on.
    pub(super) fn beat(&self, (p, q): (usize, usize), from_s: f64) -> Found {
        let skipped = ((from_s - self.first_s) / self.hop_s).round().max(0.0) as usize;
        let turning = |frames: &[Complex<f64>]| {
            let frames = &frames[skipped.min(frames.len())..];
            let (mut turn, mut weight) = (0.0, f64::MIN_POSITIVE);
            for pair in frames.windows(2) {
                let product = pair[1] * pair[0].conj();
                turn += product.arg() * product.norm();
                weight += product.norm();
            }
            turn / weight / self.hop_s / TAU
        };
        // The beat's derivative after each unknown that moves it in the mean.
        let mut gradient = vec![0.0; self.values.len()];
        for (string, n) in [(LOWER, p), (1 - LOWER, q)] {
            let sign = if string == LOWER { -1.0 } else { 1.0 };
            let cent_hz = sign * CENT * self.pitch(string) * n as f64;
            gradient[string * OF_STRING + PITCH] = cent_hz;
            if let Some(at) = self.place(Partial { string, n }) {
                gradient[at + BESIDE] = cent_hz;
            }
        }
        let answer = self.normal.solve_for(0.0, &gradient);
        let variance = answer.map_or(f64::INFINITY, |answer| {
            answer.iter().zip(&gradient).map(|(a, g)| a * g).sum()
        });
        Found {
            hz: turning(&self.met[1 - LOWER]) - turning(&self.met[LOWER]),
            sigma_hz: variance.max(0.0).sqrt(),
        }
    }

    fn place(&self, partial: Partial) -> Option<usize> {
        self.partials.iter().find(|(one, _)| *one == partial).map(|(_, at)| *at)
    }

    /// A partial as `values` have it.
    fn line(&self, partial: Partial, values: &[f64]) -> Line {
        let own = &values[partial.string * OF_STRING..][..OF_STRING];
        let (hz, stiffness) = self.about[partial.string];
        let at = self.place(partial).unwrap_or_default();
        let (beside, fades) = (values[at + BESIDE], values[at + FADES]);
        let ratio = partial_ratio(partial.n, stiffness * own[STIFFNESS].exp());
        let hz = hz * ratio * ((own[PITCH] + beside) * CENT).exp();
        let (common, by_number) = (own[LOSS].exp(), own[LOSS_BY_NUMBER].exp());
        let loss = (common + by_number * partial.n as f64) * fades.exp();
        Line {
            hz,
            loss,
            glide: (hz * CENT * own[GLIDE], GLIDE_FADES * (common + by_number)),
            other: (own[OTHER], hz * CENT * own[SPLIT], loss * (-own[LASTS]).exp()),
        }
    }

    /// What a partial sounds like in a band, with amplitude 1 at its first frame.
    fn sounding(&self, band: &Band, partial: Partial, values: &[f64]) -> Vec<Complex<f64>> {
        let times = (self.first_s, self.hop_s);
        self.line(partial, values).frames(band.hz, band.frames.len(), times)
    }

    /// What of a band stays unexplained, the lines in it, and their amplitudes.
    #[allow(
        clippy::type_complexity,
        reason = "three things of one step, named where they are used"
    )]
    fn explained(&self, band: &Band, values: &[f64]) -> (Vec<Complex<f64>>, Vec<Vec<Complex<f64>>>, [Complex<f64>; 2]) {
        let lines: Vec<_> = band
            .partials
            .iter()
            .map(|&partial| self.sounding(band, partial, values))
            .collect();
        let sizes = amplitudes(&lines, &band.frames);
        (rest(&band.frames, &lines, sizes), lines, sizes)
    }

    fn cost_of(&self, bands: &Bands, values: &[f64]) -> f64 {
        self.cost_of_sound(bands, values) + self.strain(values)
    }

    /// How far `values` lie from what was known before, in squares of its uncertainty.
    fn strain(&self, values: &[f64]) -> f64 {
        let all = values.iter().zip(&self.expected).zip(&self.spread);
        all.map(|((value, expected), spread)| ((value - expected) / spread).powi(2))
            .sum()
    }

    fn cost_of_sound(&self, bands: &Bands, values: &[f64]) -> f64 {
        let sound = bands.bands.iter().zip(&self.noise).map(|(band, noise)| {
            let (left, ..) = self.explained(band, values);
            left.iter().map(Complex::norm_sqr).sum::<f64>() / noise
        });
        sound.sum()
    }

    /// Gathers the system whose solution moves the unknowns.
    fn gather(&mut self, bands: &Bands) {
        let size = self.values.len();
        let mut normal = Normal::new(size);
        for (band, noise) in bands.bands.iter().zip(&self.noise) {
            let (left, lines, _) = self.explained(band, &self.values);
            let mut slopes: Vec<(usize, Vec<Complex<f64>>)> = Vec::new();
            for (line, &partial) in band.partials.iter().enumerate() {
                let Some(at) = self.place(partial) else { continue };
                let whole = partial.string * OF_STRING..(partial.string + 1) * OF_STRING;
                for unknown in whole.chain(at..at + OF_PARTIAL) {
                    let mut values = self.values.clone();
                    values[unknown] += STEP;
                    let mut moved = lines.clone();
                    moved[line] = self.sounding(band, partial, &values);
                    // In a unison both lines could be of one string; each unknown moves one line at a time.
                    let sizes = amplitudes(&moved, &band.frames);
                    let after = rest(&band.frames, &moved, sizes);
                    let slope = after
                        .iter()
                        .zip(&left)
                        .map(|(after, before)| (after - before) / STEP)
                        .collect();
                    slopes.push((unknown, slope));
                }
            }
            for (row, a) in &slopes {
                normal.right[*row] -= real_product(a, &left) / noise;
                for (column, b) in &slopes {
                    normal.add(*row, *column, real_product(a, b) / noise);
                }
            }
        }
        for at in 0..size {
            let weight = 1.0 / (self.spread[at] * self.spread[at]);
            normal.add(at, at, weight);
            normal.right[at] += weight * (self.expected[at] - self.values[at]);
        }
        self.normal = normal;
    }

    /// Keeps the lowest pair as it is explained, and a cost that can be compared with another beginning's.
    fn conclude(&mut self, bands: &Bands) {
        let mut cost = 0.0;
        for band in &bands.bands {
            let (left, lines, sizes) = self.explained(band, &self.values);
            let share = mean_square(&left) / band.energy.max(f64::MIN_POSITIVE);
            cost += band.frames.len() as f64 * (share + 1e-6).ln();
            if self.met[LOWER].is_empty() && band.partials.len() == 2 {
                for (line, size) in lines
                    .iter()
                    .zip(sizes)
                    .enumerate()
                    .map(|(at, (line, size))| ((at, line), size))
                {
                    self.met[line.0] = line.1.iter().map(|z| z * size).collect();
                }
            }
        }
        self.cost = cost + 0.5 * self.strain(&self.values);
    }
}

fn rest(sound: &[Complex<f64>], lines: &[Vec<Complex<f64>>], sizes: [Complex<f64>; 2]) -> Vec<Complex<f64>> {
    let mut left = sound.to_vec();
    for (line, size) in lines.iter().zip(sizes) {
        left.iter_mut().zip(line).for_each(|(left, z)| *left -= z * size);
    }
    left
}

fn mean_square(frames: &[Complex<f64>]) -> f64 {
    frames.iter().map(Complex::norm_sqr).sum::<f64>() / frames.len().max(1) as f64
}

fn real_product(a: &[Complex<f64>], b: &[Complex<f64>]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a.re * b.re + a.im * b.im).sum()
}
