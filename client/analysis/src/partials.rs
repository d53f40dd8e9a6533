//! Follows the partials of one note: each is brought down to zero frequency and watched frame by frame.

mod anew;

use consort_transform::Complex;

use crate::beside::Beside;
use crate::decimate::dot;
use crate::history::History;

/// The most partials that are followed; higher ones add noise and doubt about the stiffness, not certainty.
pub(crate) const FOLLOWED_MAX: usize = 24;
/// A note is followed this long, seconds.
pub(crate) const FOLLOWED_S: f64 = 8.0;
/// Frames hold this many periods of the first partial, so that its neighbours fall into the window's zeros.
const PERIODS: f64 = 3.5;
/// Shortest and longest frame, seconds.
pub(crate) const FRAME_S: (f64, f64) = (0.04, 0.11);
/// Frames before the onset that show what was there, and their distance from it in seconds.
const FRAMES_BEFORE: usize = 8;
const GUARD_S: f64 = 0.008;
/// A pluck is loudest within this time, seconds.
const LOUDEST_S: f64 = 0.3;
/// Strings below this fade slowly, hertz.
pub(crate) const SLOW_HZ: f64 = 125.0;
/// More than this is infinite growth, as out of silence.
const GROWTH_MAX: f64 = 1e4;

/// What is left at most of a string's power, one frame after it was stopped (20 dB): the shortest strings lose half as much by
/// themselves. The hand came so many frames earlier; of one that stops fewer frames than the last figure, nothing is known.
const STOPPED: f64 = 0.01;
const STOPPED_BEFORE: usize = 2;
const STOPPED_LEAST: usize = 8;

/// One partial to follow.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Followed {
    pub(crate) n: usize,
    /// The frequency that is brought down to zero.
    pub(crate) hz: f64,
    /// Mean square amplitude in its band before the onset.
    pub(crate) before: f64,
}

/// The partials of one note over time.
pub(crate) struct Follower {
    rate: f64,
    hop: usize,
    onset: u64,
    len: usize,
    frame_len_max: usize,
    frames_max: usize,
    window: Vec<f32>,
    followed: Vec<Followed>,
    cosines: Vec<f32>,
    sines: Vec<f32>,
    /// Frames of partial `i` begin at `i * frames_max`.
    frames: Vec<Complex<f64>>,
    done: usize,
    beside: Beside,
}

impl Follower {
    /// `hop` working samples lie between frames.
    pub(crate) fn new(rate: f64, hop: usize) -> Self {
        let frame_len_max = (FRAME_S.1 * rate) as usize;
        let frames_max = (FOLLOWED_S * rate / hop as f64) as usize;
        Self {
            rate,
            hop,
            onset: 0,
            len: frame_len_max,
            frame_len_max,
            frames_max,
            window: Vec::with_capacity(frame_len_max),
            followed: Vec::with_capacity(FOLLOWED_MAX),
            cosines: vec![0.0; FOLLOWED_MAX * frame_len_max],
            sines: vec![0.0; FOLLOWED_MAX * frame_len_max],
            frames: vec![Complex::default(); FOLLOWED_MAX * frames_max],
            done: 0,
            beside: Beside::new(2 * frame_len_max),
        }
    }

    /// Forgets everything; the next note begins at sample `onset`.
    pub(crate) fn start(&mut self, onset: u64) {
        self.onset = onset;
        self.followed.clear();
        self.done = 0;
    }

    /// The partials followed now.
    pub(crate) fn followed(&self) -> &[Followed] {
        &self.followed
    }

    /// How many frames there are.
    pub(crate) fn count(&self) -> usize {
        self.done
    }

    /// Seconds from one frame to the next.
    pub(crate) fn hop_s(&self) -> f64 {
        self.hop as f64 / self.rate
    }

    /// Seconds that a frame spans.
    pub(crate) fn frame_s(&self) -> f64 {
        self.len as f64 / self.rate
    }

