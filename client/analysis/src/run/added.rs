//! What one pluck added to the ringing of many strings, held against the partials of every string.

use crate::character::{expected_stiffness, partial_ratio};
use crate::context::{Context, ExpectedString, STRINGS_MAX};
use crate::fit::CENT;
use crate::history::History;
use crate::spectrum::Spectrum;
use crate::window::hann_into;

/// The sound after a pluck is looked at over this long, seconds, or until the next one; that before it likewise.
const LOOK_S: (f64, f64) = (0.1, 0.25);
/// It is looked at once more so much later, seconds: what beats and the attack shake each look in its own way, their mean less.
const AGAIN_S: f64 = 0.02;
/// The stretch before ends this long before the pluck, seconds, lest the attack leak into it.
const GUARD_S: f64 = 0.008;
/// Band in which the sound is to be explained, hertz.
const BAND_HZ: (f64, f64) = (26.0, 6000.0);
/// No partial is expected above this share of the rate.
const BAND_SHARE: f64 = 0.45;
/// Partials that a string is looked for by, and those that are missed.
const PARTIALS: usize = 20;
const MISSED: usize = 10;
/// A partial lies within so many resolution cells of its place, and this many cents; before the pluck it may have lain that
/// many cells further.
const NEAR_CELLS: f64 = 0.35;
const NEAR_CENTS: f64 = 3.0;
const BEFORE_CELLS: f64 = 0.3;
/// What was there before counts this many times against what is there now, as powers.
const RINGS_ON: f32 = 2.0;
/// A line has this many times the power that was near it before to be new, and this ratio of the strongest at least.
const FRESH: f32 = 3.0;
const LEAST: f32 = 3e-5;
/// A line weaker than this ratio of powers (26 dB) beside a stronger one, within so many cells, is its side lobe.
const SIDE_LOBE: f32 = 2.5e-3;
const SIDE_LOBE_CELLS: f64 = 3.0;
/// Weight of a line as a power of its relative power.
const WEIGHT_POWER: f32 = 0.45;
/// What a partial costs that is not there, though its neighbours, or higher ones, are, by these shares; even ones cost less,
/// since a pluck near the middle leaves them weak, and so do those that are so low that soundboards are weak.
const MISSING: f64 = 1.2;
const NEIGHBOURS: f64 = 0.35;
const HIGHER: f64 = 0.4;
const EVEN: f64 = 0.4;
const WEAK_BELOW_HZ: f64 = 160.0;
/// Where a string is looked for around the place where it was heard last, cents: strings slip, or a wrong pin was turned.
const PLACES_CENTS: [f64; 11] = [0.0, -6.0, 6.0, -12.0, 12.0, -20.0, 20.0, -30.0, 30.0, -42.0, 42.0];
/// What each cent away from there costs, as a share of the sound that has to be explained better.
const AWAY_PER_CENT: f64 = 0.004;

/// How well one string explains what was added.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Likeness {
    /// Share of it that the string explains, less what is missing of the string: 1 at most.
    pub(crate) score: f64,
    /// The pitch at which it explains most, hertz.
    pub(crate) hz: f64,
}

/// Looks at plucks.
pub(crate) struct Added {
    rate: f64,
    spectrum: Spectrum,
    window: Vec<f32>,
    after: Vec<f32>,
    before: Vec<f32>,
}

/// Lengths of the two stretches that are compared, seconds, and the strongest power after the pluck.
#[derive(Clone, Copy)]
struct Look {
    after_s: f64,
    before_s: f64,
    strongest: f32,
}

impl Added {
    pub(crate) fn new(rate: f64) -> Self {
        let longest = (LOOK_S.1 * rate) as usize;
        let spectrum = Spectrum::new(2 * longest.next_power_of_two());
        Self {
            rate,
            window: Vec::with_capacity(longest),
            after: vec![0.0; spectrum.bins()],
            before: vec![0.0; spectrum.bins()],
            spectrum,
        }
    }

    /// How long after a pluck all is there that is looked at, unless another one comes before, seconds.
    pub(crate) const fn whole_s() -> f64 {
        LOOK_S.1
    }

    /// Holds what was added at sample `onset`, after a pluck at `earlier` and before one at `later`, against every string of
    /// `context`; gives the level of the strongest line that is new, decibels, if any is. Never allocates.
    pub(crate) fn weigh(
        &mut self,
        history: &History,
        onset: u64,
        around: (u64, u64),
        context: &Context,
        likeness: &mut [Likeness; STRINGS_MAX],
    ) -> Option<f64> {
        let level_db = self.look(history, (onset, 0), around, context, likeness)?;
        let mut again = [Likeness::default(); STRINGS_MAX];
        let passed = (AGAIN_S * self.rate) as u64;
        if self
            .look(history, (onset, passed), around, context, &mut again)
            .is_some()
        {
            for (likeness, again) in likeness.iter_mut().zip(&again) {
                likeness.score = 0.5 * (likeness.score + again.score);
            }
        }
        Some(level_db)
    }

