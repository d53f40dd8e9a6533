//! What is usual for each string by its neighbours of the same material.

use std::collections::BTreeMap;

use consort_proto::{Material, StringNumber, Tuning};

use crate::chronicle::Chronicle;
use crate::falseness::Usual;
use crate::robust;
use crate::sound::{self, PARTIALS, Sound};

/// Neighbours on each side by which a string's stiffness is expected.
const NEIGHBOURS: usize = 4;

/// A string's number, nominal stiffness, what it has beyond that, and its sound.
type Stiff = (StringNumber, f64, Option<f64>, Sound);

/// What is usual for every string by its neighbours of the same material.
pub(super) fn usuals(chronicle: &Chronicle) -> BTreeMap<StringNumber, Usual> {
    let tuning = Tuning::default();
    let mut by_material: BTreeMap<Material, Vec<Stiff>> = BTreeMap::new();
    for (number, string) in chronicle.sheet().harp.numbered() {
        let Some(track) = chronicle.track(number) else { continue };
        let nominal = sound::ln_usual_stiffness(tuning.open_target(string).get());
        let all = Sound::over(track.sounds.iter().map(|(_, sound)| sound).chain([&track.usual]));
        let beyond = all.ln_stiffness(nominal, 0.3).map(|(ln_b, _)| ln_b - nominal);
        by_material
            .entry(string.material)
            .or_default()
            .push((number, nominal, beyond, all));
    }
    let mut usuals = BTreeMap::new();
    for strings in by_material.values() {
        let off: Vec<(StringNumber, f64)> = strings.iter().flat_map(off_curve).collect();
        for (number, nominal, ..) in strings {
            let around = strings
                .iter()
                .filter(|other| other.0 != *number && other.0.get().abs_diff(number.get()) as usize <= NEIGHBOURS);
            let mut near: Vec<f64> = around.filter_map(|other| other.2).collect();
            // What is usual is told by the others: a string that is false must not make its own faults look usual.
            let others = off.iter().filter(|(other, _)| other != number).map(|(_, cents)| *cents);
            // Each distance holds the first partial's own as well, and the fit has taken part of it out.
            let off_law = robust::spread(others).map_or(OFF_LAW_UNKNOWN, |spread| spread * 0.75);
            usuals.insert(
                *number,
                Usual {
                    ln_stiffness: nominal + robust::median(&mut near).unwrap_or(0.0),
                    off_law: off_law.clamp(OFF_LAW_LEAST, OFF_LAW_UNKNOWN),
                },
            );
        }
    }
    usuals
}

/// How far each partial of a string lies off the curve that fits it best, cents.
fn off_curve((number, nominal, beyond, all): &Stiff) -> Vec<(StringNumber, f64)> {
    let Some(beyond) = beyond else { return Vec::new() };
    let off = |place: usize| Some(all.partial(place)?.0 - sound::law_cents(place, nominal + beyond));
    (0..PARTIALS).filter_map(|place| Some((*number, off(place)?))).collect()
}

/// Partials of strings in order lie off the curve by at least this, cents, and by this where nothing is known.
const OFF_LAW_LEAST: f64 = 0.15;
const OFF_LAW_UNKNOWN: f64 = 0.8;
