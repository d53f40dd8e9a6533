//! What a pluck sounds like beside its pitch: how fast its partials beat with themselves, how long it rings, how bright
//! it is.
//!
//! All of it is told by the power of the partials, frame by frame, until something else began to sound. So neither a glide
//! nor the string's tuning bears on it.

use consort_transform::Complex;

use crate::fit::CENT;
use crate::heard::{Partials, Timbre};
use crate::partials::Follower;

/// From here on a pluck rings by itself, seconds after it.
const FROM_S: f64 = 0.1;
/// Until here it is looked at, as for the pitch.
const TO_S: f64 = 1.5;
/// A decay is told from so much sound, seconds.
const DECAY_LEAST_S: f64 = 0.25;
/// A power that strays by more than this share from dying away evenly has no decay that could be compared.
const STRAYS_MOST: f64 = 0.5;
/// Brightness is that of the same stretch of every pluck, seconds after it: upper partials die sooner than lower ones.
const BRIGHT_S: (f64, f64) = (0.1, 0.5);
/// The lower partials, which carry the sound, are these; the upper ones begin above them.
const LOWER: usize = 3;
/// The highest of the upper ones: those above are lost first where an input hears little.
const UPPER: usize = 10;
/// Of a string whose upper partials cannot be heard at all so much is left of them, decibels.
const DARKEST_DB: f64 = -40.0;
/// A decay is taken off in so many rounds, each of which weighs frames by what the one before has left.
const ROUNDS: usize = 3;
/// A moment of silence counts as this share of the first power.
const QUIETEST: f64 = 1e-5;
/// Power counts where it stands so many times above what was in the band before.
const CLEAR: f64 = 10.0;
/// A partial is looked at for beats while it has this share of its first power.
const SOUNDS: f64 = 1e-3;
/// A beat is told from so much sound, seconds, and from so many swells on: a slower one looks like two decays.
const BEAT_LEAST_S: f64 = 0.5;
const TURNS_LEAST: f64 = 1.25;
/// The fastest beat that is looked for, hertz: frames smear out faster ones.
const BEAT_MOST_HZ: f64 = 8.0;
/// The two lines of one string lie no further apart than this, cents; what does is another string. Assumed.
const BEAT_MOST_CENTS: f64 = 30.0;
/// Rates that are tried lie a quarter of a turn apart at the sound's end.
const RATES_PER_TURN: f64 = 4.0;
/// A partial beats when one swelling explains this share of what its power does beyond dying away smoothly.
const EXPLAINED: f64 = 0.7;
/// And when it swells by this much of its mean power, as two lines do of which one is 20 dB weaker.
const DEPTH: f64 = 0.2;
/// The string beats when this share of its partials does of those that could show it, and so many, at rates in proportion
/// to their numbers within this factor.
const BEATING_SHARE: f64 = 0.5;
const BEATING_LEAST: usize = 2;
const ALIKE: f64 = 1.2;
/// Frames overlap: every second one says all of it; so many are looked at, at most.
const EVERY: usize = 2;
const FRAMES_MAX: usize = 80;

/// What the frames that `follower` has until `next_s` after the pluck say beside `partials`; the first partial lies at
/// `first_hz`, and nothing can be heard above `ceiling_hz`.
pub(crate) fn timbre(follower: &Follower, partials: Partials, next_s: f64, first_hz: f64, ceiling_hz: f64) -> Timbre {
    let seen = Seen::new(follower, next_s);
    let beat_hz = seen.beat_hz(first_hz);
    Timbre {
        partials,
        beat_hz,
        // Of a string that swells and fades, how fast it fades depends on when one listens.
        decay_s: beat_hz.is_none().then(|| seen.decay_s()).flatten(),
        brightness_db: (ceiling_hz > first_hz * (LOWER + 1) as f64)
            .then(|| seen.brightness_db())
            .flatten(),
    }
}

/// The frames that belong to the pluck alone.
struct Seen<'a> {
    follower: &'a Follower,
    hop_s: f64,
    middle_s: f64,
    /// The first that is looked at, and the one after the last.
    from: usize,
    to: usize,
}

impl<'a> Seen<'a> {
    fn new(follower: &'a Follower, next_s: f64) -> Self {
        let (hop_s, middle_s) = (follower.hop_s(), 0.5 * follower.frame_s());
        let to_s = (TO_S - middle_s).min(next_s - 2.0 * middle_s);
        let mut seen = Self {
            follower,
            hop_s,
            middle_s,
            from: 0,
            to: 0,
        };
        seen.from = seen.at(FROM_S);
        seen.to = follower
            .count()
            .min(if to_s > 0.0 { (to_s / hop_s) as usize + 1 } else { 0 })
            .min(seen.from + EVERY * FRAMES_MAX);
        seen
    }