    /// The frames of the partial at this place in [`Self::followed`].
    pub(crate) fn frames(&self, at: usize) -> &[Complex<f64>] {
        &self.frames[at * self.frames_max..at * self.frames_max + self.done]
    }

    /// Follows these partials (number, hertz) from now on, and anew from the onset if they differ from those before.
    pub(crate) fn follow(&mut self, partials: &[(usize, f64)], first_hz: f64, history: &History) {
        let frame_s = (PERIODS / first_hz).clamp(FRAME_S.0, FRAME_S.1);
        let tolerance = 0.25 / frame_s;
        let same = partials.len() <= self.followed.len()
            && partials
                .iter()
                .zip(&self.followed)
                .all(|(new, old)| new.0 == old.n && (new.1 - old.hz).abs() < tolerance);
        if same && !partials.is_empty() {
            return;
        }
        self.len = ((frame_s * self.rate) as usize).min(self.frame_len_max);
        self.window.clear();
        let len = self.len;
        self.window.extend((0..len).map(|n| {
            let turn = (n as f32 + 0.5) / len as f32;
            (0.5 - 0.5 * (std::f32::consts::TAU * turn).cos()) * 4.0 / len as f32
        }));
        self.followed.clear();
        self.followed.extend(
            partials
                .iter()
                .take(FOLLOWED_MAX)
                .map(|&(n, hz)| Followed { n, hz, before: 0.0 }),
        );
        for at in 0..self.followed.len() {
            let step = std::f64::consts::TAU * self.followed[at].hz / self.rate;
            let table = at * self.frame_len_max;
            // Turned on from sample to sample: after a thousand turns it is still exact to a trillionth.
            let (turn, mut z) = (Complex::from_polar(1.0, step), Complex::new(1.0, 0.0));
            for n in 0..len {
                self.cosines[table + n] = z.re as f32 * self.window[n];
                self.sines[table + n] = z.im as f32 * self.window[n];
                z *= turn;
            }
        }
        self.done = 0;
        self.beside.begin();
        self.look_before(history);
    }

    /// Looks what sounds beside the partials in the newest frame.
    pub(crate) fn look_beside(&mut self, history: &History) {
        let end = self.onset + (self.done.saturating_sub(1) * self.hop + self.len) as u64;
        let len = 2 * self.len;
        let sound = end.checked_sub(len as u64).and_then(|from| history.slice(from, len));
        if let Some(sound) = sound.filter(|_| self.done > 0) {
            self.beside.look(&self.followed, sound, self.rate);
        }
    }

    /// Whether the newest frame is as new as it can be at sample `now`: a note is not followed for ever.
    pub(crate) fn is_at(&self, now: u64) -> bool {
        self.onset + (self.done * self.hop + self.len) as u64 > now
    }

    /// Mean square amplitude of what is beside the partial at this place, or was before the onset where nobody has looked.
    pub(crate) fn beside(&self, at: usize) -> f64 {
        self.beside.of(at).unwrap_or(self.followed[at].before)
    }

    /// How many times the power on the partials, in the mean over the newest `frames`, is that which was beside them when
    /// they were last looked at.
    pub(crate) fn clear(&self, frames: usize) -> f64 {
        let from = self.done.saturating_sub(frames);
        let (mut on, mut beside) = (0.0, 0.0);
        for at in 0..self.followed.len() {
            let newest = &self.frames(at)[from..];
            on += newest.iter().map(|z| z.norm_sqr()).sum::<f64>() / newest.len().max(1) as f64;
            beside += self.beside(at);
        }
        on / beside.max(f64::MIN_POSITIVE)
    }

