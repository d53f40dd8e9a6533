//! The bands around the partials of two strings, each brought down to zero frequency.

use consort_transform::Complex;

use super::model::LOWER;
use super::swell::even;
use super::{NEAR_CENTS, Together};
use crate::character::{expected_stiffness, partial_ratio};
use crate::fit::CENT;

/// A partial of one of the two strings.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) struct Partial {
    /// 0 for the lower string, 1 for the higher one.
    pub(super) string: usize,
    pub(super) n: usize,
}

/// One band: a partial that stands alone, or two that nearly meet.
#[derive(Clone, Debug)]
pub(super) struct Band {
    pub(super) partials: Vec<Partial>,
    /// What was brought down to zero, hertz.
    pub(super) hz: f64,
    pub(super) frames: Vec<Complex<f64>>,
    /// Mean square amplitude.
    pub(super) energy: f64,
}

/// All bands of a sound.
#[derive(Clone, Debug)]
pub(super) struct Bands {
    pub(super) bands: Vec<Band>,
    /// About the first partials of both strings, hertz, and their stiffness.
    pub(super) about: [(f64, f64); 2],
    /// The middle of the first frame after the pluck, and from frame to frame, seconds.
    pub(super) first_s: f64,
    pub(super) hop_s: f64,
    /// The share of the sound's energy that lies in the bands.
    pub(super) own_share: f64,
}

/// Frames begin this long after the pluck, and so far apart, seconds.
const BEGIN_S: f64 = 0.06;
const HOP_S: f64 = 0.01;
/// Frames hold this many periods of what all partials are multiples of, within these limits, seconds.
const PERIODS: f64 = 2.2;
const FRAME_S: (f64, f64) = (0.03, 0.12);
/// Partials above this are too short-lived to say more, hertz; and so many of the lower and the higher string.
const TOP_HZ: f64 = 1_500.0;
const PARTIALS: [usize; 2] = [8, 6];
/// A band with less than this share of the strongest one's energy says nothing.
const HEARD: f64 = 1e-4;

impl Bands {
    pub(super) fn of(sound: &[f32], rate: f64, pair: Together) -> Self {
        let (p, q) = pair.interval.meeting();
        let (p, q) = (p as usize, q as usize);
        let about = [pair.lower.get(), pair.higher.get()].map(|hz| (hz, expected_stiffness(hz)));
        let frame_s = (PERIODS * q as f64 / pair.lower.get()).clamp(FRAME_S.0, FRAME_S.1);
        let (len, hop) = ((frame_s * rate) as usize, (HOP_S * rate) as usize);
        let from = (BEGIN_S * rate) as usize;
        let mut bands: Vec<Band> = groups(about.map(|one| one.0), (p, q))
            .into_iter()
            .map(|partials| {
                let hz = |one: &Partial| about[one.string].0 * partial_ratio(one.n, about[one.string].1);
                let hz = partials.iter().map(hz).sum::<f64>() / partials.len() as f64;
                let frames = frames(&sound[from..], (len, hop), std::f64::consts::TAU * hz / rate);
                let energy = frames.iter().map(Complex::norm_sqr).sum::<f64>() / frames.len().max(1) as f64;
                Band {
                    partials,
                    hz,
                    frames,
                    energy,
                }
            })
            .collect();
        let all = bands.iter().map(|band| band.energy).sum::<f64>();
        let heard = &sound[from..];
        let total = heard.iter().map(|x| f64::from(x * x)).sum::<f64>() / heard.len().max(1) as f64;
        let strongest = bands.iter().map(|band| band.energy).fold(0.0, f64::max);
        bands.retain(|band| band.energy > HEARD * strongest || band.is_lowest_pair((p, q)));
        Self {
            bands,
            about,
            first_s: BEGIN_S + 0.5 * frame_s,
            hop_s: hop as f64 / rate,
            // A tone of amplitude 1 has a mean square of one half.
            own_share: if total > 0.0 { 0.5 * all / total } else { 0.0 },
        }
    }

    /// Energy of the strongest band, above zero.
    pub(super) fn strongest(&self) -> f64 {
        let energies = self.bands.iter().map(|band| band.energy);
        energies.fold(f64::MIN_POSITIVE, f64::max)
    }

    /// Energy of the partials of one string that meet none of the other.
    pub(super) fn lone_energy(&self, string: usize) -> f64 {
        let lone = |band: &&Band| band.partials.len() == 1 && band.partials[0].string == string;
        self.bands.iter().filter(lone).map(|band| band.energy).sum()
    }

    /// Whether every partial of one string meets one of the other.
    pub(super) fn is_unison(&self) -> bool {
        self.bands.iter().all(|band| band.partials.len() == 2)
    }

    /// Energy of the partials that meet.
    pub(super) fn met_energy(&self) -> f64 {
        let met = |band: &&Band| band.partials.len() == 2;
        self.bands.iter().filter(met).map(|band| band.energy).sum()
    }