    /// The frame whose middle lies at `time_s` after the pluck.
    fn at(&self, time_s: f64) -> usize {
        ((time_s - self.middle_s).max(0.0) / self.hop_s).round() as usize
    }

    /// Seconds between two frames that are looked at.
    fn step_s(&self) -> f64 {
        EVERY as f64 * self.hop_s
    }

    /// Adds the power of the partial at `place` to `power`; how many frames there are.
    fn add_power(&self, place: usize, power: &mut [f64; FRAMES_MAX]) -> usize {
        let frames = self.follower.frames(place).get(self.from..self.to).unwrap_or(&[]);
        let frames = frames.iter().step_by(EVERY);
        let count = frames.len();
        power
            .iter_mut()
            .zip(frames)
            .for_each(|(power, z)| *power += z.norm_sqr());
        count
    }

    /// Time in which the lower partials together fall to 1/e of their amplitude.
    fn decay_s(&self) -> Option<f64> {
        let followed = self.follower.followed();
        let lower = || followed.iter().enumerate().filter(|(_, partial)| partial.n <= LOWER);
        let before: f64 = lower().map(|(_, partial)| partial.before).sum();
        let mut power = [0.0; FRAMES_MAX];
        let count = lower().map(|(place, _)| self.add_power(place, &mut power)).max()?;
        let swell = Swell::of(&power[..count], before, self.step_s(), DECAY_LEAST_S)?;
        (swell.falls > 0.0 && swell.strays() < STRAYS_MOST).then(|| 2.0 * self.step_s() / swell.falls)
    }

    /// Power of the upper partials against the lower ones.
    fn brightness_db(&self) -> Option<f64> {
        let (from, to) = (self.at(BRIGHT_S.0), self.at(BRIGHT_S.1));
        if to > self.to {
            return None;
        }
        let (mut lower, mut upper) = (0.0, 0.0);
        for (place, partial) in self.follower.followed().iter().enumerate() {
            let frames = self.follower.frames(place).get(from..to)?;
            let power = frames.iter().map(|z| z.norm_sqr()).sum::<f64>() / frames.len().max(1) as f64;
            let own = (power - partial.before).max(0.0);
            match partial.n {
                1..=LOWER => lower += own,
                ..=UPPER => upper += own,
                _ => {}
            }
        }
        (lower > 0.0).then(|| (10.0 * (upper / lower).max(f64::MIN_POSITIVE).log10()).max(DARKEST_DB))
    }

    /// How fast the first partial beats with itself: the partials of an uneven string are two lines each, whose distance
    /// grows with the partial's number. Absent where most partials die away smoothly, or each swells as it likes.
    fn beat_hz(&self, first_hz: f64) -> Option<f64> {
        // The number of each partial that is heard, and its rate over its number.
        let mut heard = [(0.0, None); Partials::HIGHEST];
        let mut count = 0;
        for (place, partial) in self.follower.followed().iter().enumerate() {
            let mut power = [0.0; FRAMES_MAX];
            let frames = self.add_power(place, &mut power);
            let swell = Swell::of(&power[..frames], partial.before, self.step_s(), BEAT_LEAST_S);
            if let Some(swell) = swell.filter(|_| partial.n <= Partials::HIGHEST) {
                let n = partial.n as f64;
                heard[count] = (n, swell.rate_hz().map(|hz| hz / n));
                count += 1;
            }
        }
        let heard = &heard[..count];
        let mut rates = [0.0; Partials::HIGHEST];
        let mut beating = 0;
        for rate in heard.iter().filter_map(|(_, rate)| *rate) {
            rates[beating] = rate;
            beating += 1;
        }
        let rates = &mut rates[..beating];
        rates.sort_by(f64::total_cmp);
        let middle = *rates.get(beating / 2)?;
        let alike = rates
            .iter()
            .filter(|&&rate| rate < middle * ALIKE && middle < rate * ALIKE);
        let alike = alike.count();
        // Higher ones would beat too fast to be seen.
        let showing = heard.iter().filter(|(n, _)| n * middle < BEAT_MOST_HZ).count();
        let beats = alike >= BEATING_LEAST && alike as f64 >= BEATING_SHARE * showing as f64;
        (beats && middle < first_hz * BEAT_MOST_CENTS * CENT).then_some(middle)
    }
}

/// A power with its decay taken off, so that what is left swells around 1.
struct Swell {
    level: [f64; FRAMES_MAX],
    count: usize,
    step_s: f64,
    /// How far the logarithm of the power falls from frame to frame.
    falls: f64,
}

