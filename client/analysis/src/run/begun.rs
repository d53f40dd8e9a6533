//! When exactly a string of a run was plucked, by its own partials: among others the loudest beginning near it may be theirs.

use crate::character::{expected_stiffness, partial_ratio};
use crate::history::History;
use crate::moment::steepest;

/// Partials that are looked at.
const PARTIALS: usize = 12;
const CEILING_HZ: f64 = 4000.0;
/// A partial's power is taken over so long, seconds: three and a half periods of the lowest string.
const STRETCH_S: f64 = 0.024;
/// Strings below share most of what is new with their neighbours, plucked a moment before or after, hertz.
const LOWEST_HZ: f64 = 150.0;
/// What was found stays unless the string's partials grow so many times as much elsewhere.
const CLEARER: f64 = 3.0;
/// So many looks in one stretch.
const STEPS: usize = 6;
/// The moment lies this far around where something new was found, seconds.
const AROUND_S: f64 = 0.1;
/// What lies nearer than this to where it was found already stays, seconds; what moves is found exactly within half of that.
const FAR_S: f64 = 0.03;
/// Looks: the longest way in the shortest steps.
const LOOKS: usize = 2 * (AROUND_S / STRETCH_S * STEPS as f64) as usize + 2 * STEPS + 2;

/// The sample at which the string at `hz` began to sound, near `found`. Never allocates.
pub(super) fn begun(history: &History, rate: f64, hz: f64, found: u64) -> u64 {
    if hz < LOWEST_HZ {
        return found;
    }
    let step = ((STRETCH_S * rate) as usize / STEPS).max(1);
    let stretch = step * STEPS;
    let around = (AROUND_S * rate) as u64;
    let Some(from) = found
        .checked_sub(around + stretch as u64)
        .filter(|from| *from >= history.oldest())
    else {
        return found;
    };
    let until = (found + around).min(history.count().saturating_sub(stretch as u64));
    let looks = (until.saturating_sub(from) as usize / step).min(LOOKS);
    if looks <= STEPS {
        return found;
    }
    let mut grows = [0.0; LOOKS];
    let stiffness = expected_stiffness(hz);
    for n in 1..=PARTIALS {
        let at = hz * partial_ratio(n, stiffness);
        if at > CEILING_HZ.min(0.4 * rate) {
            break;
        }
        let mut amplitudes = [0.0; LOOKS];
        for (look, amplitude) in amplitudes.iter_mut().enumerate().take(looks) {
            let sound = history.slice(from + (look * step) as u64, stretch).unwrap_or(&[]);
            *amplitude = strength(sound, at / rate);
        }
        // Of each partial the growth counts by its root, lest the strongest alone decides.
        for look in STEPS..looks {
            grows[look] += (amplitudes[look].sqrt() - amplitudes[look - STEPS].sqrt()).max(0.0);
        }
    }
    let there = ((found - from) as usize / step).clamp(STEPS, looks - 1);
    let most = (STEPS..looks)
        .max_by(|a, b| grows[*a].total_cmp(&grows[*b]))
        .unwrap_or(0);
    let moment = from + (most * step) as u64;
    let near = (FAR_S * rate) as u64;
    let own = grows[there.saturating_sub(1).max(STEPS)..(there + 2).min(looks)]
        .iter()
        .copied()
        .fold(0.0, f64::max);
    if CLEARER * own > grows[most] || moment.abs_diff(found) < near {
        return found;
    }
    steepest(history, moment.saturating_sub(near / 2)..moment + near / 2, rate)
}

/// The amplitude of `sound` at a frequency, cycles in a sample, under a window of Hann.
fn strength(sound: &[f32], cycles: f64) -> f64 {
    // Angles are added by multiplying: a sine for each sample would take ten times as long.
    let (turn, round) = (angle(cycles), angle(1.0 / sound.len().max(1) as f64));
    let (mut at, mut window) = ((1.0, 0.0), (1.0, 0.0));
    let (mut re, mut im) = (0.0, 0.0);
    for sample in sound {
        let weighed = f64::from(*sample) * (1.0 - window.0);
        re += weighed * at.0;
        im += weighed * at.1;
        (at, window) = (add(at, turn), add(window, round));
    }
    (re * re + im * im).sqrt() / sound.len().max(1) as f64
}

/// Cosine and sine of so many turns.
fn angle(turns: f64) -> (f64, f64) {
    let (sin, cos) = (std::f64::consts::TAU * turns).sin_cos();
    (cos, sin)
}

/// Cosine and sine of the sum of two angles.
fn add(one: (f64, f64), other: (f64, f64)) -> (f64, f64) {
    (one.0 * other.0 - one.1 * other.1, one.0 * other.1 + one.1 * other.0)
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;

    const RATE: f64 = 16_000.0;

    /// Sound of a string at `hz` that is plucked at one sample, and of a whistle between its partials, twice as loud, that
    /// begins at the other, in a hiss.
    fn sound(hz: f64, plucked: u64, other: u64) -> History {
        let mut history = History::new(16_000);
        let mut noise = 1_u32;
        for n in 0..16_000_u64 {
            let since = |begins: u64| (n as f64 - begins as f64) / RATE;
            let partial = |n: f64| (TAU * n * hz * since(plucked)).sin() / n;
            let string = (1..6).map(f64::from).map(partial).sum::<f64>() * (-3.0 * since(plucked)).exp();
            let string = if n < plucked { 0.0 } else { string };
            let whistle = (TAU * 3.5 * hz * since(other)).sin() * (since(other) / 0.03).clamp(0.0, 1.0);
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let hiss = f64::from(noise >> 16) / 32_768.0 - 1.0;
            history.push((0.1 * string + 0.2 * whistle + 0.01 * hiss) as f32);
        }
        history
    }

    #[test]
    fn a_string_begins_where_its_own_partials_do() {
        for hz in [392.0, 523.0, 660.0] {
            for (plucked, other) in [(8_000, 6_900), (8_000, 9_100), (8_333, 7_100)] {
                let found = begun(&sound(hz, plucked, other), RATE, hz, other);
                assert!(found.abs_diff(plucked) < 250, "{hz} Hz at {plucked}: {found}");
            }
        }
    }

    #[test]
    fn what_was_found_well_stays_and_so_does_what_low_strings_share() {
        assert_eq!(begun(&sound(392.0, 8_000, 9_000), RATE, 392.0, 8_010), 8_010);
        assert_eq!(begun(&sound(70.0, 8_000, 9_000), RATE, 70.0, 9_000), 9_000);
    }
}
