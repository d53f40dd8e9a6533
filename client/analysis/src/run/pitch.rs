//! The pitch of a string that was plucked while others ring: of its partials, those that lie clear of the others' lines.

use crate::character::{expected_stiffness, partial_ratio};
use crate::fit::{CENT, FittedString, PartialPitch, fit_string, stray_cents};
use crate::history::History;
use crate::partials::FOLLOWED_MAX;
use crate::spectrum::{Spectrum, peak_place};
use crate::window::hann_into;

/// Stretches after the pluck that are looked at, as (beginning, length) in seconds, for strings below the first frequency,
/// below the second, and above: the pitch of a string is its mean from 0.15 to 1.5 s, but high ones are gone by then.
const LOW_HZ: f64 = 125.0;
const HIGH_HZ: f64 = 500.0;
const LOW_S: [(f64, f64); LOOKS] = [(0.15, 0.7), (0.4, 1.1), (0.15, 1.35)];
const MIDDLE_S: [(f64, f64); LOOKS] = [(0.1, 0.5), (0.15, 0.8), (0.15, 1.2)];
const HIGH_S: [(f64, f64); LOOKS] = [(0.03, 0.3), (0.05, 0.5), (0.05, 0.5)];
const LOOKS: usize = 3;
/// The longest of them.
const LONGEST_S: f64 = 1.35;
/// The sound before the pluck is looked at over no more than this, up to so long before it, seconds.
const BEFORE_S: f64 = 0.6;
const GUARD_S: f64 = 0.01;
/// A partial lies within so many resolution cells of its place and this many cents, but no further than this share of the
/// pitch.
const NEAR_CELLS: f64 = 0.5;
const NEAR_CENTS: f64 = 3.0;
const NEAR_SHARE: f64 = 0.3;
/// Lines of other strings within so many cells, and cents, disturb it.
const BEFORE_CELLS: f64 = 1.2;
const LATER_CELLS: f64 = 2.0;
const LATER_CENTS: f64 = 6.0;
/// What lies around it is judged over so many cells to either side.
const AROUND_CELLS: f64 = 8.0;
/// The power of what disturbs a partial, relative to its own, from which on the partial says nothing.
const DISTURBED: f64 = 4.0;
/// How far a disturbance of the same amplitude moves a line, one standard deviation, in resolution cells; and what moves it
/// in any case.
const MOVES_CELLS: f64 = 0.3;
const FLOOR_CELLS: f64 = 0.003;
/// A string wanders by itself: how far a short stretch lies from the mean, cents, one standard deviation; the longest is the mean.
const WANDERS_CENTS: f64 = 1.0;
/// And each of its partials wanders in its own way, even over the longest, cents: below and above the second frequency. Whoever
/// believes the first one alone states a tenth of a cent where strings wander by a whole one; errors themselves stay as they are.
const PARTIAL_WANDERS_CENTS: (f64, f64) = (0.4, 0.12);
/// What a reading of a run is uncertain by beside its partials' scatter about a string, cents: this at the second frequency and
/// above, lower strings by this power more, for soundboards pull all their partials; and this share of how far other stretches put
/// the same partials. Fitted to 1,700 plucks of virtual runs and of runs over harps built from recordings, and rounded.
const UNCERTAIN_CENTS: f64 = 0.1;
const UNCERTAIN_POWER: f64 = 0.75;
const UNCERTAIN_SHARE: f64 = 0.35;
/// A string is where it was looked for to within this, cents, one standard deviation.
const LOOKED_FOR_CENTS: f64 = 5.0;
/// A comb ends after this many partials in a row that say nothing.
const GAP_MAX: usize = 5;
const CEILING_HZ: f64 = 5800.0;

/// Another string that was plucked later.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Later {
    pub(crate) onset: u64,
    pub(crate) hz: f64,
}

/// Measures pitches.
pub(crate) struct Pitch {
    rate: f64,
    spectrum: Spectrum,
    window: Vec<f32>,
    looks: [Look; LOOKS],
    around: Vec<f32>,
}

/// The spectra of one stretch and of what was there before.
struct Look {
    /// Beginning after the pluck and length, seconds; no length where the sound does not reach so far.
    begins_s: f64,
    length_s: f64,
    before_s: f64,
    after: Vec<f32>,
    before: Vec<f32>,
}

