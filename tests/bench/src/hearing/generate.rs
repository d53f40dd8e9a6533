//! Cases by the thousand: the recorded strings at other pitches, in rooms that never were, from a seed.

use consort_analysis::Context;
use consort_proto::{Cents, Hz};

use super::bed::{Dice, RATE, add_hum, warm_up, weaken_bass};
use super::resample::play_faster;
use crate::recordings::{Recording, read_samples};

/// Strings are moved from their recording by no more than this, cents: further, they are other strings.
pub(super) const MOVED_MAX_CENTS: f64 = 200.0;
/// When the string is plucked in every case, and how long a case lasts, seconds.
const PLUCK_S: f64 = 0.3;
const LASTS_S: f64 = 2.0;
/// Rooms are made once and cut from anywhere.
const ROOMS: usize = 12;
const ROOM_S: f64 = 12.0;
/// Levels are compared over this long from the pluck, seconds.
const LEVEL_S: f64 = 0.5;

/// What surrounds the string, in turn.
pub(super) const CONDITIONS: [&str; 11] = [
    "clean", "ring", "bed20", "bed10", "bed3", "harp2", "weak", "hum", "contact", "wide", "wide10",
];

/// What becomes of the string itself, after all cases in those surroundings, so that each of them stays what it was: it was
/// plucked before and is plucked again, or a hand damps it.
pub(super) const PLAYED: [&str; 2] = ["again", "damped"];
/// How long before or after the pluck that is, seconds: as fast as strings are plucked again, and longer than a note has to
/// sound to be measured.
const PLAYED_S: (f64, f64) = (0.32, 1.3);
/// How much louder or softer the pluck before was, decibels.
const PLAYED_DB: f64 = 4.0;
/// A finger or a hand lies on the string so long before it is plucked again, and has silenced it after so long, seconds.
const TOUCHES_BEFORE_S: f64 = 0.05;
const TOUCHES_S: f64 = 0.03;

/// A recorded string in silence.
pub(super) struct Source {
    pub(super) recording: Recording,
    pub(super) samples: Vec<f32>,
}

/// The recordings in silence among `recordings`, at 48 kHz.
pub(super) fn in_silence(recordings: &[Recording]) -> Result<Vec<Source>, String> {
    let mut sources = Vec::new();
    for recording in recordings
        .iter()
        .filter(|r| ["clean", "wide"].contains(&r.condition.as_str()))
    {
        let (samples, rate) = read_samples(&recording.path)?;
        if rate == RATE {
            sources.push(Source {
                recording: recording.clone(),
                samples,
            });
        }
    }
    if sources.is_empty() {
        return Err("there is no clean recording at 48 kHz to make cases from".to_owned());
    }
    Ok(sources)
}

/// Makes cases.
pub(super) struct Generator {
    sources: Vec<Source>,
    rooms: Vec<Vec<f32>>,
    /// Concert pitches in use, each with its harp.
    harps: Vec<(f64, Context)>,
    dice: Dice,
}

impl Generator {
    /// Makes them from the recordings in silence among `recordings`.
    pub(super) fn new(recordings: &[Recording], seed: u64) -> Result<Self, String> {
        let sources = in_silence(recordings)?;
        let mut dice = Dice(seed);
        let harp = |a4: f64| Hz::new(a4).map(|hz| (a4, Context::concert_harp(hz)));
        let harps: Result<Vec<_>, _> = [440.0, 442.0].map(harp).into_iter().collect();
        Ok(Self {
            sources,
            harps: harps.map_err(|why| why.to_string())?,
            rooms: (0..ROOMS).map(|_| warm_up(ROOM_S, &mut dice)).collect(),
            dice,
        })
    }

