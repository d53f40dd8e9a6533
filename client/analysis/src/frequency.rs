//! The frequency of one partial from its frames: how its phase turns, each frame weighted by its energy.

use consort_transform::Complex;

/// The frequency of one partial over a stretch of its note.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Turning {
    /// Frequency of the steady tone whose phase fits best, every moment weighted by its energy: the mean of a frequency that
    /// glides; relative to the one brought down to zero, hertz.
    pub(crate) hz: f64,
    /// Its standard deviation as far as noise goes, hertz.
    pub(crate) sigma_hz: f64,
    /// How fast the frequency changes, hertz per second.
    pub(crate) drift: f64,
    /// How far from the middle of its energy the energy lies, standard deviation, seconds: of a tone that does not fade, the
    /// length of the stretch by the root of twelve.
    pub(crate) spread_s: f64,
    /// Mean square amplitude.
    pub(crate) energy: f64,
}

/// What the frames are like.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Framing {
    /// Seconds from one frame to the next, and seconds that one spans.
    pub(crate) hop_s: f64,
    pub(crate) frame_s: f64,
    /// Mean square amplitude of what else is in the band.
    pub(crate) noise: f64,
    /// Whether a drift is told, too; it needs a third of a second.
    pub(crate) drift: bool,
}

/// A frame counts when its power is this much above what else is in the band.
const CLEAR: f64 = 3.0;
/// The relative precision of a phase, whatever the noise: filters, rounding, other sounds too weak to be seen.
const PHASE_FLOOR: f64 = 1e-3;

/// Estimates how the phase of `frames` turns, or `None` when too little of it stands above the noise.
///
/// The turn from frame to frame is first taken from the sum of products of neighbouring frames, which needs no
/// unwrapping; then a straight line is fitted to the phases that remain, each weighted by its power, and a bent one for the
/// drift.
pub(crate) fn turning(frames: &[Complex<f64>], framing: Framing) -> Option<Turning> {
    let count = frames.len();
    if count < 2 {
        return None;
    }
    let energy = frames.iter().map(|z| z.norm_sqr()).sum::<f64>() / count as f64;
    if energy <= CLEAR * framing.noise || energy <= 0.0 {
        return None;
    }
    let step = coarse_turn(frames, framing);
    // Phases that remain after the coarse turn, unwrapped from the strongest frame outwards.
    let strongest = frames
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.norm_sqr().total_cmp(&b.1.norm_sqr()))?
        .0;
    let back = Complex::from_polar(1.0, -step);
    let mut sums = Sums::default();
    let middle_s = {
        let (mut a, mut b) = (0.0, 0.0);
        for (m, z) in frames.iter().enumerate() {
            a += z.norm_sqr() * m as f64;
            b += z.norm_sqr();
        }
        a / b * framing.hop_s
    };
    for direction in [1_isize, -1] {
        // The last frame that counted, turned on by the coarse turn to the frame that is looked at.
        let mut last = frames[strongest].conj();
        let turned = if direction > 0 { back } else { back.conj() };
        let mut phase = 0.0;
        let mut m = strongest as isize;
        if direction < 0 {
            m -= 1;
            last *= turned;
        }
        while (0..count as isize).contains(&m) {
            let z = frames[m as usize];
            let power = z.norm_sqr();
            if power > CLEAR * framing.noise {
                phase += (z * last).arg();
                last = z.conj();
                sums.add(m as f64 * framing.hop_s - middle_s, phase, power);
            }
            last *= turned;
            m += direction;
        }
    }
    let (turn, spread) = sums.line()?;
    // A glide is no noise: what strays is judged about the bent line, where there is one.
    let (bent_turn, drift) = framing.drift.then(|| sums.bent_line()).flatten().unwrap_or((turn, 0.0));
    // Overlapping frames share their noise: about this many of them are worth one.
    let shared = (framing.frame_s / framing.hop_s / 1.5).max(1.0);
    let noise = framing
        .noise
        .max(2.0 * sums.residual(bent_turn, drift))
        .max(energy * PHASE_FLOOR * PHASE_FLOOR);
    let hz = (step / framing.hop_s + turn) / std::f64::consts::TAU;
    let sigma_hz = (0.5 * noise * shared * spread).sqrt() / std::f64::consts::TAU;
    Some(Turning {
        hz,
        sigma_hz,
        drift: 2.0 * drift / std::f64::consts::TAU,
        spread_s: sums.spread_s(),
        energy,
    })
}

