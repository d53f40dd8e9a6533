//! Where a note's string stands while it sounds: followed where it was found, and chased once it is turned away from there.

use consort_proto::{Cents, Hz};

use super::measured::{Measured, SIGMA_FLOOR_CENTS, pitch_of};
use super::{LEFT_OVER, Note};
use crate::fit::{CENT, FittedString, fit_string};
use crate::frequency::{Framing, turning};
use crate::heard::Timbre;
use crate::history::History;
use crate::measuring::together;
use crate::own::middle;
use crate::partials::FOLLOWED_MAX;

/// The live track uses this much sound, seconds, beyond one frame.
const TRACK_S: f64 = 0.05;
/// Where a string was heard last is told from this much sound, seconds, beyond one frame: less may fall where its lines beat.
const WENT_S: f64 = 0.15;
/// The live track is told while the partials have this many times the power of what sounds beside them (25 dB): of weaker
/// ones every fifth track of a string in tune was more than five cents off, of stronger ones one of fifty (virtual harps
/// that fade while others warm up and talk).
const TRACK_CLEAR: f64 = 300.0;
/// The same of a string that is chased (20 dB): most of its partials agree where it is.
const CHASE_CLEAR: f64 = 100.0;
/// A string that is heard further than this, cents, from where it was found is chased, if it is known so well where it is.
const CHASED_FROM_CENTS: f64 = 15.0;
const CHASED_SURE_CENTS: f64 = 1.5;

/// How far a string went.
#[derive(Clone, Copy, Debug)]
pub(super) struct Went {
    /// From where it was measured to where its newest sound is, and the standard deviation of that, cents.
    pub(super) cents: f64,
    pub(super) sigma_cents: f64,
}

impl Note {
    /// How stiff its string is, as it measures so far.
    pub(crate) fn stiffness(&mut self) -> Option<f64> {
        self.measure().map(|measured| measured.inharmonicity)
    }

    /// Whether its partials stood clear of what sounds beside them when that was last looked at.
    pub(super) fn is_clear(&self) -> bool {
        let span = (TRACK_S / self.follower.hop_s()).round() as usize;
        self.follower.clear(span) > TRACK_CLEAR
    }

    /// Where the string stands just now, told ahead of the sound that shows it; nothing once it has faded into what sounds
    /// beside it, or is followed no more.
    pub(crate) fn track_clear(&mut self, history: &History) -> Option<Measured> {
        let (middle_s, looked) = self.look_clear(history)?;
        let now_s = history.count() as f64 / self.rate;
        let believed = self.trend.look(middle_s, looked.hz.get(), looked.sigma.0);
        let ahead = self.trend.ahead(now_s).filter(|_| believed)?;
        let found_hz = self.verdict?.hz;
        let has_left = (ahead.hz / found_hz).ln().abs() > CHASED_FROM_CENTS * CENT;
        if self.chase.is_home() && has_left && ahead.sigma_cents < CHASED_SURE_CENTS {
            self.chase.begin(found_hz, looked.hz.get(), looked.inharmonicity);
        }
        Some(Measured {
            hz: Hz::new(ahead.hz).ok()?,
            sigma: Cents(ahead.sigma_cents),
            ..looked
        })
    }

    /// Where the string stood in the middle of its newest sound, and when that was, seconds.
    ///
    /// Every second time it is looked what sounds beside it, which takes longer than the rest.
    fn look_clear(&mut self, history: &History) -> Option<(f64, Measured)> {
        if !self.chase.is_home() {
            return self.look_chased(history);
        }
        if !self.looked_beside {
            self.follower.look_beside(history);
        }
        self.looked_beside = !self.looked_beside;
        if !self.follower.is_at(history.count()) {
            return None;
        }
        let tracked = self.is_clear().then(|| self.track()).flatten()?;
        // The newest frame ended within the last hop.
        let looked_over_s = self.follower.frame_s() + TRACK_S + self.follower.hop_s();
        Some((history.count() as f64 / self.rate - 0.5 * looked_over_s, tracked))
    }