    /// Adds the frames that ended since the last call, up to sample `end`.
    pub(crate) fn advance(&mut self, history: &History, end: u64) {
        while !self.followed.is_empty() && self.done < self.frames_max {
            let start = self.onset + (self.done * self.hop) as u64;
            if start + self.len as u64 > end {
                break;
            }
            let Some(sound) = history.slice(start, self.len) else {
                break;
            };
            for at in 0..self.followed.len() {
                let turn = std::f64::consts::TAU * self.followed[at].hz * (self.done * self.hop) as f64 / self.rate;
                let frame = self.frame(at, sound) * Complex::from_polar(1.0, -turn);
                self.frames[at * self.frames_max + self.done] = frame;
            }
            self.done += 1;
        }
    }

    /// How many times the power in the bands of the partials grew from before the onset to just after it.
    ///
    /// Low strings ring for long, and a frame cannot tell the first partials of neighbours apart: there the growth of all
    /// together and that of each count alike.
    pub(crate) fn growth(&self) -> f64 {
        let all = self.growth_of_all();
        match self.followed.first() {
            Some(first) if first.hz < SLOW_HZ * first.n as f64 => (all * self.growth_of_each()).sqrt(),
            _ => all,
        }
    }

    /// The same where the string itself sounded before: what beats with something else grows in some partials only.
    pub(crate) fn growth_again(&self) -> f64 {
        self.growth_of_all().min(self.growth_of_each())
    }

    /// What all of them together were just after the onset beyond what was in their bands before, mean square amplitude.
    pub(crate) fn added(&self) -> f64 {
        let added = |(at, followed): (usize, &Followed)| (self.begin(at) - followed.before).max(0.0);
        self.followed.iter().enumerate().map(added).sum()
    }

    fn growth_of_all(&self) -> f64 {
        let before = self.followed.iter().map(|followed| followed.before).sum::<f64>();
        let after = (0..self.followed.len()).map(|at| self.begin(at)).sum::<f64>();
        after / before.max(f64::MIN_POSITIVE)
    }

