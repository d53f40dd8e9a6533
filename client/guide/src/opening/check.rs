//! The opening check as it is played: which string is asked for next, and what is still to be looked at.

use consort_proto::{Cents, Harp, Hz, Letter, Mechanism, Readiness, Standing, StringNumber, Tuning, order};

use super::{Observation, Opening, PLUCKS, Plucked, What, observe, one_more};

/// What sounds by so many cents above the string that is asked for is taken for it: its pedal or lever may hold it up, and
/// in another open tuning it is lower.
const STEPS: [f64; 4] = [0.0, 100.0, 200.0, -100.0];
/// And by this much beside that and beside the strings before it: more than a string is off, less than half a semitone.
const BESIDE: Cents = Cents(45.0);
/// Two plucks of one string lie no further apart than this, also while it still finds its pitch.
const SAME_PITCH: Cents = Cents(5.0);
/// A pedal or lever may hold a string up to the pitch of one before it, and who plucks that one once more sounds alike: so
/// often it is taken for the one before, then for the one that is asked for.
const AGAIN_MAX: usize = 2;
/// Once so many other strings were plucked instead, the harpist goes her own way and the check is over.
const PASSED_OVER_MAX: u32 = 3;
/// A harp that stands so far below its pitch is not brought up in one go: each string loads the frame for the others.
const FAR_BELOW: Cents = Cents(-40.0);
/// The check is made anew after something about the whole harp was found, but only so often.
const TIMES_MAX: u32 = 2;

/// An opening check under way, or over.
#[derive(Clone, Debug, Default)]
pub struct Check {
    /// The strings that are asked for, in order.
    strings: Vec<StringNumber>,
    plucks: Vec<Plucked>,
    /// The newest pluck, by its onset in seconds, and the string that it was taken for.
    newest: Option<(f64, StringNumber)>,
    /// Strings that were plucked once more, since the last one that was asked for and came.
    again: Vec<StringNumber>,
    passed_over: u32,
    times: u32,
    /// What was found and is still to be looked at, likeliest first.
    doubts: Vec<Doubt>,
    mean: Option<Cents>,
}

/// Something to look at, and the string by which it is shown.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// The string.
    pub string: StringNumber,
    /// What was found.
    pub observation: Observation,
}

impl Check {
    /// A check of `harp`; one that is over, if as many of its strings were heard in this round as it asks for.
    pub fn begin(harp: &Harp, readiness: &Readiness) -> Self {
        let is_heard =
            |standing: &&Standing| !matches!(standing, Standing::NotHeard | Standing::Missing | Standing::New(None));
        let heard = readiness.standings().iter().filter(is_heard).count() >= PLUCKS;
        let takes_part = |number: &StringNumber| {
            harp.string(*number)
                .is_some_and(|string| string.mechanism != Mechanism::Fixed)
                && !matches!(readiness.of(*number), None | Some(Standing::Missing | Standing::New(_)))
        };
        let strings: Vec<StringNumber> = order::usual_order(harp)
            .into_iter()
            .filter(takes_part)
            .take(PLUCKS)
            .collect();
        if heard || strings.len() < PLUCKS {
            return Self::default();
        }
        Self {
            strings,
            ..Self::default()
        }
    }

    /// Another sound begins, whose times start over.
    pub const fn begin_sound(&mut self) {
        self.newest = None;
    }

    /// The string that is to be plucked, and its place among those that are asked for, from 1; `None` when it is over.
    pub fn asks(&self) -> Option<(StringNumber, usize)> {
        let next = self.strings.get(self.plucks.len())?;
        Some((*next, self.plucks.len() + 1))
    }

    /// The string that was plucked once more, by its pitch, where another one is asked for.
    pub fn again(&self) -> Option<StringNumber> {
        self.again.last().copied()
    }

    /// What is to be looked at before any pin is turned.
    pub fn doubt(&self) -> Option<&Doubt> {
        self.doubts.first()
    }

    /// How far the harp as a whole stands above its targets, once the check was made.
    pub const fn mean(&self) -> Option<Cents> {
        self.mean
    }

    /// The string that was asked for, if what was plucked at `onset_s` and sounds like `hz` may be that one; one before it,
    /// if it sounds like that.
    ///
    /// A pluck that was taken for a string stays with it while it rings on.
    pub fn takes(&self, harp: &Harp, tuning: &Tuning, onset_s: f64, hz: Hz) -> Option<StringNumber> {
        if let Some((_, string)) = self.newest.filter(|(onset, _)| *onset == onset_s) {
            return Some(string);
        }
        let (asked, _) = self.asks()?;
        let same = |plucked: &&Plucked| hz.cents_above(plucked.hz).is_within(SAME_PITCH);
        if self.again.len() < AGAIN_MAX
            && let Some(before) = self.plucks.iter().rev().find(same)
        {
            return Some(before.string);
        }
        let above = hz.cents_above(tuning.open_target(harp.string(asked)?)).0 - self.offset(harp, tuning).0;
        let near = |step: &f64| Cents(above - step).is_within(BESIDE);
        STEPS.iter().any(near).then_some(asked)
    }

