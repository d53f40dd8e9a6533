//! What a note measures as, by the frames of its partials.

use consort_proto::{Cents, Hz};

use super::Note;
use crate::fit::{CENT, FittedString, PartialPitch, fit_string, uncertainty_cents};
use crate::frequency::{Framing, Turning, turning};
use crate::heard::{Partials, Timbre};
use crate::identify::Verdict;
use crate::measuring::{DRIFT_S, Measures, measure};
use crate::own::Watched;
use crate::partials::{FOLLOWED_MAX, Followed};

/// The pitch of a string is its mean over this time after the pluck, seconds.
pub(super) const MEASURED_S: (f64, f64) = (0.15, 1.5);
/// While less of the note has sounded, its last part of this length is measured, seconds, and never the first share of it: the
/// attack has a pitch of its own, and the recorded strings glide by up to five cents from there on, each in its own way.
const EARLY_S: f64 = 0.2;
const EARLY_SHARE: f64 = 0.25;
/// So many frames at least make a measure.
const ALONE_FRAMES: usize = 5;
/// A glide beyond what strings do, cents, is another sound on a partial, which draws the pitch along by this share of it.
const GLIDE_USUAL_CENTS: f64 = 3.0;
const GLIDE_SHARE: f64 = 0.35;
/// Strings glide: what is heard of one and what is not, since it was stopped or another one was plucked, lie so far apart, cents
/// (one standard deviation of four harps).
const UNHEARD_CENTS: f64 = 5.0;
/// No string lasts for ever: its power falls by a factor of e in 2 s at least.
const FADES_LEAST_PER_S: f64 = 0.5;
/// What stays uncertain however well a note is measured, cents.
pub(super) const SIGMA_FLOOR_CENTS: f64 = 0.1;

/// What a note measured as, before it is put into the units of the input.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Measured {
    pub(crate) string: u8,
    pub(crate) hz: Hz,
    pub(crate) sigma: Cents,
    pub(crate) glide: Cents,
    /// How far it went while it had its energy.
    pub(super) moved: Cents,
    /// How far its strongest partials went together.
    pub(super) together: Cents,
    pub(crate) inharmonicity: f64,
    /// What it may well be at most.
    pub(super) inharmonicity_at_most: f64,
    /// How many partials it was fitted to.
    pub(super) count: usize,
    /// What its partials were together just after the onset beyond what was there before, mean square amplitude.
    pub(crate) added: f64,
    pub(crate) timbre: Timbre,
    /// Standard deviation of the pitch as far as the string stands still.
    pub(super) still: Cents,
    /// The same of what it would have done in the time that it was not heard.
    pub(crate) unheard: Cents,
}

impl Note {
    /// The pitch as it can be told from the frames so far.
    pub(super) fn measure(&mut self) -> Option<Measured> {
        let verdict = self.verdict?;
        let hop_s = self.follower.hop_s();
        let middle_s = 0.5 * self.follower.frame_s();
        let rang = self
            .follower
            .count()
            .min(self.frames_before_end())
            .min(self.follower.stopped());
        let newest_s = rang as f64 * hop_s + middle_s;
        let begun_s = middle_s + EARLY_SHARE * (newest_s - 2.0 * middle_s);
        let from_s = begun_s
            .max(newest_s - EARLY_S)
            .clamp(middle_s, MEASURED_S.0.max(middle_s));
        let from = ((from_s - middle_s) / hop_s).round() as usize;
        let to = rang.min(((MEASURED_S.1 - middle_s) / hop_s).round() as usize + 1);
        let whole = self.measure_from(verdict, from, to);
        // Frames that end before another string was plucked are its own; of few of them, little can be told.
        let before = (self.crowded.saturating_sub(self.onset) as f64 / self.rate - 2.0 * middle_s) / hop_s;
        let before = before.max(0.0) as usize;
        if before >= to || before < ALONE_FRAMES {
            return whole;
        }
        let alone = self.measure_from(verdict, from.min(before - ALONE_FRAMES), before);
        match (whole, alone) {
            (Some(whole), Some(alone)) if whole.sigma.0 < alone.sigma.0 && whole.moved.0.abs() < GLIDE_USUAL_CENTS => {
                // The last fit is the one that counts.
                self.measure_from(verdict, from, to)
            }
            (whole, alone) => alone.or(whole),
        }
    }

