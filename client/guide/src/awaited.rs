//! Which readings count: of a string that is awaited or in hand at once, unless she has just played; of any other once it is
//! plucked twice, or where it stands alone; and none that is more likely another harp's.
//!
//! A note of a melody, a word that is talked and a string of another harp sound once and are followed by something else.
//! Whoever means a string that nobody asked for plucks it again: until a second pluck confirms it, it does not hold anyhow.

mod pluck;
mod waiting;
mod weighing;

use std::collections::VecDeque;

use consort_proto::StringNumber;

use self::pluck::BESIDE;
pub use self::pluck::{Heeded, Plucked, Taken, Wanted};
use self::waiting::{SAME_DB, Waiting, Weighed};
use crate::levels::Levels;
use crate::passing::Passing;
use crate::whose::{Expected, Whose};

/// A pluck that is so much softer than this harp usually is, decibels, is not even followed.
const SOFT_ASKED_DB: f64 = 10.0;
/// What her harp is like is learnt from strings that are asked for, and from others that are no softer than this, decibels: a
/// harp beside hers, whose harpist walks over its strings, would be followed else.
const LEARNT_DB: f64 = 4.0;
const LEARNT_NATS: f64 = 3.0;
/// Until so many plucks have counted, the string beside the one that is asked for is one that nobody asked for: it is another
/// harp's as well as hers, and what is learnt of it would be wrong (assumed).
const BESIDE_FROM: usize = 3;
/// So often a string that nobody asked for is plucked until it counts; and where it followed others in passing, as a note
/// that is repeated in a melody.
const PLUCKS: usize = 2;
const PLUCKS_IN_PASSING: usize = 3;
/// A string stands alone when no other one is plucked for so long before and after it, seconds (assumed).
const ALONE_S: f64 = 2.5;
/// For so long after music, seconds, a string may be music as well even if it is asked for (assumed): it is plucked again, or
/// stands alone, until it counts.
const AFTER_MUSIC_S: f64 = 8.0;
/// Music has so many notes and more within so many seconds, when those that others played are left out.
const MUSIC_NOTES: usize = 3;
const MUSIC_S: f64 = 4.0;
/// Who walks from one string to the next one plucks no faster, seconds between plucks (assumed; two a second are a run).
const LEISURE_S: f64 = 0.6;
/// The desk asks for the next string once the one before it is measured, and that takes so long, seconds.
const ASKED_AFTER_S: f64 = 1.0;
/// Who has not gone on for so long, seconds, goes where the desk asks for.
const WALKS_S: f64 = 10.0;
/// So many plucks are remembered; what lies further back is not held against a string in hand.
const REMEMBERED: usize = 32;

/// Readings `T` on their way to count.
#[derive(Clone, Debug)]
pub(crate) struct Awaited<T> {
    /// Onset and string of the newest plucks, whatever came of them.
    plucks: VecDeque<(f64, StringNumber)>,
    /// Onsets of those that proved to be another harp's, or no plucks.
    passed_by: VecDeque<f64>,
    /// The string of which readings count, and when it was plucked last.
    hand: Option<(f64, StringNumber)>,
    /// The last pluck that counted.
    counted: Option<Weighed<()>>,
    waiting: Option<Waiting<T>>,
    /// What waited in vain before anything counted: whose it was shows once hers are known.
    early: Option<Plucked>,
    /// What was asked for and refused, though it may be hers: when it was last plucked, and the strongest of its plucks.
    doubted: Option<Weighed<()>>,
    /// The last pluck that was said to be too soft, and the one of which she has said that it was hers all the same.
    soft: Option<Plucked>,
    said: Option<Plucked>,
    /// Whether that has counted since: what the ear holds for too soft is weighed like anything else from then on.
    is_softer: bool,
    /// The last pluck that was too strong to count, and how loud hers are with all that sounds then.
    strong: Option<Plucked>,
    whole: Levels,
    passing: Passing,
    /// The newest pluck of music, seconds, until something counts.
    music_s: Option<f64>,
    whose: Whose,
}

impl<T> Default for Awaited<T> {
    fn default() -> Self {
        Self {
            plucks: VecDeque::with_capacity(REMEMBERED),
            passed_by: VecDeque::with_capacity(REMEMBERED),
            hand: None,
            counted: None,
            waiting: None,
            early: None,
            doubted: None,
            soft: None,
            said: None,
            is_softer: false,
            strong: None,
            whole: Levels::default(),
            passing: Passing::default(),
            music_s: None,
            whose: Whose::default(),
        }
    }
}