    /// Whether the pluck at `onset_s` was taken for `string` only by its pitch, where another one is asked for: it says
    /// nothing of that string, which was read before.
    pub fn passes_over(&self, onset_s: f64, string: StringNumber) -> bool {
        let is_new = self.newest.is_none_or(|(onset, _)| onset != onset_s);
        let is_asked = self.asks().is_none_or(|(asked, _)| asked == string);
        is_new && !is_asked && self.plucks.iter().any(|plucked| plucked.string == string)
    }

    /// How far the strings so far stand above their targets, whole semitones aside: the one in their middle.
    fn offset(&self, harp: &Harp, tuning: &Tuning) -> Cents {
        let mut beside: Vec<f64> = self
            .plucks
            .iter()
            .filter_map(|plucked| {
                let above = plucked
                    .hz
                    .cents_above(tuning.open_target(harp.string(plucked.string)?))
                    .0;
                Some(above - 100.0 * (above / 100.0).round())
            })
            .collect();
        beside.sort_by(f64::total_cmp);
        Cents(beside.get(beside.len() / 2).copied().unwrap_or_default())
    }

    /// Takes in a settled pluck of what was taken for `string`; each pluck counts once.
    pub fn hear(&mut self, harp: &Harp, tuning: &Tuning, onset_s: f64, string: StringNumber, hz: Hz) {
        if self.newest.is_some_and(|(onset, _)| onset == onset_s) {
            return;
        }
        self.newest = Some((onset_s, string));
        self.count(harp, tuning, string, hz);
    }

    fn count(&mut self, harp: &Harp, tuning: &Tuning, string: StringNumber, hz: Hz) {
        match self.asks() {
            Some((asked, _)) if asked == string => {
                self.plucks.push(Plucked { string, hz });
                self.again.clear();
                self.passed_over = 0;
                if self.asks().is_none() {
                    self.weigh(harp, tuning);
                }
            }
            Some(_) if self.again.len() < AGAIN_MAX && self.plucks.iter().any(|plucked| plucked.string == string) => {
                self.again.push(string);
            }
            Some(_) => {
                self.passed_over += 1;
                if self.passed_over >= PASSED_OVER_MAX {
                    *self = Self::default();
                }
            }
            None => self.looked_at(harp, tuning, string, hz),
        }
    }

    /// The harpist has looked at what is doubted of `string`, and wants to go on.
    pub fn overrule(&mut self, string: StringNumber) {
        if let Some(at) = self.doubts.iter().position(|doubt| doubt.string == string) {
            self.doubts.remove(at);
        }
    }

    /// The harpist wants to tune without a check.
    pub fn leave_out(&mut self) {
        *self = Self::default();
    }

    fn weigh(&mut self, harp: &Harp, tuning: &Tuning) {
        let opening = observe(harp, tuning, &self.plucks);
        if self.strings.len() == PLUCKS
            && let Some(more) = one_more(harp, &opening)
            && !self.strings.contains(&more)
        {
            self.strings.push(more);
            return;
        }
        self.times += 1;
        self.take(harp, opening);
    }

    fn take(&mut self, harp: &Harp, opening: Opening) {
        self.mean = Some(opening.mean);
        let first = self.strings.first().copied();
        self.doubts = opening
            .observations
            .into_iter()
            .filter_map(|observation| {
                let string = match &observation.what {
                    What::Pedal { letter, .. } => self.string_of(harp, *letter),
                    What::Lever(string) | What::Elsewhere(string) => Some(*string),
                    What::AllPedals | What::OpenTuning { .. } | What::AnotherHarp | What::FarBelow => first,
                }?;
                Some(Doubt { string, observation })
            })
            .collect();
        if let Some(string) = first.filter(|_| opening.mean.0 <= FAR_BELOW.0) {
            let observation = Observation {
                what: What::FarBelow,
                probability: 1.0,
                above: opening.mean,
            };
            self.doubts.push(Doubt { string, observation });
        }
    }

    /// A string that is plucked again was looked at; what is about the whole harp is checked anew.
    fn looked_at(&mut self, harp: &Harp, tuning: &Tuning, string: StringNumber, hz: Hz) {
        let whole_harp = |doubt: &Doubt| {
            matches!(
                doubt.observation.what,
                What::AllPedals | What::OpenTuning { .. } | What::AnotherHarp | What::FarBelow
            )
        };
        if self
            .doubt()
            .is_some_and(|doubt| doubt.observation.what == What::FarBelow)
        {
            self.doubts.remove(0);
            return;
        }
        if self.doubt().is_some_and(whole_harp) {
            self.doubts.clear();
            if self.times < TIMES_MAX {
                self.strings.truncate(PLUCKS);
                self.plucks.clear();
                self.count(harp, tuning, string, hz);
            }
            return;
        }
        self.doubts.retain(|doubt| doubt.string != string);
    }

    fn string_of(&self, harp: &Harp, letter: Letter) -> Option<StringNumber> {
        let of_letter =
            |number: &&StringNumber| harp.string(**number).is_some_and(|string| string.open.letter == letter);
        self.strings.iter().find(of_letter).copied()
    }
}

#[cfg(test)]
mod tests;