/// The turn per hop, radians, from products of frames one hop apart, then of frames that no longer overlap.
fn coarse_turn(frames: &[Complex<f64>], framing: Framing) -> f64 {
    let product = |lag: usize| {
        let pairs = frames.iter().zip(&frames[lag.min(frames.len())..]);
        pairs.map(|(a, b)| b * a.conj()).sum::<Complex<f64>>()
    };
    let near = product(1).arg();
    let lag = (framing.frame_s / framing.hop_s).ceil() as usize;
    if lag < 2 || frames.len() < 2 * lag {
        return near;
    }
    let far = product(lag) * Complex::from_polar(1.0, -near * lag as f64);
    near + far.arg() / lag as f64
}

/// Weighted moments of phase over time.
#[derive(Default)]
struct Sums {
    w: f64,
    wt: [f64; 5],
    wp: [f64; 3],
    wpp: f64,
    count: f64,
}

impl Sums {
    fn add(&mut self, t: f64, phase: f64, weight: f64) {
        self.w += weight;
        self.count += 1.0;
        let mut power = weight;
        for k in 0..5 {
            self.wt[k] += power;
            if k < 3 {
                self.wp[k] += power * phase;
            }
            power *= t;
        }
        self.wpp += weight * phase * phase;
    }

    /// Slope of the straight line through the phases, and its variance for unit noise power.
    fn line(&self) -> Option<(f64, f64)> {
        let [s0, s1, s2, ..] = self.wt;
        let [p0, p1, _] = self.wp;
        let plane = s0 * s2 - s1 * s1;
        (self.count >= 2.0 && plane > 0.0).then(|| ((s0 * p1 - s1 * p0) / plane, s0 / plane))
    }

    /// Slope at time 0 and curvature of the parabola through the phases, where they are enough for one.
    fn bent_line(&self) -> Option<(f64, f64)> {
        let [s0, s1, s2, s3, s4] = self.wt;
        let [p0, p1, p2] = self.wp;
        let determinant = s0 * (s2 * s4 - s3 * s3) - s1 * (s1 * s4 - s3 * s2) + s2 * (s1 * s3 - s2 * s2);
        (self.count > 4.0 && determinant > 1e-9 * s0 * s2 * s4).then(|| {
            let slope = p0 * (s2 * s3 - s1 * s4) + p1 * (s0 * s4 - s2 * s2) + p2 * (s1 * s2 - s0 * s3);
            let curve = p0 * (s1 * s3 - s2 * s2) + p1 * (s1 * s2 - s0 * s3) + p2 * (s0 * s2 - s1 * s1);
            (slope / determinant, curve / determinant)
        })
    }

    /// Standard deviation of the time, weighted by power.
    fn spread_s(&self) -> f64 {
        let mean = self.wt[1] / self.wt[0];
        (self.wt[2] / self.wt[0] - mean * mean).max(0.0).sqrt()
    }

    /// Mean of power times squared phase residual, which is half the noise power.
    fn residual(&self, slope: f64, curve: f64) -> f64 {
        let [s0, s1, s2, s3, s4] = self.wt;
        let [p0, p1, p2] = self.wp;
        let base = (p0 - slope * s1 - curve * s2) / s0;
        let square = self.wpp
            + base * base * s0
            + slope * slope * s2
            + curve * curve * s4
            + 2.0 * (base * slope * s1 + base * curve * s2 + slope * curve * s3)
            - 2.0 * (base * p0 + slope * p1 + curve * p2);
        square.max(0.0) / self.count
    }
}