    /// How uncertain its pitch is for having been heard for a part only of the time over which that is the mean, cents: by the
    /// share of its energy that would have been left, had it gone on fading as it did.
    pub(super) fn unheard_cents(&self) -> f64 {
        let (from, to) = self.measured_over;
        let hop_s = self.follower.hop_s();
        let left_s = MEASURED_S.1 - (to as f64 * hop_s + 0.5 * self.follower.frame_s());
        if left_s < hop_s || to < from + 2 {
            return 0.0;
        }
        let middle = from + (to - from) / 2;
        let (first, last) = (self.follower.energy(from, middle), self.follower.energy(middle, to));
        let half_s = (middle - from) as f64 * hop_s;
        let per_s = ((first / last.max(f64::MIN_POSITIVE)).ln() / half_s).max(FADES_LEAST_PER_S);
        // From the middle of the last half on, as long as it lasts.
        let ends = last / half_s * (-0.5 * per_s * half_s).exp();
        let unheard = ends * (1.0 - (-per_s * left_s).exp()) / per_s;
        UNHEARD_CENTS * unheard / (first + last + unheard).max(f64::MIN_POSITIVE)
    }

    /// How many frames end before the note does; some may have been followed before that was known.
    fn frames_before_end(&self) -> usize {
        if self.end == u64::MAX {
            return usize::MAX;
        }
        let room_s = self.end.saturating_sub(self.onset) as f64 / self.rate - self.follower.frame_s();
        ((room_s / self.follower.hop_s() + 1.0).max(0.0) as usize).max(ALONE_FRAMES)
    }

    /// The pitch as it can be told from some of the frames.
    fn measure_from(&mut self, verdict: Verdict, from: usize, to: usize) -> Option<Measured> {
        let (fitted, measures) = self.fit_own(from, to, verdict.hz)?;
        (self.measured_over, self.own, self.falls) = ((from, to), measures.own, measures.falls);
        let glide = measures.glide;
        let drawn = GLIDE_SHARE * (measures.moved.abs() - GLIDE_USUAL_CENTS).max(0.0);
        let still = fitted.sigma_cents.hypot(SIGMA_FLOOR_CENTS);
        Some(Measured {
            string: verdict.string,
            hz: Hz::new(fitted.hz).ok()?,
            sigma: Cents(still.hypot(drawn)),
            still: Cents(still),
            unheard: Cents(0.0),
            glide: Cents(glide),
            moved: Cents(measures.moved),
            together: Cents(measures.together),
            inharmonicity: fitted.stiffness,
            inharmonicity_at_most: fitted.stiffness_at_most,
            count: measures.count,
            added: self.follower.added(),
            timbre: Timbre::default(),
        })
    }

    /// Where the partials lie against `hz`, each over all frames that were measured last: what a false string does to some of
    /// them is no law of the others, and is to be seen.
    pub(super) fn partials_above(&mut self, hz: f64) -> Partials {
        let (from, to) = self.measured_over;
        let mut count = 0;
        for (at, followed) in self.follower.followed().iter().enumerate() {
            let framing = Framing {
                noise: followed.before,
                drift: (to - from) as f64 * self.follower.hop_s() >= DRIFT_S,
                ..self.framing()
            };
            let frames = self.follower.frames(at).get(from..to);
            let Some(turning) = frames.and_then(|frames| turning(frames, framing)) else {
                continue;
            };
            self.pitches[count] = pitch_of(followed, turning);
            count += 1;
        }
        let pitches = &self.pitches[..count];
        let strongest = pitches.iter().map(|pitch| pitch.amplitude).fold(0.0, f64::max);
        let mut partials = Partials::default();
        for pitch in pitches {
            let above = (pitch.hz / (pitch.n as f64 * hz)).ln() / CENT;
            partials.set(pitch.n, Cents(above), Cents(uncertainty_cents(pitch, strongest)));
        }
        partials
    }

    /// The string over some of its frames, by what of them is its own.
    fn fit_own(&mut self, from: usize, to: usize, near_hz: f64) -> Option<(FittedString, Measures)> {
        let mut partials = [Watched::default(); FOLLOWED_MAX];
        let count = self.follower.followed().len();
        for (at, (partial, followed)) in partials.iter_mut().zip(self.follower.followed()).enumerate() {
            *partial = Watched {
                n: followed.n,
                hz: followed.hz,
                before: followed.before,
                frames: self.follower.frames(at).get(from..to)?,
            };
        }
        let measures = measure(&partials[..count], near_hz, self.framing(), &mut self.pitches)?;
        let fitted = fit_string(&self.pitches[..measures.count], measures.near_hz)?;
        Some((fitted, measures))
    }

    pub(super) fn framing(&self) -> Framing {
        Framing {
            hop_s: self.follower.hop_s(),
            frame_s: self.follower.frame_s(),
            noise: 0.0,
            drift: false,
        }
    }
}

/// What a partial that was followed says.
pub(super) fn pitch_of(followed: &Followed, turning: Turning) -> PartialPitch {
    PartialPitch {
        n: followed.n,
        hz: followed.hz + turning.hz,
        sigma_hz: turning.sigma_hz,
        amplitude: turning.energy.sqrt(),
    }
}
