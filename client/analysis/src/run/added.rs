//! What one pluck added to the ringing of many strings, held against the partials of every string.

use super::likeness::{Likeness, Line, PARTIALS};
use crate::character::{expected_stiffness, partial_ratio};
use crate::context::{Context, ExpectedString, STRINGS_MAX};
use crate::fit::CENT;
use crate::history::History;
use crate::spectrum::{Spectrum, peak_place};
use crate::window::hann_into;

/// The sound after a pluck is looked at over this long, seconds, or until the next one; that before it likewise.
const LOOK_S: (f64, f64) = (0.1, 0.4);
/// It is looked at once more so much later, seconds: what beats and the attack shake each look in its own way, their mean less.
const ONCE_MORE_S: f64 = 0.02;
/// The stretch before ends this long before the pluck, seconds, lest the attack leak into it.
const GUARD_S: f64 = 0.008;
/// Band in which the sound is to be explained, hertz.
const BAND_HZ: (f64, f64) = (26.0, 6000.0);
/// No partial is expected above this share of the rate.
const BAND_SHARE: f64 = 0.45;
/// A partial lies within so many resolution cells of its place, and this many cents; before the pluck it may have lain that
/// many cells further.
const NEAR_CELLS: f64 = 0.35;
const NEAR_CENTS: f64 = 3.0;
const BEFORE_CELLS: f64 = 0.3;
/// What was there before counts this many times against what is there now, as powers.
const RINGS_ON: f32 = 1.15;
/// A line has this ratio of the strongest's power at least; and it was there before within so many resolution cells.
const REACH_CELLS: f64 = 0.75;
const LEAST: f32 = 3e-5;
/// The lines of the string that was plucked last still move: they count so much less.
const MOVES: f64 = 0.7;
/// A line weaker than this ratio of powers (26 dB) beside a stronger one, within so many cells, is its side lobe.
const SIDE_LOBE: f32 = 2.5e-3;
const SIDE_LOBE_CELLS: f64 = 3.0;
/// Weight of a line as a power of its relative power.
const WEIGHT_POWER: f32 = 0.45;
/// Where a string is looked for around the place where it was heard last, cents: strings slip, or a wrong pin was turned.
const PLACES_CENTS: [f64; 11] = [0.0, -6.0, 6.0, -12.0, 12.0, -20.0, 20.0, -30.0, 30.0, -42.0, 42.0];
/// What each cent away from there costs, as a share of the sound that has to be explained better.
const AWAY_PER_CENT: f64 = 0.004;

/// Looks at plucks.
pub(crate) struct Added {
    rate: f64,
    spectrum: Spectrum,
    window: Vec<f32>,
    after: Vec<f32>,
    before: Vec<f32>,
    /// The lines that are new, in the order of their frequencies.
    lines: Vec<Line>,
}

/// Lengths of the two stretches that are compared, seconds, and the strongest power after the pluck.
#[derive(Clone, Copy)]
struct Look {
    after_s: f64,
    before_s: f64,
    strongest: f32,
}