impl Pitch {
    pub(crate) fn new(rate: f64) -> Self {
        let longest = (LONGEST_S * rate) as usize;
        let spectrum = Spectrum::new((longest + longest / 3).next_power_of_two());
        let bins = spectrum.bins();
        Self {
            rate,
            spectrum,
            window: Vec::with_capacity(longest),
            looks: std::array::from_fn(|_| Look {
                begins_s: 0.0,
                length_s: 0.0,
                before_s: 0.0,
                after: vec![0.0; bins],
                before: vec![0.0; bins],
            }),
            around: Vec::with_capacity(bins),
        }
    }

    /// How long after its pluck a string at `hz` can be measured, seconds.
    pub(crate) fn whole_s(hz: f64) -> f64 {
        stretches(hz)
            .iter()
            .map(|(begins_s, length_s)| begins_s + length_s)
            .fold(0.0, f64::max)
    }

    /// How long after its pluck a string at `hz` can be measured at all, seconds.
    pub(crate) const fn begun_s(hz: f64) -> f64 {
        let [(begins_s, length_s), ..] = stretches(hz);
        begins_s + length_s
    }

    /// The pitch of the string near `hz` that was plucked at sample `onset`, while `later` ones were plucked; where it was
    /// the same string `again`, nothing of it rings on.
    ///
    /// Never allocates.
    pub(crate) fn measure(
        &mut self,
        history: &History,
        onset: u64,
        (hz, again): (f64, bool),
        later: impl Iterator<Item = Later> + Clone,
    ) -> Option<FittedString> {
        self.look(history, onset, hz);
        if again {
            self.looks.iter_mut().for_each(|look| look.before.fill(0.0));
        }
        let mut pitches = [PartialPitch::default(); FOLLOWED_MAX + 1];
        // Where the string was looked for steers as the first, lest one partial that is somebody else's lead the way.
        pitches[0] = PartialPitch {
            n: 1,
            hz,
            sigma_hz: hz * LOOKED_FOR_CENTS * CENT,
            amplitude: 0.0,
        };
        let (mut count, mut gap) = (1, 0);
        let mut fitted: Option<FittedString> = None;
        let mut aparts = [(0.0, 0.0); FOLLOWED_MAX + 1];
        for n in 1..=FOLLOWED_MAX {
            let (pitch, stiffness) =
                fitted.map_or((hz, expected_stiffness(hz)), |fitted| (fitted.hz, fitted.stiffness));
            let at = pitch * partial_ratio(n, stiffness);
            if at > CEILING_HZ.min(0.4 * self.rate) || gap >= GAP_MAX {
                break;
            }
            let told: [_; LOOKS] = std::array::from_fn(|look| self.partial(look, onset, hz, (n, at), later.clone()));
            let Some(best) = told
                .iter()
                .flatten()
                .min_by(|a, b| a.sigma_hz.total_cmp(&b.sigma_hz))
                .copied()
            else {
                gap += 1;
                continue;
            };
            aparts[count] = apart(&best, told.iter().flatten());
            gap = 0;
            pitches[count] = best;
            pitches[0].amplitude = pitches[0].amplitude.max(best.amplitude);
            count += 1;
            fitted = fit_string(&pitches[..count], hz).or(fitted);
        }
        let (pitches, aparts) = (&pitches[1..count], &aparts[1..count]);
        let fitted = fit_string(pitches, hz).filter(|_| fitted.is_some());
        fitted.map(|fitted| {
            let sigma_cents = fitted.sigma_cents.hypot(uncertain_cents(hz, pitches, aparts));
            FittedString { sigma_cents, ..fitted }
        })
    }

    /// Takes the spectra of every stretch that the sound reaches.
    fn look(&mut self, history: &History, onset: u64, hz: f64) {
        let samples = |seconds: f64| (seconds * self.rate) as usize;
        for (look, (begins_s, length_s)) in self.looks.iter_mut().zip(stretches(hz)) {
            let from = onset + samples(begins_s) as u64;
            hann_into(&mut self.window, samples(length_s));
            let Some(sound) = history.slice(from, self.window.len()) else {
                look.length_s = 0.0;
                continue;
            };
            self.spectrum.power(sound, &self.window, &mut look.after);
            (look.begins_s, look.length_s, look.before_s) = (begins_s, length_s, length_s.min(BEFORE_S));
            hann_into(&mut self.window, samples(look.before_s));
            let from = onset.checked_sub((samples(GUARD_S) + self.window.len()) as u64);
            match from.and_then(|from| history.slice(from, self.window.len())) {
                Some(sound) => self.spectrum.power(sound, &self.window, &mut look.before),
                None => look.before.fill(0.0),
            }
        }
    }

