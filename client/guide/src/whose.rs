//! Whose a pluck is: weighed by how loud it began, by the stiffness of the string and by where it stood before, and by whose
//! hand was there last.
//!
//! Single signs do not tell two harps apart: strings of one harp differ by some decibels, so that one string in fifteen of a
//! harp 10 dB softer is as loud as hers. But whoever tunes stays on a string or goes on to the next, so that a hand that was
//! known for another one's makes the pluck beside it suspicious, and the string that is asked for is beyond suspicion where
//! nobody else is heard.

use consort_proto::{Cents, StringNumber};

use crate::awaited::Plucked;
use crate::levels::Levels;

/// How likely she plucks, of all her plucks: the string that is expected of her itself, one of the two beside it, any other.
const HERS_ITSELF: f64 = 0.5;
const HERS_BESIDE: f64 = 0.05;
const HERS_ELSEWHERE: f64 = 0.1;
/// How likely somebody at another harp plucks the string that she plucked last, one of the two beside it, any other.
const ANOTHERS_SAME: f64 = 0.6;
const ANOTHERS_BESIDE: f64 = 0.15;
/// Where she walks one way already, the next string on it and the one back.
const ANOTHERS_NEXT: f64 = 0.3;
const ANOTHERS_BACK: f64 = 0.03;
const ANOTHERS_ELSEWHERE: f64 = 0.1;
/// Strings of a harp, nearly.
const STRINGS: f64 = 47.0;
/// How likely another harp is heard before one was, and for how long one that was may rest, seconds.
const ANOTHER_AT_FIRST: f64 = 0.1;
const RESTS_S: f64 = 60.0;
/// Where it was heard last, its hand is for so long, seconds.
const NEAR_S: f64 = 20.0;
/// Another harp is so much softer than hers, and may be so much more or less, decibels: nearer ones are kept apart by people.
const SOFTER_DB: f64 = 11.0;
const SOFTER_SPREAD_DB: f64 = 5.5;
/// So much speaks for what is heard before anything is known of her harp.
const FIRST_NATS: f64 = 3.0;
/// How much the logarithm of a string's stiffness differs from one measurement to the next; how often the room draws the
/// partials along by which it is measured, and by how much (265 recordings in eleven surroundings).
const STIFFNESS_SPREAD: f64 = 0.1;
const DRAWN: f64 = 0.3;
const DRAWN_BY: f64 = 0.4;
/// How much it differs from one harp to another (assumed), and for a string between two that are known, no more than so many
/// strings apart.
const STIFFNESS_OF_HARPS: f64 = 0.25;
const STIFFNESS_BETWEEN: f64 = 0.3;
const BETWEEN: f64 = 8.0;
/// How often what is not hers to tune is a harmonic on her harp, and how much stiffer than the string an octave above that
/// looks, in the logarithm: it has four times the stiffness of a string that is somewhat less stiff.
const HARMONICS: f64 = 0.2;
const HARMONIC: f64 = 1.1;
/// An octave is so many strings; a harmonic is told from another harp where it is so many times as likely.
const OCTAVE: u8 = 7;
const HARMONIC_SURELY: f64 = 2.0;
const HARMONIC_SPREAD: f64 = 0.5;
/// How far a string that she has not turned since lies from where it stood, and one of another harp from its target, cents;
/// how often it was moved all the same, and by how much at most.
const STAYS_WITHIN: f64 = 0.7;
const TUNED_WITHIN: f64 = 6.0;
const MOVED: f64 = 0.3;
const MOVED_BY: f64 = 60.0;

/// What speaks for a pluck beside what it is itself.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(crate) enum Expected {
    /// Its string is asked for.
    Asked,
    /// The one beside it is.
    BesideAsked,
    /// Its string is in hand.
    InHand,
    /// The one beside it is.
    BesideHand,
    /// Nothing.
    Not,
}

impl Expected {
    /// Whether the string may have been turned since it counted.
    const fn may_be_turned(self) -> bool {
        matches!(self, Self::Asked | Self::InHand)
    }
}

/// What is known of her harp, and of another one's hand.
#[derive(Clone, Debug, Default)]
pub(crate) struct Whose {
    pub(crate) levels: Levels,
    strings: Vec<Known>,
    /// Where somebody else's hand is.
    pub(crate) another: Another,
    /// The string in her hand, and how surely it is hers.
    hand: Option<(StringNumber, f64)>,
}

/// Where somebody else's hand is.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Another {
    /// When it plucked last, and which string, as far as that is known.
    last: Option<(f64, Option<StringNumber>)>,
    /// Which way that went on from the string before, in strings.
    way: i16,
    /// How surely it was somebody else.
    surely: f64,
}

/// A string of hers that counted.
#[derive(Clone, Copy, Debug)]
struct Known {
    string: StringNumber,
    apart: Cents,
    ln_stiffness: Option<f64>,
}