impl<T> Awaited<T> {
    /// Another sound begins, whose times start over.
    pub(crate) fn begin_sound(&mut self) {
        *self = Self::default();
    }

    /// What was plucked at `onset_s` is not hers, or no pluck: it stands between nothing.
    pub(crate) fn pass_by(&mut self, onset_s: f64) {
        self.plucks.retain(|(onset, _)| *onset != onset_s);
        if self.passed_by.len() == REMEMBERED {
            self.passed_by.pop_front();
        }
        self.passed_by.push_back(onset_s);
    }

    /// Something was plucked at `onset_s`, seconds, that is taken for `string` so far.
    pub(crate) fn pluck(&mut self, onset_s: f64, string: StringNumber) {
        if self.passed_by.contains(&onset_s) {
            return;
        }
        if let Some(pluck) = self.plucks.iter_mut().find(|(onset, _)| *onset == onset_s) {
            pluck.1 = string;
            return;
        }
        if self.plucks.len() == REMEMBERED {
            self.plucks.pop_front();
        }
        self.plucks.push_back((onset_s, string));
    }

    /// Whether a pluck is so much softer than this harp that it is not followed while it sounds: it counts at most once it is
    /// plucked again, or where she says that it is hers.
    pub(crate) fn is_too_soft(&self, string: StringNumber, level_dbfs: f64) -> bool {
        let is_waited_for = |said: &Plucked| said.string == string && level_dbfs >= said.level_dbfs - SAME_DB;
        self.whose.levels.softer_db(string, level_dbfs) > SOFT_ASKED_DB
            && !self.said.as_ref().is_some_and(is_waited_for)
    }

    /// She plays, and plucked last at `onset_s`: what waits was music.
    pub(crate) fn plays(&mut self, onset_s: f64) {
        self.hand = None;
        self.waiting = None;
        self.passing.plays();
        self.music_s = Some(onset_s);
    }

    /// Whether a pluck at `onset_s` is one of music, or comes so soon after it that it may be. What proved to be no pluck of
    /// hers was no music of hers.
    fn follows_music(&self, onset_s: f64) -> bool {
        self.music_s.is_some_and(|music_s| {
            let lately = |then_s: f64| (0.0..MUSIC_S).contains(&(music_s - then_s));
            let notes = self.plucks.iter().filter(|(then_s, _)| lately(*then_s));
            onset_s - music_s < AFTER_MUSIC_S && notes.count() >= MUSIC_NOTES
        })
    }

    /// Takes in the `reading` of a pluck: what becomes of it.
    pub(crate) fn take(&mut self, plucked: Plucked, wanted: Wanted, reading: T) -> Taken<T> {
        let Plucked { onset_s, string, .. } = plucked;
        self.pluck(onset_s, string);
        let wanted = if self.takes_as_said(&plucked) {
            Wanted::ByHand
        } else {
            wanted
        };
        let in_passing = self.passing.goes_on_at(onset_s);
        let after_music = self.follows_music(onset_s);
        let whatever = matches!(wanted, Wanted::Any | Wanted::ByHand);
        let is_known = wanted.is_just(string) || self.whose.levels.plucks() >= BESIDE_FROM;
        let is_asked_for = whatever || wanted.is_for(string) && is_known && !in_passing;
        let is_awaited = whatever || is_asked_for && !after_music;
        let in_hand = self
            .hand
            .is_some_and(|(last_s, hand)| self.is_next_to(last_s, hand, onset_s, string));
        let weight = match self.weigh(&plucked, wanted) {
            Ok(weight) => weight,
            Err(nats) => {
                let may_be_hers = self.doubts(&plucked, wanted, nats);
                if self.whose.is_harmonic(&plucked) {
                    self.passing.harmonic(onset_s, string);
                    return Taken::Waits;
                }
                self.pass_by(onset_s);
                if !may_be_hers {
                    self.is_anothers(&plucked, nats);
                }
                if is_asked_for || in_hand {
                    self.soft = Some(plucked);
                    return Taken::TooSoft;
                }
                return Taken::NotHers;
            }
        };
        if weight.is_said {
            self.turn_to(&plucked);
        }
        let nats = weight.nats;
        self.doubted.take_if(|doubted| doubted.plucked.string == string);
        self.hand = None;
        if !is_awaited && self.music_s.is_some_and(|music_s| onset_s <= music_s) {
            // The last word on a note of the music.
            return Taken::Waits;
        }
        if (is_awaited || in_hand) && self.is_too_strong(&plucked, wanted) {
            self.hand = in_hand.then_some((onset_s, string));
            return Taken::Strong;
        }
        let waiting = self.goes_on(&plucked);
        let mut waiting = waiting.unwrap_or(Waiting {
            last_s: onset_s,
            string,
            readings: Vec::new(),
            wanted: if in_passing || after_music && !is_asked_for {
                PLUCKS_IN_PASSING
            } else {
                PLUCKS
            },
            meant: wanted,
            alone: !in_passing && !self.has_other(onset_s - ALONE_S, onset_s, string),
            walks: None,
        });
        (waiting.last_s, waiting.string, waiting.meant) = (onset_s, string, wanted);
        if in_passing {
            waiting.wanted = waiting.wanted.max(PLUCKS_IN_PASSING);
        }
        waiting.readings.push(Weighed { plucked, nats, reading });
        if is_awaited || in_hand || waiting.readings.len() >= waiting.wanted {
            Taken::Counts(self.count(waiting))
        } else {
            self.passing.pass(onset_s, string);
            self.waiting = Some(waiting);
            Taken::Waits
        }
    }