    /// The same by one look, which begins when so many samples have passed since `onset`.
    fn look(
        &mut self,
        history: &History,
        (onset, passed): (u64, u64),
        (earlier, later): (u64, u64),
        context: &Context,
        likeness: &mut [Likeness; STRINGS_MAX],
    ) -> Option<f64> {
        *likeness = [Likeness::default(); STRINGS_MAX];
        let long = |samples: u64| (samples as f64 / self.rate).clamp(LOOK_S.0, LOOK_S.1);
        let guard = (GUARD_S * self.rate) as u64;
        let (until, onset) = (onset.saturating_sub(guard), onset + passed);
        let after_s = long(later.min(history.count()).saturating_sub(onset));
        let before_s = long(until.saturating_sub(earlier + guard));
        hann_into(&mut self.window, (after_s * self.rate) as usize);
        let sound = history.slice(onset, self.window.len())?;
        self.spectrum.power(sound, &self.window, &mut self.after);
        hann_into(&mut self.window, (before_s * self.rate) as usize);
        let from = until.checked_sub(self.window.len() as u64);
        match from.and_then(|from| history.slice(from, self.window.len())) {
            Some(sound) => self.spectrum.power(sound, &self.window, &mut self.before),
            None => self.before.fill(0.0),
        }
        let (first, last) = (
            self.bin(BAND_HZ.0).max(2),
            self.bin(BAND_HZ.1).min(self.after.len() - 2),
        );
        let strongest = self.after[first..last].iter().copied().fold(0.0, f32::max);
        let look = Look {
            after_s,
            before_s,
            strongest,
        };
        let (all, newest) = self.fresh(look, first..last);
        if all <= 0.0 {
            return None;
        }
        for (number, string) in context.strings() {
            let place = &mut likeness[usize::from(number) - 1];
            *place = self.best(string, context, look, all);
        }
        Some(10.0 * f64::from(newest).log10())
    }

    /// The weight of all lines that are new, and the most power of one.
    fn fresh(&self, look: Look, band: std::ops::Range<usize>) -> (f64, f32) {
        let cells = |cells: f64, seconds: f64| (cells / seconds / self.bin_hz()).ceil() as usize;
        let (reach, lobe) = (cells(0.75, look.before_s), cells(SIDE_LOBE_CELLS, look.after_s));
        let (mut all, mut newest) = (0.0, 0.0_f32);
        for bin in band {
            let power = self.after[bin];
            if power < LEAST * look.strongest || power < self.after[bin - 1] || power <= self.after[bin + 1] {
                continue;
            }
            let there = most(&self.before, bin.saturating_sub(reach), bin + reach + 1);
            let beside = most(&self.after, bin.saturating_sub(lobe), bin + lobe + 1);
            if power > FRESH * there && power > SIDE_LOBE * beside {
                all += weight(power - RINGS_ON * there, look.strongest);
                newest = newest.max(power);
            }
        }
        (all, newest)
    }

    /// The place at which `string` explains most.
    fn best(&self, string: &ExpectedString, context: &Context, look: Look, all: f64) -> Likeness {
        let last = string.offset.unwrap_or(context.spread.mean).0;
        let mut best = Likeness {
            score: f64::NEG_INFINITY,
            hz: string.target.get(),
        };
        let mut most = f64::NEG_INFINITY;
        for away in PLACES_CENTS {
            let hz = string.target.get() * ((last + away) * CENT).exp();
            let score = (self.explained(hz, look, all)).min(1.0);
            let worth = score - AWAY_PER_CENT * away.abs();
            if worth > most {
                most = worth;
                best = Likeness { score, hz };
            }
        }
        best
    }

    /// The share of `all` that a string at `hz` explains, less what is missing of it.
    fn explained(&self, hz: f64, look: Look, all: f64) -> f64 {
        let stiffness = expected_stiffness(hz);
        let (mut found, mut masked) = ([0.0_f64; PARTIALS], [0.0_f64; PARTIALS]);
        let (mut sum, mut count) = (0.0, 0);
        for (n, (found, masked)) in (1..).zip(found.iter_mut().zip(&mut masked)) {
            let at = hz * partial_ratio(n, stiffness);
            if at > BAND_HZ.1.min(BAND_SHARE * self.rate) {
                break;
            }
            let near = NEAR_CELLS / look.after_s + at * NEAR_CENTS * CENT;
            let after = self.most_near(&self.after, at, near);
            let before = RINGS_ON * self.most_near(&self.before, at, near + BEFORE_CELLS / look.before_s);
            *found = weight(after - before, look.strongest);
            *masked = weight(before, look.strongest).min(1.0);
            // A comb that covers everything explains nothing.
            sum += *found * (1.0 - (2.0 * near / hz).min(1.0));
            count = n;
        }
        let found = &found[..count];
        let mut missing = 0.0;
        for (n, (own, masked)) in found.iter().zip(masked).enumerate().take(MISSED) {
            let most = |found: &[f64]| found.iter().copied().fold(0.0, f64::max);
            let around = most(&found[n.saturating_sub(2)..(n + 3).min(count)]);
            let should = (NEIGHBOURS * around).max(HIGHER * most(&found[n..]));
            let low = (hz * (n + 1) as f64 / WEAK_BELOW_HZ).min(1.0);
            let parity = if n % 2 == 0 { 1.0 } else { EVEN };
            missing += (should - own.max(masked)).max(0.0) * parity * low * low.sqrt();
        }
        (sum - MISSING * missing) / all.max(sum)
    }

    /// The most power within `near` hertz of `hz`.
    fn most_near(&self, power: &[f32], hz: f64, near: f64) -> f32 {
        let to = ((hz + near) / self.bin_hz()).ceil() as usize;
        most(power, self.bin(hz - near), to + 1)
    }

    fn bin(&self, hz: f64) -> usize {
        (hz.max(0.0) / self.bin_hz()) as usize
    }

    fn bin_hz(&self) -> f64 {
        self.rate / (2 * (self.after.len() - 1)) as f64
    }
}

/// The most power from one bin to before another.
fn most(power: &[f32], from: usize, to: usize) -> f32 {
    let to = to.min(power.len());
    power[from.min(to)..to].iter().copied().fold(0.0, f32::max)
}

/// How much a line of this power counts.
fn weight(power: f32, strongest: f32) -> f64 {
    f64::from((power.max(0.0) / strongest).powf(WEIGHT_POWER))
}