impl Swell {
    /// `None` where less than `least_s` of `power` stands out of `before`, which was there before the pluck.
    fn of(power: &[f64], before: f64, step_s: f64, least_s: f64) -> Option<Self> {
        let begin = *power.first()?;
        let loud = |power: &f64| *power > CLEAR * before && *power > SOUNDS * begin;
        // Where two lines cancel each other there is nothing for a moment: only the last loud frame ends it.
        let count = power.iter().rposition(loud)? + 1;
        if (count as f64) * step_s < least_s || count > FRAMES_MAX {
            return None;
        }
        let mut swell = Self {
            level: [0.0; FRAMES_MAX],
            count,
            step_s,
            falls: 0.0,
        };
        for (level, power) in swell.level.iter_mut().zip(&power[..count]) {
            *level = (power - before).max(QUIETEST * begin);
        }
        for _ in 0..ROUNDS {
            let mut line = Line::default();
            for (frame, &level) in swell.level[..count].iter().enumerate() {
                // In a trough the logarithm dives: what is quiet for a moment says little of the decay.
                line.add(frame as f64, level.ln(), level.min(1.0));
            }
            let slope = line.slope()?;
            swell.falls -= slope;
            let mut sum = 0.0;
            for (frame, level) in swell.level[..count].iter_mut().enumerate() {
                *level *= (-slope * frame as f64).exp();
                sum += *level;
            }
            swell.level[..count]
                .iter_mut()
                .for_each(|level| *level *= count as f64 / sum);
        }
        Some(swell)
    }

    /// How far it strays from dying away evenly, as a share, root mean square.
    fn strays(&self) -> f64 {
        let square: f64 = self.level[..self.count].iter().map(|level| (level - 1.0).powi(2)).sum();
        (square / self.count as f64).sqrt()
    }

    /// The rate at which it swells, hertz; `None` where it dies away smoothly.
    fn rate_hz(&self) -> Option<f64> {
        let smooth = smooth(self.count);
        let mut rest = self.level;
        for curve in &smooth {
            let share = dot(&self.level[..self.count], curve);
            rest.iter_mut()
                .zip(curve)
                .for_each(|(rest, curve)| *rest -= share * curve);
        }
        let rest = &rest[..self.count];
        let whole = dot(rest, rest);
        if whole < 0.5 * DEPTH * DEPTH * self.count as f64 {
            return None;
        }
        let seconds = self.count as f64 * self.step_s;
        let mut best = (0.0, 0.0);
        let mut turns = TURNS_LEAST;
        while turns < BEAT_MOST_HZ * seconds {
            let turn = Complex::from_polar(1.0, std::f64::consts::TAU * turns / self.count as f64);
            // What of a cosine and a sine at this rate no smooth curve holds.
            let (mut z, mut with, mut gram) = (Complex::new(1.0, 0.0), Complex::<f64>::default(), [0.0_f64; 3]);
            let mut held = [Complex::<f64>::default(); SMOOTH];
            for (frame, rest) in rest.iter().enumerate() {
                with += z * rest;
                gram[0] += z.re * z.re;
                gram[1] += z.re * z.im;
                gram[2] += z.im * z.im;
                held.iter_mut()
                    .zip(&smooth)
                    .for_each(|(held, curve)| *held += z * curve[frame]);
                z *= turn;
            }
            for held in held {
                gram[0] -= held.re * held.re;
                gram[1] -= held.re * held.im;
                gram[2] -= held.im * held.im;
            }
            let determinant = gram[0] * gram[2] - gram[1] * gram[1];
            if determinant > 0.0 {
                let cosine = (gram[2] * with.re - gram[1] * with.im) / determinant;
                let sine = (gram[0] * with.im - gram[1] * with.re) / determinant;
                let explained = cosine * with.re + sine * with.im;
                if explained > best.0 && cosine.hypot(sine) > DEPTH {
                    best = (explained, turns / seconds);
                }
            }
            turns += 1.0 / RATES_PER_TURN;
        }
        (best.0 > EXPLAINED * whole).then_some(best.1)
    }
}

/// Curves that a power without beats follows once its decay is taken off: two decays that take turns leave a bend.
const SMOOTH: usize = 3;

