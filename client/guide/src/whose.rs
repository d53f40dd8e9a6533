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
use crate::passing::is_by_pedal;

/// How likely she plucks, of all her plucks: the string that is expected of her itself, one of the two beside it, any other
/// (assumed).
const HERS_ITSELF: f64 = 0.5;
const HERS_BESIDE: f64 = 0.05;
const HERS_ELSEWHERE: f64 = 0.1;
/// How likely somebody at another harp plucks the string that she plucked last, one of the two beside it, any other
/// (assumed).
const ANOTHERS_SAME: f64 = 0.6;
const ANOTHERS_BESIDE: f64 = 0.15;
/// Where she walks one way already, the next string on it and the one back (assumed).
const ANOTHERS_NEXT: f64 = 0.3;
const ANOTHERS_BACK: f64 = 0.03;
/// And the second one on it, where the one between was not heard (assumed).
const ANOTHERS_SECOND: f64 = 0.06;
const ANOTHERS_ELSEWHERE: f64 = 0.1;
/// Strings of a harp, nearly.
const STRINGS: f64 = 47.0;
/// How likely another harp is heard before one was, how much of the doubt that there is one remains after what is far too soft
/// to be hers, and for how long one that was heard may rest, seconds (all assumed).
const ANOTHER_AT_FIRST: f64 = 0.1;
const DOUBT_REMAINS: f64 = 0.5;
const RESTS_S: f64 = 60.0;
/// Where it was heard last, its hand is for so long, seconds (assumed).
const NEAR_S: f64 = 20.0;
/// Another harp is so much softer than hers, and may be so much more or less, decibels (assumed): nearer ones are kept apart by
/// people.
const SOFTER_DB: f64 = 11.0;
const SOFTER_SPREAD_DB: f64 = 5.5;
/// So much speaks for what is heard before anything is known of her harp, and no more than this for or against any pluck
/// (assumed).
const FIRST_NATS: f64 = 3.0;
const MOST_NATS: f64 = 8.0;
/// What seems impossible is as likely as this all the same (assumed).
const LEAST: f64 = 1e-12;
/// How much the logarithm of a string's stiffness differs from one measurement to the next; how often the room draws the
/// partials along by which it is measured, and by how much (265 recordings in eleven surroundings).
const STIFFNESS_SPREAD: f64 = 0.1;
const DRAWN: f64 = 0.3;
const DRAWN_BY: f64 = 0.4;
/// Share of a measurement in what was known of the stiffness of its string before (assumed).
const STIFFNESS_SHARE: f64 = 0.4;
/// How much it differs from one harp to another, and for a string between two that are known, no more than so many strings
/// apart (all assumed).
const STIFFNESS_OF_HARPS: f64 = 0.25;
const STIFFNESS_BETWEEN: f64 = 0.3;
const BETWEEN: f64 = 8.0;
/// How often what is not hers to tune is a harmonic on her harp, and how much stiffer than the string an octave above that
/// looks, in the logarithm: it has four times the stiffness of a string that is somewhat less stiff
/// (assumed).
const HARMONICS: f64 = 0.2;
const HARMONIC: f64 = 1.1;
/// An octave is so many strings; a harmonic is told from another harp where it is so many times as likely, and looks so much
/// more or less stiff, in the logarithm (both assumed).
const OCTAVE: u8 = 7;
const HARMONIC_SURELY: f64 = 2.0;
const HARMONIC_SPREAD: f64 = 0.5;
/// How far a string that she has not turned since lies from where it stood, and one of another harp from its target, cents;
/// how often it was moved all the same, and by how much at most (all assumed).
const STAYS_WITHIN: f64 = 0.7;
const TUNED_WITHIN: f64 = 6.0;
const MOVED: f64 = 0.3;
const MOVED_BY: f64 = 60.0;
/// A string that falls so much further by itself than when it counted, cents, was stretched (assumed).
const FURTHER: Cents = Cents(2.0);
/// How often she has turned a string that may be turned since it counted, and one that may not; how often that brings it to its
/// target, and how near, cents (all assumed).
const TURNED: f64 = 0.5;
const TURNED_UNASKED: f64 = 0.2;
const TO_TARGET: f64 = 0.5;
const TO_TARGET_WITHIN: f64 = 4.0;

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
    /// When it was heard last, seconds.
    heard_s: Option<f64>,
    /// When it was last heard to pluck a string that is known, seconds, and which.
    place: Option<(f64, StringNumber)>,
    /// Which way that went on from the string before, in strings.
    way: i16,
    /// How surely it was somebody else.
    surely: f64,
}