    /// The same of a string that is chased.
    fn look_chased(&mut self, history: &History) -> Option<(f64, Measured)> {
        // From its next pluck on it is that one's; while that is in doubt, the string is watched and not told of.
        if self.ended {
            return None;
        }
        let (middle_s, found) = self.chase.look_newest(history, self.rate, &self.trend)?;
        let found = found?;
        let fitted = FittedString {
            hz: found.hz,
            stiffness: found.stiffness,
            stiffness_at_most: found.stiffness,
            sigma_cents: found.sigma_cents,
        };
        let measured = Self::newest(self.verdict?.string, fitted)?;
        if history.count() >= self.end {
            self.trend.look(middle_s, found.hz, found.sigma_cents);
            return None;
        }
        (found.clear > CHASE_CLEAR).then_some((middle_s, measured))
    }

    /// What was fitted to the newest sound.
    fn newest(string: u8, fitted: FittedString) -> Option<Measured> {
        let sigma = Cents(fitted.sigma_cents.hypot(SIGMA_FLOOR_CENTS));
        Some(Measured {
            string,
            hz: Hz::new(fitted.hz).ok()?,
            sigma,
            still: sigma,
            glide: Cents(0.0),
            moved: Cents(0.0),
            together: Cents(0.0),
            inharmonicity: fitted.stiffness,
            inharmonicity_at_most: fitted.stiffness_at_most,
            count: 0,
            added: 0.0,
            timbre: Timbre::default(),
            unheard: Cents(0.0),
        })
    }

    /// How far most of its partials had gone from where each was measured when they were heard last: one by one, since which
    /// of them are heard changes while they fade, and not all lie where the string's stiffness puts them.
    pub(super) fn went(&self) -> Option<Went> {
        let span = (WENT_S / self.follower.hop_s()).round() as usize;
        let heard = self.follower.heard(LEFT_OVER).min(self.follower.stopped());
        let newest = heard.checked_sub(span)?..heard;
        let (from, to) = self.measured_over;
        let mut each = [(0.0, 0.0, 0.0); FOLLOWED_MAX];
        let mut count = 0;
        for (at, followed) in self.follower.followed().iter().enumerate() {
            let frames = self.follower.frames(at);
            let told = |over: std::ops::Range<usize>, noise| {
                let framing = Framing {
                    noise,
                    ..self.framing()
                };
                turning(frames.get(over)?, framing)
            };
            let was = told(from..to, followed.before);
            let is = told(newest.clone(), self.follower.beside(at));
            if let (Some(was), Some(is)) = (was, is) {
                let went = ((followed.hz + is.hz) / (followed.hz + was.hz)).ln() / CENT;
                let sigma = was.sigma_hz.hypot(is.sigma_hz) / followed.hz / CENT;
                each[count] = (went, sigma, is.energy.sqrt());
                count += 1;
            }
        }
        let each = &each[..count];
        (count > 0).then(|| Went {
            cents: if count > 1 {
                together(each.iter().map(|&(went, _, weight)| (weight, went)))
            } else {
                each[0].0
            },
            sigma_cents: middle(each.iter().map(|&(_, sigma, weight)| (sigma, weight))),
        })
    }

    /// Where the string stands just now, whatever else sounds.
    pub(crate) fn track(&mut self) -> Option<Measured> {
        let verdict = self.verdict?;
        let span = (TRACK_S / self.follower.hop_s()).round() as usize;
        let to = self.follower.count();
        let fitted = self.fit_newest(to.checked_sub(span)?, to, verdict.hz)?;
        Self::newest(verdict.string, fitted)
    }

    /// The string over its newest frames.
    fn fit_newest(&mut self, from: usize, to: usize, near_hz: f64) -> Option<FittedString> {
        let mut count = 0;
        for (at, followed) in self.follower.followed().iter().enumerate() {
            let frames = self.follower.frames(at).get(from..to)?;
            let noise = self.follower.beside(at);
            let Some(turning) = turning(
                frames,
                Framing {
                    noise,
                    ..self.framing()
                },
            ) else {
                continue;
            };
            self.pitches[count] = pitch_of(followed, turning);
            count += 1;
        }
        fit_string(&self.pitches[..count], near_hz)
    }
}
