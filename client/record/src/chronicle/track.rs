//! One string's story: how it moved, what it sounded like, and since when it is on.

use std::collections::VecDeque;

use consort_proto::{Reading, StringNumber};

use crate::brightness::Brightness;
use crate::date::{Date, Moment};
use crate::sound::Sound;
use crate::visit::Visit;

/// One string's story.
#[derive(Clone, Debug, Default)]
pub(crate) struct Track {
    /// Its movements beyond the room's, newest last.
    pub(crate) moves: VecDeque<Move>,
    pub(super) left: Option<(Moment, Reading)>,
    /// What the room has done to it since it was left, cents.
    pub(super) room: f64,
    /// How much more than its material it answers the room: sums of products and of squares.
    answers: (f64, f64),
    /// Sum of its squared movements in units of what is usual, cut at the top, and how many.
    unrest: (f64, f64),
    /// What it sounded like at each tuning since it was fitted, newest last.
    pub(crate) sounds: VecDeque<(Moment, Sound)>,
    /// What it sounded like before the tunings in `sounds`, since it was fitted.
    pub(crate) usual: Sound,
    /// What the string before it sounded like.
    pub(crate) former: Sound,
    /// How bright it is against itself when it was new.
    pub(crate) brightness: Brightness,
    /// Errors of one and two semitones at the checks since it was fitted and regulated, newest last.
    pub(crate) steps: [VecDeque<Step>; 2],
    /// The mean of those errors before it was fitted.
    pub(crate) former_steps: [Option<f64>; 2],
    pub(crate) fitted: Option<Date>,
    /// The tuning of the same day that still heard the string before it.
    pub(super) fitted_after: Option<Moment>,
    /// The newest tuning in which it was heard at all.
    pub(crate) heard: Option<Moment>,
}

/// One check of one step of a disc or lever.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Step {
    pub(crate) at: Moment,
    /// How far it lay off whole semitones above the open string, cents.
    pub(crate) error: f64,
    /// One standard deviation of that.
    pub(crate) sigma: f64,
}

/// How a string moved from one tuning to the next, beyond what the room did to its material.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Move {
    pub(crate) from: Moment,
    pub(crate) at: Moment,
    pub(crate) days: f64,
    /// Cents, positive is up.
    pub(crate) beyond: f64,
    /// One standard deviation of that on a string in order.
    pub(crate) sigma: f64,
    /// The tuning's number.
    pub(crate) visit: usize,
}

/// Movements and sounds that are kept: older ones no longer say what is wrong now.
const MOVES_KEPT: usize = 40;
const SOUNDS_KEPT: usize = 8;
/// What a string at rest wanders, cents: at once, and in one day (its variance grows with the days, up to ten).
/// Assumed; each string's own unrest and each tuning's scale correct it.
const WANDERS: (f64, f64) = (0.5, 0.6);
const WANDERS_UP_TO_DAYS: f64 = 10.0;
/// How differently strings of one material answer the room, one standard deviation as a share of its movement.
const ANSWERS_SPREAD: f64 = 0.3;
/// How strongly the past's unrest is held to the usual: as if so many movements had been as usual.
const UNREST_PRIOR: f64 = 12.0;
const UNREST_CUT: f64 = 4.0;
/// The past fades by this share with every movement.
const FADES: f64 = 0.98;
/// A string that stands this far from where it was left was renewed before the tuning and not after it.
const RENEWED_CENTS: f64 = 15.0;
/// A string younger than this has no part in what its material does.
const YOUNG_DAYS: i32 = 14;

impl Track {
    pub(super) fn renew(&mut self, on: Date) {
        self.moves.clear();
        self.left = None;
        self.room = 0.0;
        self.answers = (0.0, 0.0);
        self.unrest = (0.0, 0.0);
        let mut former = std::mem::take(&mut self.usual);
        self.sounds.iter().for_each(|(_, sound)| former.add(sound));
        self.sounds.clear();
        self.former = former;
        self.brightness.renew();
        for (former, steps) in self.former_steps.iter_mut().zip(&mut self.steps) {
            let count = steps.len() as f64;
            *former = (!steps.is_empty()).then(|| steps.iter().map(|step| step.error).sum::<f64>() / count);
            steps.clear();
        }
        self.fitted = Some(on);
        self.fitted_after = None;
    }

