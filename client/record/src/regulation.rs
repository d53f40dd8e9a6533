//! Pedals, discs and levers: how far the steps of each string lie off whole semitones, by letter and one by one.

use std::collections::BTreeMap;

use consort_proto::{Cents, Letter, StringNumber};

use crate::chronicle::Chronicle;
use crate::date::Date;
use crate::robust;

/// A letter that is off in all octaves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct LetterOff {
    pub(crate) letter: Letter,
    pub(crate) position: u8,
    pub(crate) by: Cents,
    pub(crate) strings: usize,
}

/// A string whose step is off beyond its letter's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct StepOff {
    pub(crate) string: StringNumber,
    pub(crate) position: u8,
    pub(crate) by: Cents,
    /// What its letter is off.
    pub(crate) letter_by: Cents,
}

/// How far one step of a string's disc or lever lies off whole semitones.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StepError {
    /// The string.
    pub string: StringNumber,
    /// 1 or 2 semitones.
    pub position: u8,
    /// How far, in the mean of the last checks that agree; positive is sharp.
    pub by: Cents,
    /// One standard deviation of that.
    pub sigma: Cents,
    /// Checks that agree.
    pub checks: usize,
    /// The day of the newest.
    pub on: Date,
}

impl StepError {
    /// Whether a technician would set it.
    pub fn is_off(&self) -> bool {
        self.by.0.abs() > STEP_OFF_CENTS
    }
}

/// The table of all steps that were checked since they were last regulated, by strings from the top.
pub fn table(chronicle: &Chronicle) -> Vec<StepError> {
    errors(chronicle).into_values().collect()
}

/// The newest errors of every string's steps by string and position.
pub(crate) fn errors(chronicle: &Chronicle) -> BTreeMap<(StringNumber, u8), StepError> {
    let mut errors = BTreeMap::new();
    for (number, string) in chronicle.sheet().harp.numbered() {
        let Some(track) = chronicle.track(number) else { continue };
        for position in 1..=string.mechanism.positions() {
            let steps = &track.steps[usize::from(position) - 1];
            if let Some(newest) = steps.back() {
                let known = string.regulation_error(position);
                // What changed since an earlier check shows at once; what did not is known better.
                let like = steps
                    .iter()
                    .filter(|step| (step.error - newest.error).abs() < STEADY_CENTS);
                let (checks, error, variance) = like.fold((0, 0.0, 0.0), |(checks, error, variance), step| {
                    (checks + 1, error + step.error, variance + step.sigma * step.sigma)
                });
                let by = Cents(error / checks as f64 - known.0);
                let sigma = Cents(variance.sqrt() / checks as f64);
                let on = newest.at.date();
                let step = StepError {
                    string: number,
                    position,
                    by,
                    sigma,
                    checks,
                    on,
                };
                errors.insert((number, position), step);
            }
        }
    }
    errors
}

/// Checks of one step that differ by less are of the same regulation.
const STEADY_CENTS: f64 = 2.5;
/// A letter is off when its strings are, in the middle, by more than this, cents: on an older harp that was measured,
/// single steps were several cents off, and no letter as a whole.
const LETTER_OFF_CENTS: f64 = 4.5;
/// And by so many times the error of that middle.
const LETTER_OFF_SIGMAS: f64 = 4.0;
/// A pedal is judged by at least so many strings.
const LETTER_STRINGS: usize = 3;
/// A single step is off beyond this, cents.
const STEP_OFF_CENTS: f64 = 5.5;
/// One check may have been misheard: a single step is named once so many agree.
const STEP_CHECKS: usize = 2;
/// Steps scatter by at least this around their letter, cents.
const STEP_SPREAD_CENTS: f64 = 1.0;

/// Letters and single steps that are out of regulation.
pub(crate) fn look(chronicle: &Chronicle) -> (Vec<LetterOff>, Vec<StepOff>) {
    let errors = errors(chronicle);
    let harp = &chronicle.sheet().harp;
    let by_pedal = harp.kind() == consort_proto::Kind::Pedal;
    let letter_of = |string: StringNumber| harp.string(string).map(|string| string.open.letter);
    let (mut letters, mut steps) = (Vec::new(), Vec::new());
    for position in 1..=2 {
        let mut whole: Vec<f64> = errors
            .iter()
            .filter(|(key, _)| key.1 == position)
            .map(|entry| entry.1.by.0)
            .collect();
        let Some(harp_by) = robust::median(&mut whole) else {
            continue;
        };
        let spread = robust::spread(whole.iter().map(|error| error - harp_by))
            .unwrap_or(0.0)
            .max(STEP_SPREAD_CENTS);
        for letter in Letter::ALL {
            let own: Vec<(StringNumber, (f64, usize))> = errors
                .iter()
                .filter(|(key, _)| key.1 == position && letter_of(key.0) == Some(letter))
                .map(|(key, step)| (key.0, (step.by.0, step.checks)))
                .collect();
            let middle = robust::median(&mut own.iter().map(|one| one.1.0).collect::<Vec<_>>()).unwrap_or(0.0);
            let sigma = 1.25 * spread / (own.len().max(1) as f64).sqrt();
            let off = by_pedal
                && own.len() >= LETTER_STRINGS
                && middle.abs() > LETTER_OFF_CENTS
                && middle.abs() > LETTER_OFF_SIGMAS * sigma;
            if off {
                letters.push(LetterOff {
                    letter,
                    position,
                    by: Cents(middle),
                    strings: own.len(),
                });
            }
            let around = if off { middle } else { 0.0 };
            for (string, (error, checks)) in own {
                let beyond = error - around;
                if checks >= STEP_CHECKS && beyond.abs() > STEP_OFF_CENTS.max(3.5 * spread.min(2.0)) {
                    steps.push(StepOff {
                        string,
                        position,
                        by: Cents(beyond),
                        letter_by: Cents(around),
                    });
                }
            }
        }
    }
    (letters, steps)
}