impl Whose {
    /// How much more likely it is that `plucked` is hers than another's, in nats.
    pub(crate) fn weigh(&self, plucked: &Plucked, expected: Expected) -> f64 {
        let elsewhere = HERS_ELSEWHERE / STRINGS;
        let in_hand = |share: f64| {
            let surely = self.hand.map_or(0.0, |(_, surely)| surely);
            surely * share + (1.0 - surely) * elsewhere
        };
        let hers = match expected {
            Expected::Asked => HERS_ITSELF,
            Expected::BesideAsked => HERS_BESIDE,
            Expected::InHand => in_hand(HERS_ITSELF),
            Expected::BesideHand => in_hand(HERS_BESIDE),
            Expected::Not => elsewhere,
        };
        let level = self.level(plucked);
        let known = self.strings.iter().find(|known| known.string == plucked.string);
        let stiffness = self.stiffness(plucked).map_or(0.0, |weights| weights.hers());
        let stays = known.map_or(0.0, |known| stays(known, plucked, expected));
        hers.ln() - self.anothers(plucked).ln() + level + stiffness + stays
    }

    /// How likely somebody else plucks that string then.
    fn anothers(&self, plucked: &Plucked) -> f64 {
        let anywhere = 1.0 / STRINGS;
        let follows = |last: StringNumber| match steps(last, plucked.string) {
            0 => ANOTHERS_SAME,
            by @ (1 | -1) if by == self.another.way => ANOTHERS_NEXT,
            1 | -1 if self.another.way == 0 => ANOTHERS_BESIDE,
            1 | -1 => ANOTHERS_BACK,
            _ => ANOTHERS_ELSEWHERE * anywhere,
        };
        // What counted may have been another's all the same.
        let after_hand = self.hand.map_or(0.0, |(hand, surely)| (1.0 - surely) * follows(hand));
        let Some((last_s, last)) = self.another.last else {
            return after_hand + ANOTHER_AT_FIRST * anywhere;
        };
        let fades = (-(plucked.onset_s - last_s).max(0.0) / RESTS_S).exp();
        let is_there = ANOTHER_AT_FIRST.max(self.another.surely * fades);
        let after_last = last.map_or(anywhere, follows);
        after_hand + is_there * (fades * after_last + (1.0 - fades) * anywhere)
    }

    fn level(&self, plucked: &Plucked) -> f64 {
        let Some((usual, spread)) = self.levels.usual(plucked.string) else {
            return FIRST_NATS;
        };
        if !plucked.level_dbfs.is_finite() {
            return 0.0;
        }
        // A louder one is not less hers for it.
        let softer = (usual - plucked.level_dbfs).max(0.0);
        ln_normal(softer, spread) - ln_normal(softer - SOFTER_DB, SOFTER_SPREAD_DB)
    }

    /// How well its stiffness goes with what a pluck may be, where that was measured and something is known of it.
    ///
    /// A harmonic has every second partial of the string an octave below, and so looks four times as stiff as that one is.
    fn stiffness(&self, plucked: &Plucked) -> Option<Stiffness> {
        let (usual, spread) = self
            .usual_stiffness(plucked.string)
            .filter(|_| plucked.stiffness > 0.0)?;
        let below = StringNumber::new(u32::from(plucked.string.get() + OCTAVE)).ok();
        let (harmonic, harmonic_spread) = below
            .and_then(|below| self.usual_stiffness(below))
            .map_or((usual + HARMONIC, HARMONIC_SPREAD), |(below, spread)| {
                (below + 4_f64.ln(), spread)
            });
        let told = plucked.stiffness.ln();
        Some(Stiffness {
            hers: measured(told - usual, spread),
            another: measured(told - usual, STIFFNESS_OF_HARPS.hypot(spread)),
            harmonic: measured(told - harmonic, harmonic_spread),
        })
    }

    /// Whether what is not hers to tune is a harmonic on her harp rather than another harp.
    pub(crate) fn is_harmonic(&self, plucked: &Plucked) -> bool {
        self.stiffness(plucked)
            .is_some_and(|weights| weights.harmonic > HARMONIC_SURELY * weights.another)
    }

    /// The logarithm of what is usual for the stiffness of a string, and one standard deviation of it: what it was before, or
    /// what the nearest ones above and below it were.
    fn usual_stiffness(&self, string: StringNumber) -> Option<(f64, f64)> {
        let known = || {
            let told = |known: &Known| Some((known.string, known.ln_stiffness?));
            self.strings.iter().filter_map(told)
        };
        if let Some((_, usual)) = known().find(|(known, _)| *known == string) {
            return Some((usual, STIFFNESS_SPREAD));
        }
        let above = known()
            .filter(|(known, _)| *known < string)
            .max_by_key(|(known, _)| *known)?;
        let below = known()
            .filter(|(known, _)| *known > string)
            .min_by_key(|(known, _)| *known)?;
        let [from, at, to] = [above.0, string, below.0].map(|string| f64::from(string.get()));
        let usual = above.1 + (below.1 - above.1) * (at - from) / (to - from);
        (to - from <= BETWEEN).then_some((usual, STIFFNESS_BETWEEN))
    }