    /// Where partial `n`, which should lie at `at`, lies in one of the stretches, if it can be told.
    fn partial(
        &mut self,
        look: usize,
        onset: u64,
        hz: f64,
        (n, at): (usize, f64),
        later: impl Iterator<Item = Later>,
    ) -> Option<PartialPitch> {
        let look = &self.looks[look];
        let length_s = look.length_s;
        if length_s == 0.0 {
            return None;
        }
        let bin_hz = self.rate / (2 * (look.after.len() - 1)) as f64;
        let near = (NEAR_CELLS / length_s + at * NEAR_CENTS * CENT).min(NEAR_SHARE * hz);
        let range = |near: f64| {
            let from = ((at - near).max(0.0) / bin_hz) as usize;
            from.max(1)..(((at + near) / bin_hz).ceil() as usize + 1).min(look.after.len() - 1)
        };
        let bin = range(near).max_by(|a, b| look.after[*a].total_cmp(&look.after[*b]))?;
        let [left, power, right] = [look.after[bin - 1], look.after[bin], look.after[bin + 1]];
        if power < left || power <= right || power <= 0.0 {
            return None;
        }
        let rang = look.before[range(BEFORE_CELLS / look.before_s)]
            .iter()
            .copied()
            .fold(0.0, f32::max);
        self.around.clear();
        self.around
            .extend_from_slice(&look.after[range(AROUND_CELLS / length_s)]);
        let middle = self.around.len() / 2;
        let (_, around, _) = self.around.select_nth_unstable_by(middle, f32::total_cmp);
        let mut disturbs = f64::from(rang + *around);
        for other in later {
            disturbs += disturbance(look, bin_hz, self.rate, onset, at, other);
        }
        let disturbed = disturbs / f64::from(power);
        if disturbed > DISTURBED {
            return None;
        }
        let (low, high) = PARTIAL_WANDERS_CENTS;
        let own = if hz < HIGH_HZ { low } else { high };
        let wanders = own.hypot(WANDERS_CENTS * (1.0 - length_s / longest_s(hz))) * at * CENT;
        Some(PartialPitch {
            n,
            hz: peak_place(&look.after, bin) * bin_hz,
            sigma_hz: ((MOVES_CELLS * disturbed.sqrt() + FLOOR_CELLS) / length_s).hypot(wanders),
            amplitude: f64::from(power).sqrt(),
        })
    }
}

/// How far the other stretches put a partial from where the `best` of them puts it, squared, cents², as a sum and its weights: those
/// count that are about as sure.
fn apart<'a>(best: &PartialPitch, told: impl Iterator<Item = &'a PartialPitch>) -> (f64, f64) {
    let (mut sum, mut weights) = (0.0, 0.0);
    for other in told.filter(|other| other.sigma_hz > best.sigma_hz) {
        let weight = (best.sigma_hz / other.sigma_hz).powi(2);
        sum += weight * ((other.hz / best.hz).ln() / CENT).powi(2);
        weights += weight;
    }
    (sum, weights)
}

/// What the pitch of a string at `hz` is uncertain by beside its partials' scatter about it, cents: by its register, and by how far
/// `aparts` its stretches put its partials, those most that tell it most.
fn uncertain_cents(hz: f64, pitches: &[PartialPitch], aparts: &[(f64, f64)]) -> f64 {
    let strongest = pitches.iter().map(|partial| partial.amplitude).fold(0.0, f64::max);
    let (mut sum, mut weights) = (0.0, 0.0);
    for (partial, (apart, beside)) in pitches.iter().zip(aparts) {
        let noise = partial.sigma_hz / partial.hz / CENT;
        let tells = 1.0 / (noise * noise + stray_cents(partial, strongest).powi(2));
        sum += tells * apart;
        weights += tells * beside;
    }
    let apart = if weights > 0.0 { (sum / weights).sqrt() } else { 0.0 };
    let register = UNCERTAIN_CENTS * (HIGH_HZ / hz).max(1.0).powf(UNCERTAIN_POWER);
    register.hypot(UNCERTAIN_SHARE * apart)
}

/// The stretches for a string at `hz`.
const fn stretches(hz: f64) -> [(f64, f64); LOOKS] {
    if hz < LOW_HZ {
        LOW_S
    } else if hz < HIGH_HZ {
        MIDDLE_S
    } else {
        HIGH_S
    }
}

