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
        let mut off = Vec::new();
        for (number, nominal, beyond, all) in strings {
            let around = strings
                .iter()
                .filter(|other| other.0 != *number && other.0.get().abs_diff(number.get()) as usize <= NEIGHBOURS);
            let mut near: Vec<f64> = around.filter_map(|other| other.2).collect();
            let ln_stiffness = nominal + robust::median(&mut near).unwrap_or(0.0);
            if let Some(beyond) = beyond {
                let law = |place: usize| sound::law_cents(place, nominal + beyond);
                off.extend((0..PARTIALS).filter_map(|place| Some(all.partial(place)?.0 - law(place))));
            }
            usuals.insert(
                *number,
                Usual {
                    ln_stiffness,
                    off_law: OFF_LAW_UNKNOWN,
                },
            );
        }
        // Each distance holds the first partial's own as well, and the fit has taken part of it out.
        let off_law = robust::spread(off.iter().copied()).map_or(OFF_LAW_UNKNOWN, |spread| spread * 0.75);
        for (number, ..) in strings {
            if let Some(usual) = usuals.get_mut(number) {
                usual.off_law = off_law.clamp(OFF_LAW_LEAST, OFF_LAW_UNKNOWN);
            }
        }
    }
    usuals
}

/// Partials of strings in order lie off the curve by at least this, cents, and by this where nothing is known.
const OFF_LAW_LEAST: f64 = 0.15;
const OFF_LAW_UNKNOWN: f64 = 0.8;
