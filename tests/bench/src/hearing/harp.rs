//! A whole harp built from the recordings: each string's voice at any pitch, ringing on, in a room.

use std::fmt;

use consort_proto::{Cents, Hz};

use super::bed::{Dice, RATE, warm_up};
use super::generate::{MOVED_MAX_CENTS, in_silence, level_from};
use super::resample::play_faster;
use super::ring_on::rung_on;
use crate::recordings::Recording;

/// A string that nobody damps has faded out over its last so many seconds.
const ENDS_S: f64 = 1.0;
/// A hand that damps a string lies on it so long before the next pluck, and has silenced it after so long, seconds.
const DAMPS_BEFORE_S: f64 = 0.15;
const DAMPS_S: f64 = 0.08;
/// The finger that plucks a string again touches it so long before, and has silenced it after so long, seconds.
const TOUCHES_BEFORE_S: f64 = 0.05;
const TOUCHES_S: f64 = 0.03;
/// Root mean square of the softest pluck over its first half second, full scale 1.
const LEVEL: f64 = 0.05;
/// Rooms are made once and strung together, each fading into the next one, seconds.
const ROOMS: usize = 12;
const ROOM_S: f64 = 12.0;
const FADES_S: f64 = 0.1;
/// The rooms of all harps; nothing else depends on it.
const ROOM_SEED: u64 = 47;

/// One pluck of a tuning.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pluck {
    pub(super) string: u8,
    /// How far the string then stands from its target, and where that is, hertz.
    pub(super) cents: Cents,
    pub(super) hz: f64,
    /// The recording that it sounds like.
    pub(super) voice: usize,
    pub(super) at_s: f64,
    /// How much louder it is than the softest one, decibels.
    pub(super) louder_db: f64,
}

impl fmt::Display for Pluck {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            string, cents, at_s, ..
        } = self;
        write!(f, "string {string}, {:+.1} cents, {at_s:.2} s", cents.0)
    }
}

/// A recorded string, from its pluck on, and on until nothing is heard of it.
struct Voice {
    hz: f64,
    /// Sound from shortly before the pluck on, and how many samples before it.
    samples: Vec<f32>,
    early: f64,
}

/// The voices and rooms of which harps are built.
pub(super) struct RecordedHarp {
    voices: Vec<Voice>,
    rooms: Vec<Vec<f32>>,
    rings_s: f64,
}

impl RecordedHarp {
    /// Builds harps of the recordings in silence among `recordings`; a string that nobody damps sounds for `rings_s`, seconds.
    pub(super) fn new(recordings: &[Recording], rings_s: f64) -> Result<Self, String> {
        let voice = |source: super::generate::Source| {
            let hz = Hz::new(source.recording.hz).map_err(|why| why.to_string())?;
            let early = (source.recording.pluck_s * f64::from(RATE)).round();
            // Played faster it is over sooner.
            let len = early + rings_s * f64::from(RATE) * (MOVED_MAX_CENTS / 1200.0).exp2();
            Ok(Voice {
                hz: hz.get(),
                samples: rung_on(&source.samples, hz, len as usize),
                early,
            })
        };
        let voices: Result<Vec<Voice>, String> = in_silence(recordings)?.into_iter().map(voice).collect();
        let mut dice = Dice(ROOM_SEED);
        Ok(Self {
            voices: voices?,
            rooms: (0..ROOMS).map(|_| warm_up(ROOM_S, &mut dice)).collect(),
            rings_s,
        })
    }

    /// Any voice that can become a string at `hz`; the nearest one, where none is near.
    pub(super) fn any_voice(&self, hz: f64, dice: &mut Dice) -> usize {
        let apart = |at: usize| (1200.0 * (hz / self.voices[at].hz).log2()).abs();
        let near: Vec<usize> = (0..self.voices.len())
            .filter(|&at| apart(at) <= MOVED_MAX_CENTS)
            .collect();
        match near.len() {
            0 => (0..self.voices.len())
                .min_by(|&a, &b| apart(a).total_cmp(&apart(b)))
                .unwrap_or(0),
            count => near[dice.below(count)],
        }
    }

    /// The sound of each pluck by itself, beginning with it.
    pub(super) fn sounds(&self, plucks: &[Pluck]) -> Vec<Vec<f32>> {
        let sound = |pluck: &Pluck| {
            let voice = &self.voices[pluck.voice];
            let before = (voice.early - TOUCHES_BEFORE_S * f64::from(RATE)).max(0.0);
            let len = (self.rings_s * f64::from(RATE)) as usize;
            let from_touch = &voice.samples[before as usize..];
            let touch = voice.early - before;
            let mut sound = play_faster(from_touch, pluck.hz / voice.hz, touch, len + touch as usize);
            sound.drain(..touch as usize);
            let gain = LEVEL * 10_f64.powf(pluck.louder_db / 20.0) / level_from(&sound, 0.0);
            let ends = ENDS_S * f64::from(RATE);
            for (n, sample) in sound.iter_mut().enumerate() {
                let left = ((len - n) as f64 / ends).min(1.0);
                *sample *= (gain * left) as f32;
            }
            sound
        };
        plucks.iter().map(sound).collect()
    }

    /// All of them in turn, for so many seconds: each until its string is plucked again, or unless it `rings` on until the
    /// next one is; in a room that is so many decibels softer than the softest of them, if there is one.
    pub(super) fn play(
        &self,
        plucks: &[Pluck],
        sounds: &[Vec<f32>],
        rings: bool,
        room_db: Option<f64>,
        seconds: f64,
        dice: &mut Dice,
    ) -> Vec<f32> {
        let rate = f64::from(RATE);
        let mut all = vec![0.0_f32; (seconds * rate) as usize];
        for (at, (pluck, sound)) in plucks.iter().zip(sounds).enumerate() {
            let next = plucks[at + 1..]
                .iter()
                .find(|next| !rings || next.string == pluck.string);
            let again = next.is_some_and(|next| next.string == pluck.string);
            let (before_s, damps_s) = if again {
                (TOUCHES_BEFORE_S, TOUCHES_S)
            } else {
                (DAMPS_BEFORE_S, DAMPS_S)
            };
            let ends_s = next.map_or(f64::INFINITY, |next| next.at_s - pluck.at_s - before_s);
            let first = (pluck.at_s * rate).round() as usize;
            for (n, (sample, more)) in all[first..].iter_mut().zip(sound).enumerate() {
                let left = 1.0 - (n as f64 / rate - ends_s) / damps_s;
                *sample += more * left.clamp(0.0, 1.0) as f32;
            }
        }
        if let Some(db) = room_db {
            self.add_room(&mut all, LEVEL * 10_f64.powf(-db / 20.0), dice);
        }
        all
    }

    /// Adds rooms of this root mean square, one after the other from anywhere in each.
    fn add_room(&self, sound: &mut [f32], rms: f64, dice: &mut Dice) {
        let fade = (FADES_S * f64::from(RATE)) as usize;
        let mut from = 0;
        while from < sound.len() {
            let room = &self.rooms[dice.below(self.rooms.len())];
            let room = &room[dice.below(room.len() / 2)..];
            for (n, (sample, more)) in sound[from..].iter_mut().zip(room).enumerate() {
                let edge = (n.min(room.len() - n) as f64 / fade as f64).min(1.0);
                // What fades out and what fades in have together the power of one.
                let gain = rms * (std::f64::consts::FRAC_PI_2 * edge).sin();
                *sample += gain as f32 * more;
            }
            from += room.len() - fade;
        }
    }
}