impl Another {
    /// It was heard at `onset_s`: how surely it was somebody else before that, as much as has not faded since.
    fn hear(&mut self, onset_s: f64) -> f64 {
        let before = self
            .heard_s
            .map_or(0.0, |heard_s| self.surely * fades(onset_s - heard_s));
        self.heard_s = Some(self.heard_s.map_or(onset_s, |heard_s| heard_s.max(onset_s)));
        before
    }
}

/// A string of hers that counted.
#[derive(Clone, Copy, Debug)]
struct Known {
    string: StringNumber,
    /// Where it stood above its target, unless that has moved.
    apart: Option<Cents>,
    ln_stiffness: Option<f64>,
    /// How far it went by itself.
    glide: Option<Cents>,
}

impl Whose {
    /// How much more likely it is that `plucked` is hers than another's, in nats; what cannot be weighed is another's.
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
        let nats = ln(hers) - ln(self.anothers(plucked)) + self.looks_like(plucked, expected);
        if nats.is_nan() {
            return -MOST_NATS;
        }
        nats.clamp(-MOST_NATS, MOST_NATS)
    }

    /// How much `plucked` looks like hers in itself, in nats: by how loud it is, how stiff, and where it stands.
    pub(crate) fn looks_like(&self, plucked: &Plucked, expected: Expected) -> f64 {
        let known = self.strings.iter().find(|known| known.string == plucked.string);
        let stiffness = self.stiffness(plucked).map_or(0.0, |weights| weights.hers());
        let stood = known.and_then(|known| known.apart);
        let stays = stood.map_or(0.0, |stood| stays(stood, plucked.apart, expected));
        self.level(plucked) + stiffness + stays
    }

    /// How likely somebody else plucks that string then.
    fn anothers(&self, plucked: &Plucked) -> f64 {
        let anywhere = 1.0 / STRINGS;
        let follows = |last: StringNumber| match steps(last, plucked.string) {
            0 => ANOTHERS_SAME,
            by @ (1 | -1) if by == self.another.way => ANOTHERS_NEXT,
            1 | -1 if self.another.way == 0 => ANOTHERS_BESIDE,
            1 | -1 => ANOTHERS_BACK,
            by if by != 0 && by == 2 * self.another.way => ANOTHERS_SECOND,
            _ => ANOTHERS_ELSEWHERE * anywhere,
        };
        // What counted may have been another's all the same.
        let after_hand = self.hand.map_or(0.0, |(hand, surely)| (1.0 - surely) * follows(hand));
        let Some(heard_s) = self.another.heard_s else {
            return after_hand + ANOTHER_AT_FIRST * anywhere;
        };
        let is_there = ANOTHER_AT_FIRST.max(self.another.surely * fades(plucked.onset_s - heard_s));
        let after_last = self.another.place.map_or(anywhere, |(place_s, place)| {
            let stays = fades(plucked.onset_s - place_s);
            stays * follows(place) + (1.0 - stays) * anywhere
        });
        after_hand + is_there * after_last
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
            .filter(|_| is_measured(plucked.stiffness))?;
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

    /// `string` is in her hand, as surely as the weight `nats` says.
    pub(crate) fn has_in_hand(&mut self, string: StringNumber, nats: f64) {
        self.hand = Some((string, surely(nats)));
    }

    /// `plucked` is hers: what it says of its string is kept.
    pub(crate) fn learn(&mut self, plucked: &Plucked) {
        let string = plucked.string;
        let apart = Some(plucked.apart).filter(|apart| apart.0.is_finite());
        let ln_stiffness = is_measured(plucked.stiffness).then(|| plucked.stiffness.ln());
        let glide = Some(plucked.glide).filter(|glide| glide.0.is_finite());
        match self.strings.iter_mut().find(|known| known.string == string) {
            Some(known) => {
                known.apart = apart;
                known.glide = glide;
                known.ln_stiffness = match (known.ln_stiffness, ln_stiffness) {
                    (Some(before), Some(now)) => Some(before + STIFFNESS_SHARE * (now - before)),
                    (before, now) => now.or(before),
                };
            }
            None => self.strings.push(Known {
                string,
                apart,
                ln_stiffness,
                glide,
            }),
        }
    }

    /// Whether `plucked` falls further than its string did when it counted.
    pub(crate) fn falls_further(&self, plucked: &Plucked) -> bool {
        let known = self.strings.iter().find(|known| known.string == plucked.string);
        let glide = known.and_then(|known| known.glide);
        glide.is_some_and(|glide| plucked.glide.0 < glide.0.min(0.0) - FURTHER.0)
    }

    /// Whether `plucked` stands as far from where its string did when it counted as a pedal moves: then it is another string.
    pub(crate) fn is_by_pedal(&self, plucked: &Plucked) -> bool {
        let known = self.strings.iter().find(|known| known.string == plucked.string);
        let stood = known.and_then(|known| known.apart);
        stood.is_some_and(|stood| is_by_pedal(Cents(plucked.apart.0 - stood.0)))
    }

    /// Whether something is known of `string` beside how loud it is.
    #[cfg(test)]
    pub(crate) fn knows(&self, string: StringNumber) -> bool {
        self.strings.iter().any(|known| known.string == string)
    }

    /// Targets have moved: where strings stood above them says nothing any more.
    pub(crate) fn forget_places(&mut self) {
        self.strings.iter_mut().for_each(|known| known.apart = None);
    }

    /// What was plucked is somebody else's, as surely as the weight `nats` says; a weak sign takes nothing from a strong one.
    pub(crate) fn is_anothers(&mut self, onset_s: f64, string: StringNumber, nats: f64) {
        let another = &mut self.another;
        another.surely = another.hear(onset_s).max(surely(-nats));
        if let Some((_, last)) = another.place
            && last != string
        {
            let by = steps(last, string);
            another.way = if by.abs() == 1 { by } else { 0 };
        }
        another.place = Some((onset_s, string));
    }

    /// Whether somebody else's hand is at `string` at `onset_s`, or beside it.
    pub(crate) fn is_another_near(&self, onset_s: f64, string: StringNumber) -> bool {
        self.another
            .place
            .is_some_and(|(place_s, place)| onset_s - place_s < NEAR_S && steps(place, string).abs() <= 1)
    }

    /// Something was plucked at `onset_s` that is far too soft to be hers.
    pub(crate) fn hears_another(&mut self, onset_s: f64) {
        let another = &mut self.another;
        another.surely = 1.0 - DOUBT_REMAINS * (1.0 - another.hear(onset_s));
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
        ln(self.hers) - ln(not_hers)
    }
}