    /// Whether the string that is on may have been there before the day `on`.
    pub(super) fn is_older_than(&self, on: Date) -> bool {
        self.fitted.is_none_or(|fitted| fitted < on)
    }

    /// Whether the string that was put on on the day `on` was so after `next`, a tuning of that day, heard the one before
    /// it: it was found where that had been left. `None` where nothing tells.
    pub(super) fn was_renewed_after(&self, on: Date, string: StringNumber, next: &Visit) -> Option<bool> {
        let (_, left) = self.left?;
        let found = next.strings.get(&string)?.found?;
        let moved = found.hz.cents_above(left.hz).0 - self.room;
        Some(next.at.date() == on && moved.abs() < RENEWED_CENTS)
    }

    /// Whether the string was put on so lately that its fall says nothing of the room.
    pub(super) fn is_young(&self, at: Moment) -> bool {
        self.fitted.is_some_and(|on| at.date().days_since(on) < YOUNG_DAYS)
    }

    /// The movement that ends with `found`, if where it began is known.
    pub(super) fn moved(&mut self, at: Moment, found: Reading, level: f64, visit: usize) -> Option<Move> {
        let (from, left) = self.left?;
        if self.fitted_after.is_some_and(|after| from <= after) {
            return None;
        }
        let days = at.days_since(from).max(0.02);
        let answer = self.answer();
        let beyond = found.hz.cents_above(left.hz).0 - self.room - answer.0 * level;
        let wanders = WANDERS.0.hypot(WANDERS.1 * days.min(WANDERS_UP_TO_DAYS).sqrt());
        let sigma = (wanders * self.unrest())
            .hypot(found.sigma.0)
            .hypot(left.sigma.0)
            .hypot(answer.1 * level);
        Some(Move {
            from,
            at,
            days,
            beyond,
            sigma,
            visit,
        })
    }

    pub(super) fn remember(&mut self, made: Move, level: f64) {
        let z = (made.beyond / made.sigma).clamp(-2.5, 2.5);
        let held = z * made.sigma;
        let weight = 1.0 / (made.sigma * made.sigma);
        let answer = self.answer().0;
        self.answers.0 = FADES * self.answers.0 + weight * level * (held + answer * level);
        self.answers.1 = FADES * self.answers.1 + weight * level * level;
        self.unrest.0 = FADES * self.unrest.0 + (self.unrest() * z).powi(2).min(UNREST_CUT);
        self.unrest.1 = FADES * self.unrest.1 + 1.0;
        keep(&mut self.moves, made, MOVES_KEPT);
    }

    /// How much more than its material the string answers the room, and one standard deviation of that.
    fn answer(&self) -> (f64, f64) {
        let precision = self.answers.1 + 1.0 / (ANSWERS_SPREAD * ANSWERS_SPREAD);
        (self.answers.0 / precision, precision.sqrt().recip())
    }

    /// How much more than usual it wanders; 1 where nothing is known.
    fn unrest(&self) -> f64 {
        ((UNREST_PRIOR + self.unrest.0) / (UNREST_PRIOR + self.unrest.1)).sqrt()
    }

    /// Takes in what the string sounded like; whether it was this one and not the string before it.
    pub(super) fn sounds_like(&mut self, at: Moment, sound: Sound) -> bool {
        if sound.is_silent() || self.fitted_after.is_some_and(|after| at <= after) {
            return false;
        }
        if self.sounds.len() == SOUNDS_KEPT
            && let Some((_, oldest)) = self.sounds.pop_front()
        {
            self.usual.add(&oldest);
        }
        self.sounds.push_back((at, sound));
        true
    }
}

/// Adds `entry` to the end of `list`, which holds so many at most.
pub(super) fn keep<T>(list: &mut VecDeque<T>, entry: T, most: usize) {
    if list.len() >= most {
        list.pop_front();
    }
    list.push_back(entry);
}