    /// `plucked` is hers as surely as the weight `nats` says, and counts.
    pub(crate) fn is_hers(&mut self, plucked: &Plucked, nats: f64) {
        let Plucked { string, apart, .. } = *plucked;
        self.hand = Some((string, surely(nats)));
        let ln_stiffness = (plucked.stiffness > 0.0).then(|| plucked.stiffness.ln());
        match self.strings.iter_mut().find(|known| known.string == string) {
            Some(known) => {
                known.apart = apart;
                known.ln_stiffness = match (known.ln_stiffness, ln_stiffness) {
                    (Some(before), Some(now)) => Some(before + 0.4 * (now - before)),
                    (before, now) => now.or(before),
                };
            }
            None => self.strings.push(Known {
                string,
                apart,
                ln_stiffness,
            }),
        }
    }

    /// What was plucked is somebody else's, as surely as the weight `nats` says.
    pub(crate) fn is_anothers(&mut self, onset_s: f64, string: StringNumber, nats: f64) {
        let another = &mut self.another;
        another.surely = surely(-nats);
        if let Some((_, Some(last))) = another.last
            && last != string
        {
            let by = steps(last, string);
            another.way = if by.abs() == 1 { by } else { 0 };
        }
        another.last = Some((onset_s, Some(string)));
    }

    /// Whether somebody else's hand is at `string` at `onset_s`, or beside it.
    pub(crate) fn is_another_near(&self, onset_s: f64, string: StringNumber) -> bool {
        let near = |(last_s, last): (f64, Option<StringNumber>)| {
            onset_s - last_s < NEAR_S && last.is_some_and(|last| steps(last, string).abs() <= 1)
        };
        self.another.last.is_some_and(near)
    }

    /// Something was plucked at `onset_s` that is far too soft to be hers.
    pub(crate) fn hears_another(&mut self, onset_s: f64) {
        let another = &mut self.another;
        let string = another.last.and_then(|(_, string)| string);
        another.surely = 1.0 - 0.5 * (1.0 - another.surely);
        another.last = Some((onset_s, string));
    }
}

/// How many strings `to` lies beyond `from`.
fn steps(from: StringNumber, to: StringNumber) -> i16 {
    i16::from(to.get()) - i16::from(from.get())
}

/// How well the stiffness of a pluck goes with what it may be: likelihoods of its logarithm.
#[derive(Clone, Copy, Debug)]
struct Stiffness {
    hers: f64,
    another: f64,
    harmonic: f64,
}

impl Stiffness {
    /// How much it speaks for her string, nats.
    fn hers(self) -> f64 {
        let not_hers = (1.0 - HARMONICS) * self.another + HARMONICS * self.harmonic;
        self.hers.ln() - not_hers.ln()
    }
}

/// How likely the logarithm of a stiffness lies so far `apart` from what it is expected to be within `spread`, as measured.
fn measured(apart: f64, spread: f64) -> f64 {
    (1.0 - DRAWN) * normal(apart, spread) + DRAWN * normal(apart, spread.hypot(DRAWN_BY))
}

/// What it says that a string stands where it was left, or elsewhere, in nats.
fn stays(known: &Known, plucked: &Plucked, expected: Expected) -> f64 {
    let anywhere = 1.0 / (2.0 * MOVED_BY);
    // What is in hand was perhaps turned, and then most likely to its target.
    let moved = if expected.may_be_turned() { 0.5 } else { 0.2 };
    let turned = 0.5 * normal(plucked.apart.0, 4.0) + 0.5 * anywhere;
    let hers = (1.0 - moved) * normal(plucked.apart.0 - known.apart.0, STAYS_WITHIN) + moved * turned;
    let anothers = (1.0 - MOVED) * normal(plucked.apart.0, TUNED_WITHIN) + MOVED * anywhere;
    hers.ln() - anothers.ln()
}

/// The probability to which odds of so many nats amount.
fn surely(nats: f64) -> f64 {
    1.0 / (1.0 + (-nats).exp())
}

fn normal(apart: f64, spread: f64) -> f64 {
    ln_normal(apart, spread).exp()
}

fn ln_normal(apart: f64, spread: f64) -> f64 {
    -0.5 * (apart / spread).powi(2) - (spread * std::f64::consts::TAU.sqrt()).ln()
}

#[cfg(test)]
mod tests;