/// How likely the logarithm of a stiffness lies so far `apart` from what it is expected to be within `spread`, as measured.
fn measured(apart: f64, spread: f64) -> f64 {
    (1.0 - DRAWN) * normal(apart, spread) + DRAWN * normal(apart, spread.hypot(DRAWN_BY))
}

/// What it says that a string that `stood` so far above its target stands `apart` from it now, in nats.
fn stays(stood: Cents, apart: Cents, expected: Expected) -> f64 {
    if !apart.0.is_finite() {
        return 0.0;
    }
    let anywhere = 1.0 / (2.0 * MOVED_BY);
    // What is in hand was perhaps turned, and then most likely to its target.
    let moved = if expected.may_be_turned() {
        TURNED
    } else {
        TURNED_UNASKED
    };
    let turned = TO_TARGET * normal(apart.0, TO_TARGET_WITHIN) + (1.0 - TO_TARGET) * anywhere;
    let hers = (1.0 - moved) * normal(apart.0 - stood.0, STAYS_WITHIN) + moved * turned;
    let anothers = (1.0 - MOVED) * normal(apart.0, TUNED_WITHIN) + MOVED * anywhere;
    ln(hers) - ln(anothers)
}

/// How much of a suspicion is left after so many seconds.
fn fades(since_s: f64) -> f64 {
    (-since_s.max(0.0) / RESTS_S).exp()
}

/// Whether the stiffness of a pluck was measured.
fn is_measured(stiffness: f64) -> bool {
    stiffness > 0.0 && stiffness.is_finite()
}

/// The logarithm of a likelihood, which nothing that was heard can have made 0.
fn ln(likelihood: f64) -> f64 {
    likelihood.max(LEAST).ln()
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
