//! What it means that two strings, or a string's harmonic or disc, do not sound as they should.

use consort_proto::{Cents, StringNumber};

use super::check::{Asks, Check};
use super::{Kind, Sound};

/// What came of a check.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// Beats in a second as found, where two strings sound together.
    pub beats: Option<f64>,
    /// How far the second sound lies above what is expected of it beside the first one, cents.
    pub off: Cents,
    /// What it means.
    pub meaning: Meaning,
}

/// What a difference means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Meaning {
    /// All is as it should be.
    Right,
    /// One of the two is out of tune: this one, unless the other is.
    Tune(StringNumber),
    /// Both are in tune by themselves: this string may be false, or one of them has moved since.
    False(StringNumber),
    /// Both are in tune open: this string's disc or lever is out of regulation.
    Step(StringNumber),
    /// Of a scale, this string stands out most.
    StandsOut(StringNumber),
}

/// Two strings may differ by this before it means anything, cents; the middle of what each may be off by itself.
const WITHIN_CENTS: f64 = 2.0;
/// A disc or lever by this: steps of an older harp were several cents off (R. Swanson, 2021).
const STEP_WITHIN_CENTS: f64 = 4.0;
/// So many standard deviations are doubt.
const DOUBT: f64 = 2.0;

pub(super) fn of_beats(
    check: &Check,
    found: f64,
    sigma: f64,
    in_tune: impl Fn(StringNumber) -> Option<bool>,
) -> Option<Outcome> {
    let Asks::Together {
        lower,
        higher,
        interval,
        expected,
    } = check.asks()
    else {
        return None;
    };
    // The pair of partials lies where q times the higher string does.
    let pair_hz = higher.hz.get() * f64::from(interval.meeting().1);
    let cents = |beats: f64| 1200.0 * (1.0 + beats / pair_hz).log2();
    let off = Cents(cents(found - expected));
    let within = WITHIN_CENTS.max(cents(DOUBT * sigma).abs());
    let meaning = if off.0.abs() <= within {
        Meaning::Right
    } else if in_tune(lower.string) == Some(true) && in_tune(higher.string) == Some(true) {
        Meaning::False(higher.string)
    } else {
        Meaning::Tune(out_of_tune(lower, higher, in_tune))
    };
    Some(Outcome {
        beats: Some(found),
        off,
        meaning,
    })
}

pub(super) fn of_sounds(
    check: &Check,
    heard: &[Cents],
    in_tune: impl Fn(StringNumber) -> Option<bool>,
) -> Option<Outcome> {
    let Asks::InTurn(sounds) = check.asks() else {
        return None;
    };
    if heard.len() < sounds.len() {
        return None;
    }
    if check.kind() == Kind::Scale {
        return Some(of_scale(sounds, heard));
    }
    let (&[first, second], &[before, after]) = (sounds.as_slice(), heard) else {
        return None;
    };
    let off = Cents(after.0 - before.0);
    let both = in_tune(first.string) == Some(true) && in_tune(second.string) == Some(true);
    let (within, otherwise) = match check.kind() {
        Kind::Enharmonic => (STEP_WITHIN_CENTS, Meaning::Step(first.string)),
        _ => (WITHIN_CENTS, Meaning::False(first.string)),
    };
    let meaning = if off.0.abs() <= within {
        Meaning::Right
    } else if both {
        otherwise
    } else {
        Meaning::Tune(out_of_tune(&first, &second, in_tune))
    };
    Some(Outcome {
        beats: None,
        off,
        meaning,
    })
}

/// The string that stands out most from the middle of a scale.
fn of_scale(sounds: &[Sound], heard: &[Cents]) -> Outcome {
    let mut sorted: Vec<f64> = heard.iter().map(|cents| cents.0).collect();
    sorted.sort_by(f64::total_cmp);
    let middle = f64::midpoint(sorted[(sorted.len() - 1) / 2], sorted[sorted.len() / 2]);
    let worst = heard
        .iter()
        .zip(sounds)
        .map(|(cents, sound)| (Cents(cents.0 - middle), sound.string))
        .max_by(|a, b| a.0.0.abs().total_cmp(&b.0.0.abs()));
    let (off, meaning) = match worst {
        Some((off, _)) if off.0.abs() <= WITHIN_CENTS => (off, Meaning::Right),
        Some((off, string)) => (off, Meaning::StandsOut(string)),
        None => (Cents(0.0), Meaning::Right),
    };
    Outcome {
        beats: None,
        off,
        meaning,
    }
}

/// Of two strings the one that is not in tune; the second, when nothing is known.
fn out_of_tune(first: &Sound, second: &Sound, in_tune: impl Fn(StringNumber) -> Option<bool>) -> StringNumber {
    if in_tune(second.string) == Some(true)
        || (in_tune(first.string) == Some(false) && in_tune(second.string).is_none())
    {
        first.string
    } else {
        second.string
    }
}
