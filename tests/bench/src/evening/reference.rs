//! The A that somebody gives while the room goes on, ten decibels below it.

use std::f64::consts::TAU;

use consort_analysis::{Held, HeldTone};
use consort_harp::chance::Chance;
use consort_harp::{Condition, Pickup, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Cents, Harp, Hz, SampleRate, Tuning};

/// Who gives it.
#[derive(Clone, Copy, Debug)]
pub(super) enum Gives {
    Oboe,
    Violins,
    Organ,
    Piano,
    Fork,
    /// The room alone.
    Nobody,
}

/// The tone lasts so long and stands so far above the room, seconds and decibels.
const LASTS_S: f64 = 6.0;
const ABOVE_ROOM_DB: f64 = 10.0;
/// An answer further off than this is a wrong one, cents.
pub(super) const WRONG_CENTS: f64 = 5.0;
/// Root mean square of the tone, full scale 1.
const LEVEL: f64 = 0.045;

/// How far from the truth the A was measured, in the room of `seed`; `None` where nothing was.
pub(super) fn measure(harp: &Harp, gives: Gives, seed: u64) -> Result<Option<Cents>, String> {
    let mut chance = Chance::new(seed ^ 0x0061);
    let stage = Stage {
        rate: SampleRate::STUDIO,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room {
            warm_up_db: Some(-ABOVE_ROOM_DB - 1.0),
            talk_db: Some(-ABOVE_ROOM_DB - 7.0),
            harp_db: None,
        },
    };
    let mut sound = vec![0.0; (LASTS_S * f64::from(stage.rate.get())) as usize];
    VirtualHarp::new(harp, &Condition::sound(seed), stage).render(&mut sound);
    let a4 = Tuning::default().a4.hz();
    let truth = a4.raised_by(Cents(chance.between(-25.0, 25.0)));
    let tone = tone(gives, truth, sound.len(), &mut chance);
    let power = tone.iter().map(|x| x * x).sum::<f64>() / tone.len() as f64;
    if power > 0.0 {
        for (sample, more) in sound.iter_mut().zip(&tone) {
            *sample += (LEVEL * more / power.sqrt()) as f32;
        }
    }
    let mut held = HeldTone::new(stage.rate, a4);
    held.push(&sound);
    Ok(match held.held() {
        Held::Tone { hz, .. } => Some(hz.cents_above(truth)),
        _ => None,
    })
}

/// The tone at the rate of a studio; strengths of partials, vibrato and unsteadiness are assumed.
fn tone(gives: Gives, truth: Hz, len: usize, chance: &mut Chance) -> Vec<f64> {
    let rate = f64::from(SampleRate::STUDIO.get());
    // Players, partials, vibrato in cents, how far they lie apart in cents, stiffness, time to 1/e in seconds.
    let (players, partials, vibrato, apart, stiffness, falls_s): (usize, &[f64], f64, f64, f64, f64) = match gives {
        Gives::Oboe => (1, &[0.4, 1.0, 0.9, 0.5, 0.4, 0.2], 3.0, 0.0, 0.0, f64::INFINITY),
        Gives::Violins => (4, &[1.0, 0.6, 0.5, 0.3, 0.25, 0.15], 10.0, 2.0, 0.0, f64::INFINITY),
        Gives::Organ => (1, &[1.0, 0.5, 0.4, 0.3, 0.1, 0.2], 0.0, 0.0, 0.0, f64::INFINITY),
        Gives::Piano => (1, &[1.0, 0.6, 0.3, 0.2, 0.1, 0.05], 0.0, 0.0, 6e-4, 1.5),
        Gives::Fork => (1, &[1.0], 0.0, 0.0, 0.0, 4.0),
        Gives::Nobody => return vec![0.0; len],
    };
    let mut sum = vec![0.0; len];
    let offsets: Vec<f64> = (0..players).map(|_| apart * chance.spread()).collect();
    // Their middle is the truth.
    let middle = offsets.iter().sum::<f64>() / players as f64;
    for offset in offsets {
        let (often, mut phase) = (chance.between(4.8, 6.2), TAU * chance.unit());
        let begins = TAU * chance.unit();
        for (n, sample) in sum.iter_mut().enumerate() {
            let time = n as f64 / rate;
            let bend = offset - middle + vibrato * (TAU * often * time + begins).sin();
            phase += TAU * truth.get() * (bend / 1200.0).exp2() / rate;
            let mut tone = 0.0;
            for (number, strength) in (1_i32..).map(f64::from).zip(partials) {
                let stretch = ((1.0 + stiffness * number * number) / (1.0 + stiffness)).sqrt();
                tone += strength * (phase * number * stretch).sin();
            }
            *sample += tone * (-time / falls_s).exp();
        }
    }
    sum
}