    /// The next case, in the surroundings whose turn it is or always in the `only` ones: what it is, its sound and its rate.
    pub(super) fn next_case(&mut self, number: usize, only: Option<&str>) -> (Recording, Vec<f32>, u32) {
        let condition = only.unwrap_or(CONDITIONS[number % CONDITIONS.len()]);
        let (a4, harp) = self.harps[self.dice.below(2)];
        let spread = if condition.starts_with("wide") { 180.0 } else { 60.0 };
        let (string, hz, at) = self.any_string(&harp, spread);
        let mut sound = self.string(at, hz, PLUCK_S);
        let level = level_from(&sound, PLUCK_S);
        let mut other_plucks_s = Vec::new();
        let mut pluck_s = PLUCK_S;
        let below = |db: f64| level * 10.0_f64.powf(-db / 20.0);
        let (ring, room, hum, weak) = match condition {
            "ring" => (Some(self.dice.within(6.0, 20.0)), None, None, false),
            "bed20" => (None, Some(20.0), None, false),
            "bed10" | "wide10" => (None, Some(10.0), None, false),
            "bed3" => (None, Some(3.0), None, false),
            "weak" => (None, None, None, true),
            "hum" => (None, None, Some(self.dice.within(6.0, 20.0)), false),
            "contact" => (Some(12.0), Some(20.0), Some(20.0), true),
            _ => (None, None, None, false),
        };
        let weak = weak.then(|| self.dice.within(60.0, 130.0));
        if let Some(corner_hz) = weak {
            weaken_bass(&mut sound, corner_hz);
        }
        if condition == "again" {
            // The case begins with the pluck before, and is as much longer.
            let after_s = self.dice.within(PLAYED_S.0, PLAYED_S.1);
            let gain = 10.0_f64.powf(self.dice.within(-PLAYED_DB, PLAYED_DB) / 20.0);
            let mut before = sound.clone();
            damp(&mut before, PLUCK_S + after_s - TOUCHES_BEFORE_S);
            let later = (after_s * f64::from(RATE)) as usize;
            let untouched = ((PLUCK_S - TOUCHES_BEFORE_S) * f64::from(RATE)) as usize;
            sound[..untouched].fill(0.0);
            sound.splice(..0, std::iter::repeat_n(0.0, later));
            mix(&mut sound, &before, gain);
            other_plucks_s.push(PLUCK_S);
            pluck_s = PLUCK_S + later as f64 / f64::from(RATE);
        }
        if condition == "damped" {
            damp(&mut sound, PLUCK_S + self.dice.within(PLAYED_S.0, PLAYED_S.1));
        }
        if condition == "harp2" {
            let (_, other_hz, other) = self.any_string(&harp, 60.0);
            let pluck_s = PLUCK_S + self.dice.within(-0.25, 0.3);
            let other = self.string(other, other_hz, pluck_s);
            let gain = below(10.0) / level_from(&other, pluck_s);
            mix(&mut sound, &other, gain);
            other_plucks_s.push(pluck_s);
        }
        if let Some(db) = ring {
            let (before_hz, before) = self.neighbour(string, &harp);
            let pluck_s = PLUCK_S - self.dice.within(0.4, 0.8);
            let mut before = self.string(before, before_hz, pluck_s);
            if let Some(corner_hz) = weak {
                // Both strings are heard through the same pickup.
                weaken_bass(&mut before, corner_hz);
            }
            let gain = below(db) / level_from(&before, PLUCK_S);
            mix(&mut sound, &before, gain);
        }
        if let Some(db) = room {
            let room = self.dice.below(ROOMS);
            let len = sound.len();
            let from = self.dice.below(self.rooms[room].len() - len);
            mix(&mut sound, &self.rooms[room][from..from + len], below(db));
        }
        if let Some(db) = hum {
            let mains = if self.dice.below(2) == 0 { 50.0 } else { 60.0 };
            let exact = mains * (1.0 + self.dice.within(-5e-4, 5e-4));
            add_hum(&mut sound, exact, below(db), &mut self.dice);
        }
        let source = &self.sources[at].recording;
        let recording = Recording {
            path: source.path.clone(),
            file: format!("g{number:05}"),
            condition: condition.to_owned(),
            string,
            a4,
            hz,
            truth_sigma: source.truth_sigma,
            pluck_s,
            other_plucks_s,
            raw: source.raw.clone(),
        };
        (recording, sound, RATE)
    }