/// The longest of them.
fn longest_s(hz: f64) -> f64 {
    stretches(hz).iter().map(|(_, length_s)| *length_s).fold(0.0, f64::max)
}

/// The power with which the line of `other` that is nearest to `at` disturbs what is seen there: that of its own lines
/// around it, as far as it sounded within the stretch.
fn disturbance(look: &Look, bin_hz: f64, rate: f64, onset: u64, at: f64, other: Later) -> f64 {
    let stiffness = expected_stiffness(other.hz);
    let place = |n: usize| other.hz * partial_ratio(n, stiffness);
    let nearest = (at / other.hz).round().max(1.0) as usize;
    let near = LATER_CELLS / look.length_s + at * LATER_CENTS * CENT;
    if nearest > FOLLOWED_MAX || (place(nearest) - at).abs() > near {
        return 0.0;
    }
    let begins_s = (other.onset.saturating_sub(onset)) as f64 / rate;
    let share = ((look.begins_s + look.length_s - begins_s) / look.length_s).clamp(0.0, 1.0);
    // Of a window of Hann, its last part of this length has so much.
    let turn = std::f64::consts::TAU * share;
    let seen = (share - turn.sin() / std::f64::consts::TAU).clamp(0.0, 1.0);
    let mut lines = [nearest.saturating_sub(1).max(1), nearest, nearest + 1].map(|n| {
        let bin = (place(n) / bin_hz).round() as usize;
        let lines = look.after.get(bin.saturating_sub(1)..bin + 2).unwrap_or(&[]);
        lines.iter().copied().fold(0.0, f32::max)
    });
    lines.sort_by(f32::total_cmp);
    f64::from(lines[1]) * seen
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a string at `hz` is uncertain by whose partials another stretch puts so far away, cents.
    fn uncertain(hz: f64, moved_cents: f64) -> f64 {
        let partial = |n: usize, sigma: f64, moved: f64| PartialPitch {
            n,
            hz: hz * n as f64 * (moved * CENT).exp(),
            sigma_hz: hz * n as f64 * sigma * CENT,
            amplitude: 1.0 / n as f64,
        };
        let pitches = [1, 2, 3].map(|n| partial(n, 0.5, 0.0));
        let aparts = pitches.map(|best| apart(&best, [best, partial(best.n, 0.6, moved_cents)].iter()));
        uncertain_cents(hz, &pitches, &aparts)
    }

    #[test]
    fn a_reading_is_as_uncertain_as_its_stretches_disagree_and_low_ones_are_more_so() {
        assert!((uncertain(880.0, 0.0) - UNCERTAIN_CENTS).abs() < 1e-9);
        assert!((uncertain(880.0, 2.0) - UNCERTAIN_CENTS.hypot(2.0 * UNCERTAIN_SHARE)).abs() < 1e-6);
        assert!(uncertain(55.0, 0.0) > 4.0 * UNCERTAIN_CENTS, "{}", uncertain(55.0, 0.0));
    }

    /// A string whose partials lie clear, of which the first has wandered off.
    #[test]
    fn a_first_partial_that_wanders_off_does_not_decide_alone() {
        let (rate, hz, onset) = (16_000.0, 440.0, 16_000_u64);
        let mut history = History::new(48_000);
        let mut noise = 1_u32;
        for n in 0..48_000_u64 {
            let since_s = (n as f64 - onset as f64) / rate;
            let partial = |n: usize| {
                let off = if n == 1 { 1.2 } else { 0.0 };
                let at = hz * partial_ratio(n, expected_stiffness(hz)) * (off * CENT).exp();
                (std::f64::consts::TAU * at * since_s).sin() / n as f64
            };
            let pluck = (1..=8).map(partial).sum::<f64>() * (-since_s).exp();
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let hiss = 1e-4 * (f64::from(noise >> 8) / f64::from(1 << 23) - 1.0);
            history.push((hiss + if since_s < 0.0 { 0.0 } else { 0.1 * pluck }) as f32);
        }
        let mut pitch = Pitch::new(rate);
        let fitted = pitch
            .measure(&history, onset, (hz, false), std::iter::empty())
            .expect("a string");
        let cents = (fitted.hz / hz).ln() / CENT;
        assert!(cents.abs() < 0.8, "{cents}");
        assert!(fitted.sigma_cents > 0.5 * cents.abs(), "{cents}, {fitted:?}");
    }
}