impl Look {
    /// How far a partial at this frequency may lie from its place, hertz.
    fn stray(self, hz: f64) -> f64 {
        NEAR_CELLS / self.after_s + hz * NEAR_CENTS * CENT
    }
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
            lines: Vec::with_capacity(spectrum.bins() / 2 + 1),
            spectrum,
        }
    }

    /// How long after a pluck all is there that is looked at, unless another one comes before, seconds.
    pub(crate) const fn whole_s() -> f64 {
        LOOK_S.1
    }

    /// Holds what was added at sample `onset` against every string of `context`; the plucks before and after it were at the samples
    /// `around`, and the one before was that of a string at `last`, hertz, with this probability. Gives the level of the strongest
    /// line that is new, decibels, if any is.
    ///
    /// Never allocates.
    pub(crate) fn weigh(
        &mut self,
        history: &History,
        onset: u64,
        around: (u64, u64),
        last: Option<(f64, f64)>,
        context: &Context,
        likeness: &mut [Likeness; STRINGS_MAX],
    ) -> Option<f64> {
        let level_db = self.look(history, (onset, 0), around, last, context, likeness)?;
        let mut again = [Likeness::default(); STRINGS_MAX];
        let passed = (ONCE_MORE_S * self.rate) as u64;
        if self
            .look(history, (onset, passed), around, last, context, &mut again)
            .is_some()
        {
            for (likeness, again) in likeness.iter_mut().zip(&again) {
                likeness.score = 0.5 * (likeness.score + again.score);
                likeness.nats = 0.5 * (likeness.nats + again.nats);
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
        last: Option<(f64, f64)>,
        context: &Context,
        likeness: &mut [Likeness; STRINGS_MAX],
    ) -> Option<f64> {
        for (number, string) in context.strings() {
            // Where nothing is new the string is expected where it was.
            likeness[usize::from(number) - 1] = Likeness {
                hz: string.target.get() * (last_cents(string, context) * CENT).exp(),
                ..Likeness::NONE
            };
        }
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
        let (first, end) = (
            self.bin(BAND_HZ.0).max(2),
            self.bin(BAND_HZ.1).min(self.after.len() - 2),
        );
        let strongest = self.after[first..end].iter().copied().fold(0.0, f32::max);
        let look = Look {
            after_s,
            before_s,
            strongest,
        };
        let (all, newest) = self.find(look, first..end, last);
        if all <= 0.0 {
            return None;
        }
        for (number, string) in context.strings() {
            let place = &mut likeness[usize::from(number) - 1];
            *place = self.best(string, context, look, all);
        }
        Some(10.0 * f64::from(newest).log10())
    }

    /// Finds the lines that are new; gives the weight of all of them, and the most power of one.
    fn find(&mut self, look: Look, band: std::ops::Range<usize>, last: Option<(f64, f64)>) -> (f64, f32) {
        let cells = |cells: f64, seconds: f64| (cells / seconds / self.bin_hz()).ceil() as usize;
        let (reach, lobe) = (cells(REACH_CELLS, look.before_s), cells(SIDE_LOBE_CELLS, look.after_s));
        let bin_hz = self.bin_hz();
        let (mut all, mut newest) = (0.0, 0.0_f32);
        self.lines.clear();
        for bin in band {
            let [left, power, right] = [self.after[bin - 1], self.after[bin], self.after[bin + 1]];
            if power < LEAST * look.strongest || power < left || power <= right {
                continue;
            }
            let there = RINGS_ON * most(&self.before, bin.saturating_sub(reach), bin + reach + 1);
            let beside = most(&self.after, bin.saturating_sub(lobe), bin + lobe + 1);
            if power > there && power > SIDE_LOBE * beside {
                let hz = peak_place(&self.after, bin) * bin_hz;
                let moves = last.filter(|(last_hz, _)| lies_on(hz, *last_hz, look.stray(hz)));
                let weight =
                    weight(power - there, look.strongest) * (1.0 - MOVES * moves.map_or(0.0, |(_, sure)| sure));
                self.lines.push(Line { hz, weight });
                all += weight;
                newest = newest.max(power);
            }
        }
        (all, newest)
    }

    /// How well `string` explains what was added where it explains most.
    fn best(&self, string: &ExpectedString, context: &Context, look: Look, all: f64) -> Likeness {
        let last = last_cents(string, context);
        let ceiling_hz = BAND_HZ.1.min(BAND_SHARE * self.rate);
        let rings = |at: f64| {
            let near = look.stray(at) + BEFORE_CELLS / look.before_s;
            weight(RINGS_ON * self.most_near(&self.before, at, near), look.strongest).min(1.0)
        };
        let mut best = Likeness::default();
        let mut most = f64::NEG_INFINITY;
        for away in PLACES_CENTS {
            let hz = string.target.get() * ((last + away) * CENT).exp();
            let likeness = Likeness::new(hz, away, (&self.lines, all), ceiling_hz, |at| look.stray(at), rings);
            let worth = likeness.score - AWAY_PER_CENT * away.abs();
            if worth > most {
                (most, best) = (worth, likeness);
            }
        }
        best
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

/// Whether a line at `hz` is a partial of the string at `string_hz`, which may stray so far.
fn lies_on(hz: f64, string_hz: f64, stray: f64) -> bool {
    let stiffness = expected_stiffness(string_hz);
    let nearest = (hz / string_hz).round().max(1.0) as usize;
    // A stiff string's partials lie higher, and so nearer to the number below.
    [nearest.saturating_sub(1).max(1), nearest]
        .into_iter()
        .any(|n| n <= PARTIALS && (string_hz * partial_ratio(n, stiffness) - hz).abs() < stray)
}

/// How far a string stood from its target when it was heard last, or may be expected to, cents.
fn last_cents(string: &ExpectedString, context: &Context) -> f64 {
    string.offset.unwrap_or(context.spread.mean).0
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