    /// Any string that one of the recordings can become: its number, its pitch off target by up to `spread` cents, and the
    /// recording.
    fn any_string(&mut self, harp: &Context, spread: f64) -> (u8, f64, usize) {
        loop {
            let at = self.dice.below(self.sources.len());
            let number = 1 + self.dice.below(harp.len()) as u8;
            let offset = Cents(self.dice.within(-spread, spread));
            let Some(string) = harp.string(number) else { continue };
            let hz = string.target.raised_by(offset).get();
            if (1200.0 * (hz / self.sources[at].recording.hz).log2()).abs() <= MOVED_MAX_CENTS {
                return (number, hz, at);
            }
        }
    }

    /// The string plucked before `string` in a tuning, one up or down, in tune to some cents.
    fn neighbour(&mut self, string: u8, harp: &Context) -> (f64, usize) {
        let number = if self.dice.below(2) == 0 {
            string + 1
        } else {
            string - 1
        };
        let target = harp.string(number).or_else(|| harp.string(string));
        let hz = target.map_or(440.0, |s| s.target.get()) * (self.dice.within(-8.0, 8.0) / 1200.0).exp2();
        let off = |source: &Source| (source.recording.hz / hz).ln().abs();
        let nearest = (0..self.sources.len()).min_by(|&a, &b| off(&self.sources[a]).total_cmp(&off(&self.sources[b])));
        (hz, nearest.unwrap_or(0))
    }

    /// The recording at this pitch, plucked at this moment of a case; it may lie before the case begins.
    fn string(&self, at: usize, hz: f64, pluck_s: f64) -> Vec<f32> {
        let source = &self.sources[at];
        let rate = f64::from(RATE);
        let len = (LASTS_S * rate) as usize;
        let ratio = hz / source.recording.hz;
        let early = (source.recording.pluck_s * rate).round();
        let later = ((pluck_s - source.recording.pluck_s) * rate).round();
        let whole = play_faster(&source.samples, ratio, early, (len as f64 - later).max(0.0) as usize);
        let ends = (early + (source.samples.len() as f64 - early) / ratio + later) as usize;
        let fade = 0.05 * rate;
        (0..len)
            .map(|n| {
                let from = n as f64 - later;
                let sample = if from < 0.0 {
                    0.0
                } else {
                    whole.get(from as usize).copied().unwrap_or(0.0)
                };
                // The recording ends; it does not break off.
                let left = ((ends as f64 - n as f64) / fade).clamp(0.0, 1.0);
                sample * left as f32
            })
            .collect()
    }
}

/// Lets a finger touch the string at a moment.
fn damp(sound: &mut [f32], at_s: f64) {
    for (n, sample) in sound.iter_mut().enumerate() {
        let touched_s = n as f64 / f64::from(RATE) - at_s;
        *sample *= (1.0 - touched_s / TOUCHES_S).clamp(0.0, 1.0) as f32;
    }
}

fn mix(sound: &mut [f32], other: &[f32], gain: f64) {
    for (sample, more) in sound.iter_mut().zip(other) {
        *sample += gain as f32 * more;
    }
}

/// Root mean square over the half second from a moment on.
pub(super) fn level_from(sound: &[f32], from_s: f64) -> f64 {
    let from = (from_s * f64::from(RATE)) as usize;
    let to = (from + (LEVEL_S * f64::from(RATE)) as usize).min(sound.len());
    let stretch = &sound[from..to];
    (stretch.iter().map(|x| f64::from(x * x)).sum::<f64>() / stretch.len().max(1) as f64)
        .sqrt()
        .max(1e-9)
}