    /// The geometric mean over the partials, each weighted by its amplitude.
    fn growth_of_each(&self) -> f64 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (at, followed) in self.followed.iter().enumerate() {
            let after = self.begin(at);
            let grown = after / followed.before.max(after / GROWTH_MAX).max(f64::MIN_POSITIVE);
            sum += after.sqrt() * grown.max(1.0 / GROWTH_MAX).ln();
            weights += after.sqrt();
        }
        if weights > 0.0 { (sum / weights).exp() } else { 0.0 }
    }

    /// Mean power of a partial just after the onset.
    fn begin(&self, at: usize) -> f64 {
        let frames = self.frames(at);
        let first = &frames[..frames.len().min(FRAMES_BEFORE)];
        first.iter().map(|z| z.norm_sqr()).sum::<f64>() / first.len().max(1) as f64
    }

    /// How loud each partial was at its loudest in the first 0.3 s, by its number from 1, mean square amplitude; none of those
    /// that are not followed.
    pub(crate) fn loudest<const N: usize>(&self) -> [f64; N] {
        let mut loudest = [0.0; N];
        for (at, followed) in self.followed.iter().enumerate() {
            let frames = self.frames(at);
            let first = &frames[..frames.len().min((LOUDEST_S / self.hop_s()) as usize)];
            if let Some(loudest) = followed.n.checked_sub(1).and_then(|n| loudest.get_mut(n)) {
                *loudest = first.iter().map(|z| z.norm_sqr()).fold(0.0, f64::max);
            }
        }
        loudest
    }

    /// How long after the onset the partials together were loudest, as far as the first 0.3 s go and the sound before sample
    /// `end`, beyond the length of a frame, seconds.
    pub(crate) fn late_s(&self, end: u64) -> f64 {
        let alone = (end.saturating_sub(self.onset) as usize).saturating_sub(self.len) / self.hop;
        let frames = ((LOUDEST_S / self.hop_s()) as usize).min(self.done).min(alone + 1);
        let loudest = (0..frames).max_by(|&a, &b| self.power(a).total_cmp(&self.power(b)));
        (loudest.unwrap_or(0) as f64 * self.hop_s() - self.frame_s()).max(0.0)
    }

    /// What is left of the power of all partials a quarter of a second after the onset; all of it before that.
    pub(crate) fn fading(&self) -> f64 {
        let later = (0.25 / self.hop_s()) as usize;
        if self.done <= later {
            return 1.0;
        }
        self.power(later) / self.power(1).max(f64::MIN_POSITIVE)
    }

    /// What is left of the power of all partials in the newest frame; all of it while there are too few.
    pub(crate) fn faded(&self) -> f64 {
        if self.done < 3 {
            return 1.0;
        }
        self.power(self.done - 1) / self.power(1).max(f64::MIN_POSITIVE)
    }

    /// Up to how many frames it is heard: those after it are softer than this share of its power at the onset.
    pub(crate) fn heard(&self, share: f64) -> usize {
        if self.done < 3 {
            return self.done;
        }
        let least = share * self.power(1);
        (0..self.done)
            .rev()
            .find(|&frame| self.power(frame) >= least)
            .map_or(0, |frame| frame + 1)
    }

    /// Up to how many frames it rang: a finger or a hand on it leaves little of it within one frame, and nothing comes back. More
    /// than there are, where none came.
    pub(crate) fn stopped(&self) -> usize {
        let frame = self.len / self.hop + 1;
        let (mut later, mut stopped) = (0.0_f64, usize::MAX);
        for at in (0..self.done.saturating_sub(frame)).rev() {
            later = later.max(self.power(at + frame));
            if later < STOPPED * self.power(at) {
                stopped = at.saturating_sub(STOPPED_BEFORE);
            }
        }
        if stopped < STOPPED_LEAST { usize::MAX } else { stopped }
    }

    /// Energy of all partials from one frame to another: power by seconds.
    pub(crate) fn energy(&self, from: usize, to: usize) -> f64 {
        self.hop_s() * (from..to.min(self.done)).map(|frame| self.power(frame)).sum::<f64>()
    }

    /// Power of all partials in one frame.
    fn power(&self, frame: usize) -> f64 {
        let partials = 0..self.followed.len();
        partials.map(|at| self.frames(at)[frame].norm_sqr()).sum()
    }

    fn look_before(&mut self, history: &History) {
        let guard = (GUARD_S * self.rate) as u64;
        for at in 0..self.followed.len() {
            let (mut sum, mut count) = (0.0, 0);
            for back in 0..FRAMES_BEFORE {
                let span = guard + (self.len + back * 2 * self.hop) as u64;
                let Some(sound) = self
                    .onset
                    .checked_sub(span)
                    .and_then(|start| history.slice(start, self.len))
                else {
                    break;
                };
                sum += self.frame(at, sound).norm_sqr();
                count += 1;
            }
            self.followed[at].before = if count > 0 { sum / f64::from(count) } else { 0.0 };
        }
    }

    /// Amplitude and phase of one partial at the first sample of `sound`.
    fn frame(&self, at: usize, sound: &[f32]) -> Complex<f64> {
        let table = at * self.frame_len_max..at * self.frame_len_max + self.len;
        let (cosines, sines) = (&self.cosines[table.clone()], &self.sines[table]);
        Complex::new(f64::from(dot(sound, cosines)), -f64::from(dot(sound, sines)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_partial_off_by_a_hertz_turns_once_a_second() {
        let rate = 16_000.0;
        let mut history = History::new(64_000);
        for n in 0..24_000 {
            history.push((std::f64::consts::TAU * 441.0 * f64::from(n) / rate).cos() as f32);
        }
        let mut follower = Follower::new(rate, 160);
        follower.start(1_600);
        follower.follow(&[(1, 440.0)], 440.0, &history);
        follower.advance(&history, history.count());
        let frames = follower.frames(0);
        assert!(frames.iter().all(|z| (z.norm() - 1.0).abs() < 0.01));
        let turned = (frames[10] * frames[0].conj()).arg() / std::f64::consts::TAU;
        assert!((turned - 0.1).abs() < 1e-4, "{turned}");
    }
}