    /// What waits and goes on with `next`; what does not was another's, perhaps, as is known by now.
    fn goes_on(&mut self, next: &Plucked) -> Option<Waiting<T>> {
        let waiting = self.waiting.take()?;
        let last = waiting.readings.last().map(|last| last.plucked);
        let stood = !self.has_other(waiting.last_s, next.onset_s, waiting.string);
        let goes_on = if stood { waiting.goes_on(next) } else { None };
        if goes_on.is_none()
            && let Some(last) = last
        {
            if self.whose.levels.plucks() == 0 {
                self.early = Some(last);
            }
            self.was_anothers(&last);
        }
        goes_on
    }

    /// `plucked` is another's, as the weight `nats` says; one that is like hers in itself tells nothing of that hand.
    fn is_anothers(&mut self, plucked: &Plucked, nats: f64) {
        if self.whose.looks_like(plucked, Expected::Not) < 0.0 {
            self.whose.is_anothers(plucked.onset_s, plucked.string, nats);
        }
    }

    /// `plucked` did not count: it is held for another's where more speaks for that by now.
    fn was_anothers(&mut self, plucked: &Plucked) {
        let nats = self.whose.weigh(plucked, Expected::Not);
        if nats < 0.0 {
            self.is_anothers(plucked, nats);
        }
    }

    /// What waits counts, and the string is in hand.
    fn count(&mut self, waiting: Waiting<T>) -> Vec<T> {
        self.hand = Some((waiting.last_s, waiting.string));
        self.passing = Passing::default();
        self.music_s = None;
        let count = |one: Weighed<T>| {
            let Plucked { string, level_dbfs, .. } = one.plucked;
            let is_sure = one.nats >= LEARNT_NATS && self.whose.levels.softer_db(string, level_dbfs) <= LEARNT_DB;
            self.whose.has_in_hand(string, one.nats);
            self.counted = Some(Weighed {
                plucked: one.plucked,
                nats: one.nats,
                reading: (),
            });
            if waiting.meant.is_just(string) || is_sure {
                self.whose.levels.count(string, level_dbfs);
                self.whole.count(string, one.plucked.whole_dbfs);
                self.whose.learn(&one.plucked);
            }
            one.reading
        };
        let readings = waiting.readings.into_iter().map(count).collect();
        if self.whose.levels.plucks() > 0
            && let Some(early) = self.early.take()
        {
            self.was_anothers(&early);
        }
        readings
    }

    /// When a reading that waits has stood alone for long enough, unless something is plucked until then, seconds.
    pub(crate) fn alone_at(&self) -> Option<f64> {
        let alone = self.waiting.as_ref().filter(|waiting| waiting.alone)?;
        Some(alone.last_s + ALONE_S)
    }

    /// What waits and has stood alone, now that it is `time_s` or the sound has ended: it counts.
    pub(crate) fn stood_alone(&mut self, time_s: f64) -> Vec<T> {
        if !self.alone_at().is_some_and(|at_s| at_s <= time_s) {
            return Vec::new();
        }
        let Some(mut waiting) = self.waiting.take() else {
            return Vec::new();
        };
        if self.has_other(waiting.last_s, waiting.last_s + ALONE_S, waiting.string) {
            waiting.alone = false;
            self.waiting = Some(waiting);
            return Vec::new();
        }
        self.count(waiting)
    }