    /// How loud what sounds around `hz` is over time beside its dying away, 1 the loudest.
    pub(super) fn swell(&self, sound: &[f32], rate: f64, hz: f64) -> Vec<f32> {
        let len = (SWELL_FRAME_S * rate) as usize;
        let step = (super::Beating::SWELL_STEP_S * rate) as usize;
        let frames = frames(sound, (len, step), std::f64::consts::TAU * hz / rate);
        even(&frames.iter().map(|z| z.norm()).collect::<Vec<_>>())
    }

    /// Where a string seems to stand, cents from where it is said to: by its partials that stand alone, or by all where
    /// none does.
    pub(super) fn cents_of(&self, string: usize) -> f64 {
        let mine = |band: &&Band| band.partials.iter().any(|one| one.string == string);
        let alone = self.bands.iter().filter(mine).any(|band| band.partials.len() == 1);
        let used: Vec<&Band> = self
            .bands
            .iter()
            .filter(mine)
            .filter(|band| !alone || band.partials.len() == 1)
            .collect();
        let (hz, stiffness) = self.about[string];
        let steps = (NEAR_CENTS / SEARCH_CENTS) as i32;
        let score = |cents: f64| {
            used.iter()
                .map(|band| {
                    let n = band
                        .partials
                        .iter()
                        .find(|one| one.string == string)
                        .map_or(1, |one| one.n);
                    let off = hz * partial_ratio(n, stiffness) * (cents * CENT).exp() - band.hz;
                    band.tone(off, self.hop_s) / band.energy.max(f64::MIN_POSITIVE)
                })
                .sum::<f64>()
        };
        (-steps..=steps)
            .map(|step| f64::from(step) * SEARCH_CENTS)
            .map(|cents| (score(cents), cents))
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map_or(0.0, |best| best.1)
    }
}

/// A string is looked for in steps of this many cents, over this long.
const SEARCH_CENTS: f64 = 1.5;
const SEARCH_FRAMES: usize = 60;
/// The swell that is drawn is looked at through frames of this length, seconds.
const SWELL_FRAME_S: f64 = 0.05;

impl Band {
    pub(super) fn is_lowest_pair(&self, (p, q): (usize, usize)) -> bool {
        self.partials
            == [
                Partial { string: LOWER, n: p },
                Partial {
                    string: 1 - LOWER,
                    n: q,
                },
            ]
    }

    /// The power of a tone `off` hertz from the band's middle in the first frames.
    fn tone(&self, off: f64, hop_s: f64) -> f64 {
        let count = self.frames.len().min(SEARCH_FRAMES);
        let turn = std::f64::consts::TAU * off * hop_s;
        let sum: Complex<f64> = self.frames[..count]
            .iter()
            .enumerate()
            .map(|(m, z)| {
                let hann = 0.5 - 0.5 * (std::f64::consts::TAU * (m as f64 + 0.5) / count as f64).cos();
                z * Complex::from_polar(hann, -turn * m as f64)
            })
            .sum();
        sum.norm_sqr()
    }
}

/// The partials of both strings, those that nearly meet side by side.
fn groups(about: [f64; 2], (p, q): (usize, usize)) -> Vec<Vec<Partial>> {
    let count = |string: usize, least: usize| ((TOP_HZ / about[string]) as usize).min(PARTIALS[string]).max(least);
    let (lower, higher) = (count(LOWER, p), count(1 - LOWER, q));
    let mut groups = Vec::new();
    for n in 1..=lower {
        let mut group = vec![Partial { string: LOWER, n }];
        let meets = q * (n / p);
        if n % p == 0 && meets <= higher {
            group.push(Partial {
                string: 1 - LOWER,
                n: meets,
            });
        }
        groups.push(group);
    }
    for n in 1..=higher {
        if n % q != 0 || p * (n / q) > lower {
            groups.push(vec![Partial { string: 1 - LOWER, n }]);
        }
    }
    groups
}

/// Frames of `sound` around `turn` radians a sample, under a Hann window: a tone of amplitude A gives A.
fn frames(sound: &[f32], (len, hop): (usize, usize), turn: f64) -> Vec<Complex<f64>> {
    if len == 0 || hop == 0 || sound.len() < len {
        return Vec::new();
    }
    let kernel: Vec<Complex<f64>> = (0..len)
        .map(|n| {
            let hann = 0.5 - 0.5 * (std::f64::consts::TAU * (n as f64 + 0.5) / len as f64).cos();
            Complex::from_polar(4.0 * hann / len as f64, -turn * n as f64)
        })
        .collect();
    (0..=(sound.len() - len) / hop)
        .map(|frame| {
            let from = frame * hop;
            let sum: Complex<f64> = sound[from..from + len]
                .iter()
                .zip(&kernel)
                .map(|(x, k)| k * f64::from(*x))
                .sum();
            sum * Complex::from_polar(1.0, -turn * from as f64)
        })
        .collect()
}