/// A constant, a slope and a bend over `count` frames, each of length 1 and at right angles to the others.
fn smooth(count: usize) -> [[f64; FRAMES_MAX]; SMOOTH] {
    let mut curves = [[0.0; FRAMES_MAX]; SMOOTH];
    for power in 0..SMOOTH {
        let (before, rest) = curves.split_at_mut(power);
        let curve = &mut rest[0][..count];
        for (frame, value) in curve.iter_mut().enumerate() {
            *value = (frame as f64 / count as f64 - 0.5).powi(power as i32);
        }
        for other in before {
            let share = dot(curve, other);
            curve
                .iter_mut()
                .zip(other.iter())
                .for_each(|(value, other)| *value -= share * other);
        }
        let length = dot(curve, curve).sqrt().max(f64::MIN_POSITIVE);
        curve.iter_mut().for_each(|value| *value /= length);
    }
    curves
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Sums for a straight line.
#[derive(Default)]
struct Line {
    count: f64,
    t: f64,
    tt: f64,
    y: f64,
    ty: f64,
}

impl Line {
    fn add(&mut self, t: f64, y: f64, weight: f64) {
        self.count += weight;
        self.t += weight * t;
        self.tt += weight * t * t;
        self.y += weight * y;
        self.ty += weight * t * y;
    }

    fn slope(&self) -> Option<f64> {
        let spread = self.count * self.tt - self.t * self.t;
        (spread > 0.0).then(|| (self.count * self.ty - self.t * self.y) / spread)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::History;

    const RATE: f64 = 16_000.0;

    /// What is heard of partials of 300 Hz, each given by its amplitude, for `seconds` after the pluck; each is two lines
    /// `split_hz` times its number apart, the second `weaker` as strong, and dies away in `decay_s` over its number's root.
    fn heard(amplitudes: &[f64], split_hz: f64, weaker: f64, decay_s: f64, seconds: f64) -> Timbre {
        let mut history = History::new(64_000);
        let onset = 1_600;
        for sample in 0..32_000_i32 {
            let time = f64::from(sample - onset) / RATE;
            let line = |hz: f64, amplitude: f64, decay_s: f64| {
                amplitude * (-time / decay_s).exp() * (std::f64::consts::TAU * hz * time).sin()
            };
            let sound: f64 = (1..)
                .map(f64::from)
                .zip(amplitudes)
                .map(|(n, &amplitude)| {
                    let (hz, decay_s) = (300.0 * n, decay_s / n.sqrt());
                    line(hz, amplitude, decay_s) + line(hz + split_hz * n, weaker * amplitude, decay_s)
                })
                .sum();
            history.push(if time < 0.0 { 0.0 } else { sound as f32 });
        }
        let mut follower = Follower::new(RATE, 160);
        follower.start(onset as u64);
        let partials: Vec<(usize, f64)> = (1..=amplitudes.len()).map(|n| (n, 300.0 * n as f64)).collect();
        follower.follow(&partials, 300.0, &history);
        follower.advance(&history, history.count());
        timbre(&follower, Partials::default(), seconds, 300.0, 5_800.0)
    }

    const PLUCKED: [f64; 8] = [0.1, 0.05, 0.03, 0.02, 0.015, 0.01, 0.008, 0.006];

    #[test]
    #[rustfmt::skip]
    fn two_lines_beat_and_one_does_not() {
        let table = [
            // split Hz, weaker, seconds alone, beats
            (0.8,  0.7,  9.0, Some(0.8)),
            (0.5,  0.4,  9.0, Some(0.5)),
            (2.5,  1.0,  9.0, Some(2.5)),
            (0.8,  0.0,  9.0, None),
            (0.02, 0.7,  9.0, None), // Slower than can be told from a bend.
            (0.8,  0.02, 9.0, None), // Weaker than can be heard.
            (0.8,  0.7,  0.4, None), // Another string was plucked.
        ];
        for (split_hz, weaker, seconds, expected) in table {
            let found = heard(&PLUCKED, split_hz, weaker, 0.8, seconds).beat_hz;
            let agrees = match (found, expected) {
                (Some(found), Some(expected)) => (found / expected - 1.0_f64).abs() < 0.08,
                (found, expected) => found == expected,
            };
            assert!(agrees, "{split_hz} Hz, {weaker}: {found:?}");
        }
    }

    #[test]
    fn a_decay_is_that_of_the_lower_partials() {
        for decay_s in [0.15, 0.5, 2.0] {
            let found = heard(&PLUCKED[..1], 0.0, 0.0, decay_s, 9.0).decay_s.expect("a decay");
            assert!((found / decay_s - 1.0).abs() < 0.02, "{decay_s}: {found}");
        }
        assert_eq!(heard(&PLUCKED, 0.0, 0.0, 0.5, 0.2).decay_s, None);
    }

    #[test]
    fn brightness_is_the_upper_partials_against_the_lower() {
        let bright = |amplitudes: &[f64]| {
            // So slow a decay that none is lost.
            heard(amplitudes, 0.0, 0.0, 1e3, 9.0).brightness_db.expect("a level")
        };
        assert!((bright(&[0.1, 0.0, 0.0, 0.1]) - 0.0).abs() < 0.1);
        assert!((bright(&[0.1, 0.0, 0.0, 0.0, 0.01]) + 20.0).abs() < 0.1);
        assert!(bright(&PLUCKED) < bright(&PLUCKED.map(|amplitude| amplitude.sqrt())));
        assert!((bright(&[0.1, 0.05]) - DARKEST_DB).abs() < 1e-9);
        assert_eq!(heard(&PLUCKED, 0.0, 0.0, 1.0, 0.4).brightness_db, None);
    }
}