    /// What was plucked, as loud as this harp as far as that is known, was told as a string that stands where no open string
    /// does; `wanted` says what she was asked for.
    pub(crate) fn stands_elsewhere(&mut self, plucked: Plucked, wanted: Wanted) {
        // She may have taken a string with the key that is that far off, or the one beside it: but none that stood elsewhere
        // by just what a pedal moves, unless it is asked for.
        let is_near = |other: StringNumber| other.get().abs_diff(plucked.string.get()) <= BESIDE;
        let is_at_hand = wanted.is_for(plucked.string) || self.hand.is_some_and(|(_, hand)| is_near(hand));
        let is_meant = wanted.is_just(plucked.string) || is_at_hand && !self.whose.is_by_pedal(&plucked);
        if !is_meant && self.is_as_loud(&plucked) {
            self.passing.elsewhere(plucked.onset_s, plucked.string);
        }
    }

    /// Whether a pluck is as loud as hers.
    fn is_as_loud(&self, plucked: &Plucked) -> bool {
        self.whose.levels.softer_db(plucked.string, plucked.level_dbfs) <= LEARNT_DB
    }

    /// The targets have moved, from which it is told where strings stood.
    pub(crate) fn forget_places(&mut self) {
        self.whose.forget_places();
        (self.doubted, self.soft, self.said) = (None, None, None);
    }

    /// What was plucked in passing, or stood elsewhere, says nothing any more.
    pub(crate) fn forget_passing(&mut self) {
        self.passing = Passing::default();
    }

    /// Something was plucked at `onset_s` that is far too soft to be hers, whatever it was.
    pub(crate) fn hears_another(&mut self, onset_s: f64) {
        self.pass_by(onset_s);
        self.whose.hears_another(onset_s);
    }

    /// Whether something that is no reading is heeded. What goes on from the string in hand is in hand itself; what does
    /// neither and `is_soft` is another harp's.
    pub(crate) fn heeds(&mut self, plucked: &Plucked, wanted: Wanted, is_soft: bool) -> Heeded {
        let Plucked { onset_s, string, .. } = *plucked;
        self.pluck(onset_s, string);
        let weight = self.weigh(plucked, wanted);
        let goes_on = self
            .hand
            .is_some_and(|(last_s, hand)| self.is_next_to(last_s, hand, onset_s, string));
        let passes = self.passing.goes_on_at(onset_s) || self.follows_music(onset_s);
        let is_meant = goes_on || matches!(wanted, Wanted::Any | Wanted::ByHand) || wanted.is_for(string) && !passes;
        if goes_on && weight.is_ok() {
            self.hand = Some((onset_s, string));
        }
        if is_soft {
            let mut plays = false;
            if let Err(nats) = weight
                && !self.doubts(plucked, wanted, nats)
            {
                plays = self.whose.is_harmonic(plucked);
                if plays {
                    self.passing.harmonic(onset_s, string);
                } else {
                    self.is_anothers(plucked, nats);
                }
            }
            if is_meant {
                self.soft = Some(*plucked);
            }
            if (!is_meant || weight.is_err()) && !plays {
                self.pass_by(onset_s);
            }
        }
        match (is_meant, weight) {
            (true, Ok(_)) => Heeded::Yes,
            (true, Err(_)) if is_soft => Heeded::TooSoft,
            _ => Heeded::No,
        }
    }

    /// Whether a pluck of `string` goes on from that of `hand`: the same one again, or the one beside it at leisure.
    fn is_next_to(&self, last_s: f64, hand: StringNumber, onset_s: f64, string: StringNumber) -> bool {
        let again = string == hand;
        let beside = string.get().abs_diff(hand.get()) == 1 && (LEISURE_S..=WALKS_S).contains(&(onset_s - last_s));
        (again || beside) && !self.has_other(last_s, onset_s, hand)
    }

    /// Whether another string than `string` was plucked between two moments.
    fn has_other(&self, from_s: f64, to_s: f64, string: StringNumber) -> bool {
        self.plucks
            .iter()
            .any(|(onset_s, other)| *other != string && *onset_s > from_s && *onset_s < to_s)
    }
}

#[cfg(test)]
mod tests;
