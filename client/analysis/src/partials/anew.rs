//! Whether a string that rang was stopped and plucked anew: the finger that plucks it ends its swing, and the phases of its
//! partials do not go on.
//!
//! Source for phases as a sign of onsets: J. P. Bello, C. Duxbury, M. Davies, M. Sandler, "On the Use of Phase and Energy for
//! Musical Onset Detection in the Complex Domain", IEEE Signal Processing Letters 11 (2004) 553–556.

use consort_transform::Complex;

use super::{FOLLOWED_MAX, Followed, Follower};
use crate::history::History;

/// So many frames to either side are looked at, so many hops apart.
const FRAMES: usize = 8;
const APART: usize = 2;
/// Fewer than this say nothing.
const FRAMES_MIN: usize = 3;
/// A finger lies on the string for the last so many seconds, and a pluck has begun after so many.
const TOUCHED_S: f64 = 0.05;
const BEGUN_S: f64 = 0.005;
/// A partial tells only while it has this many times the power of what was there before its own pluck, and this share of the
/// power of the strongest.
const CLEAR: f64 = 10.0;
const SHARE_MIN: f64 = 1e-3;
/// Of what goes on, the cosine of the angle by which partials come out of step is near one, in the mean; of what is plucked
/// anew it is near nothing.
const IN_STEP: f64 = 0.5;
/// A string that is plucked anew gains power in those of its partials that gain any: in the mean of all, losses counted as none,
/// by more than this, decibels. One that only jumps, where samples were lost, gains none: 21 of 92 losses were above this, of 183
/// plucks all but six.
const GAINED_DB: f64 = 1.0;
/// A string that has less than this share of its power afterwards was only stopped, or has died away.
const LEFT: f64 = 0.25;

/// What one partial does on one side of a moment.
#[derive(Clone, Copy)]
struct Side {
    /// Amplitude and phase in the middle of its frames, and when that is, samples.
    middle: Complex<f64>,
    at: f64,
    /// By how much its phase turns, beyond that of the frequency brought down to zero, radians per sample.
    turn: f64,
}

impl Follower {
    /// Whether the string was stopped at sample `onset` and plucked anew; told by the partials that are no multiple of `but`,
    /// all of them if that is nothing.
    ///
    /// Never allocates.
    pub(crate) fn is_plucked_anew(&self, history: &History, onset: u64, but: usize) -> bool {
        let mut sides = [None; FOLLOWED_MAX];
        let mut strongest = 0.0_f64;
        for (at, side) in sides.iter_mut().enumerate().take(self.followed.len()) {
            *side = self.sides(at, history, onset);
            if let Some((before, _)) = side {
                strongest = strongest.max(before.middle.norm_sqr());
            }
        }
        let (mut in_step, mut all) = (0.0, 0.0);
        let (mut left, mut was, mut gained_db) = (0.0, 0.0, 0.0);
        for (followed, side) in self.followed.iter().zip(&sides) {
            let Some((before, after)) = side else {
                continue;
            };
            let (power, later) = (before.middle.norm_sqr(), after.middle.norm_sqr());
            if power < CLEAR * followed.before
                || power < SHARE_MIN * strongest
                || but > 1 && followed.n.is_multiple_of(but)
            {
                continue;
            }
            // A frequency that glides evenly has turned by the mean of both.
            let turned = 0.5 * (before.turn + after.turn) * (after.at - before.at);
            let out_of_step = (after.middle * before.middle.conj()).arg() - turned;
            let weight = (power * later).powf(0.25);
            in_step += weight * out_of_step.cos();
            all += weight;
            gained_db += weight * 10.0 * (later / power).log10().max(0.0);
            left += later;
            was += power;
        }
        all > 0.0 && in_step < IN_STEP * all && left > LEFT * was && gained_db > GAINED_DB * all
    }

    /// One partial before and after a moment.
    fn sides(&self, at: usize, history: &History, onset: u64) -> Option<(Side, Side)> {
        let apart = (APART * self.hop) as u64;
        let end = onset.checked_sub((TOUCHED_S * self.rate) as u64 + self.len as u64)?;
        let count = ((end.checked_sub(self.onset)? / apart) as usize + 1).min(FRAMES);
        let before = self.side(at, history, end - (count - 1) as u64 * apart, count)?;
        let begin = onset + (BEGUN_S * self.rate) as u64;
        let room = history.count().checked_sub(begin + self.len as u64)?;
        let after = self.side(at, history, begin, ((room / apart) as usize + 1).min(FRAMES))?;
        Some((before, after))
    }

    /// `count` frames of one partial from a sample on.
    fn side(&self, at: usize, history: &History, from: u64, count: usize) -> Option<Side> {
        if count < FRAMES_MIN {
            return None;
        }
        let apart = (APART * self.hop) as f64;
        let step = std::f64::consts::TAU * self.followed[at].hz / self.rate;
        let mut frames = [Complex::default(); FRAMES];
        for (n, frame) in frames.iter_mut().enumerate().take(count) {
            let start = from + (n * APART * self.hop) as u64;
            let back = Complex::from_polar(1.0, -step * (start - self.onset) as f64);
            *frame = self.frame(at, history.slice(start, self.len)?) * back;
        }
        let frames = &frames[..count];
        let turn = frames
            .windows(2)
            .map(|pair| pair[1] * pair[0].conj())
            .sum::<Complex<f64>>()
            .arg();
        let middle = 0.5 * (count - 1) as f64;
        let sum = frames
            .iter()
            .enumerate()
            .map(|(n, frame)| frame * Complex::from_polar(1.0, -turn * (n as f64 - middle)))
            .sum::<Complex<f64>>();
        Some(Side {
            middle: sum / count as f64,
            at: from as f64 + middle * apart,
            turn: turn / apart,
        })
    }

    /// Takes what was there before the partials from `over`, those that the same string had before it was stopped: what it did
    /// itself says nothing.
    pub(crate) fn forget(&mut self, over: &[Followed]) {
        for followed in &mut self.followed {
            if let Some(same) = over
                .iter()
                .find(|same| (same.hz - followed.hz).abs() * self.len as f64 <= self.rate)
            {
                followed.before = followed.before.min(same.before);
            }
        }
    }
}
