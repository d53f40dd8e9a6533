//! Strings that are false: how likely, since when, and which others were cut from the same length.

use consort_proto::{Cents, StringNumber};

use crate::chronicle::Track;
use crate::date::Date;
use crate::falseness::{self, Usual};
use crate::finding::Cause;
use crate::sound::{self, PARTIALS, Sound};
use crate::visit::Life;

/// How likely a string is false when a harp is first heard, and how likely one becomes false from one tuning to the next.
const FALSE_AT_FIRST: f64 = 5e-3;
const BECOMES_FALSE: f64 = 2e-5;
/// Plucks before anything can be said to have changed.
const BEFORE_PLUCKS: f64 = 3.0;
/// How much more likely the string is false than even, and whether it became so.
pub(super) fn false_weight(track: &Track, all: &Sound, usual: Usual) -> (f64, bool) {
    if all.is_silent() {
        return (f64::NEG_INFINITY, false);
    }
    let from_the_start = FALSE_AT_FIRST.ln() + falseness::off_curve(all, usual) + falseness::beats(all);
    let mut changed = f64::NEG_INFINITY;
    for newest in [1, 2, 3, 5] {
        let Some(older) = track.sounds.len().checked_sub(newest) else {
            break;
        };
        let before = Sound::over(
            track
                .sounds
                .iter()
                .take(older)
                .map(|(_, sound)| sound)
                .chain([&track.usual]),
        );
        let now = Sound::over(track.sounds.iter().skip(older).map(|(_, sound)| sound));
        if before.plucks() >= BEFORE_PLUCKS {
            let weight = BECOMES_FALSE.ln() + falseness::has_changed(&before, &now) + falseness::beats(&now);
            changed = crate::likely::sum([changed, weight].into_iter());
        }
    }
    (
        crate::likely::sum([from_the_start, changed].into_iter()),
        changed > from_the_start,
    )
}

pub(super) fn false_string(
    life: &Life,
    today: Date,
    number: StringNumber,
    track: &Track,
    all: &Sound,
    usual: Usual,
    (worn, scatters): (bool, bool),
) -> Cause {
    let newest = track.sounds.back().map_or(*all, |(_, sound)| *sound);
    let sound = if worn { newest } else { *all };
    let ln_b = sound
        .ln_stiffness(usual.ln_stiffness, usual.off_law)
        .map_or(usual.ln_stiffness, |fit| fit.0);
    let off = |place: usize| {
        sound
            .partial(place)
            .map(|(above, _)| above - sound::law_cents(place, ln_b))
    };
    let worst = (0..PARTIALS)
        .filter_map(|place| Some((place as u8 + 2, Cents(off(place)?))))
        .max_by(|a, b| a.1.abs().0.total_cmp(&b.1.abs().0));
    let length = life.fitted(number).and_then(|fitting| fitting.length.as_deref());
    let sisters = chronicle_sisters(life, number, length);
    Cause::FalseString {
        octave: Cents(off(0).unwrap_or(0.0)),
        worst: worst.unwrap_or((2, Cents(0.0))),
        beats: sound.beat_cents().map(Cents),
        worn,
        scatters,
        sisters,
        concert: next_concert(life, today),
    }
}

/// Strings on the harp that were cut from the same length.
fn chronicle_sisters(life: &Life, number: StringNumber, length: Option<&str>) -> Vec<StringNumber> {
    let Some(length) = length else { return Vec::new() };
    life.sheet
        .harp
        .numbered()
        .map(|(other, _)| other)
        .filter(|&other| other != number)
        .filter(|&other| {
            life.fitted(other)
                .is_some_and(|fitting| fitting.length.as_deref() == Some(length))
        })
        .collect()
}

/// The first concert that is so near that nothing unbroken should be replaced before it.
fn next_concert(life: &Life, today: Date) -> Option<Date> {
    life.concerts
        .iter()
        .map(|concert| concert.on)
        .filter(|on| (0..=i32::from(life.sheet.concert_days)).contains(&on.days_since(today)))
        .min()
}

pub(super) fn first_heard(track: &Track, worn: bool, today: Date) -> Date {
    let first = if worn {
        track.sounds.back()
    } else {
        track.sounds.front()
    };
    first.map_or(today, |(at, _)| at.date())
}
