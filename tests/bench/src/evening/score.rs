//! What is done at a harp, moment by moment, and the truth about every pluck.

use consort_analysis::Reading;
use consort_harp::{Pluck, VirtualHarp};
use consort_proto::{Cents, Hz, Letter, SampleRate, StringNumber};

use super::memory::Memory;
use crate::report;

/// Something that is done.
#[derive(Clone, Copy, Debug)]
pub(super) enum Deed {
    Pluck(StringNumber, Pluck),
    Harmonic(StringNumber),
    Damp(StringNumber),
    DampAll,
    Pedal(Letter, u8),
    Knock(f64),
}

/// A pluck, as it truly was; a harmonic has no pitch that would be its string's.
#[derive(Clone, Copy, Debug)]
pub(super) struct Truth {
    pub(super) at_s: f64,
    pub(super) string: StringNumber,
    pub(super) hz: Option<Hz>,
}

impl Truth {
    /// The same pluck, so many seconds later.
    pub(super) fn later(self, by_s: f64) -> Self {
        Self {
            at_s: self.at_s + by_s,
            ..self
        }
    }
}

/// Samples that are made at once.
const BLOCK: usize = 480;
/// A reading belongs to a pluck whose moment lies this near, seconds.
const NEAR_S: f64 = 0.1;
/// A reading of a string that was plucked is untrue when it lies further than this from its truth, cents: beyond every
/// tolerance.
const FALSE_CENTS: Cents = Cents(5.0);
/// What a record keeps of a string that scatters may be so many times its own uncertainty off.
const KEPT_SIGMAS: f64 = 3.0;

/// Plays `score`, deeds with their moments in order, for `seconds`, and lets `ear` hear it.
pub(super) fn play(
    harp: &mut VirtualHarp,
    score: &[(f64, Deed)],
    seconds: f64,
    mut ear: impl FnMut(&[f32]),
) -> Vec<Truth> {
    let (rate, mut done_s, mut truth) = (harp.rate(), 0.0, Vec::new());
    let mut block = [0.0; BLOCK];
    let mut until = |harp: &mut VirtualHarp, end_s: f64, done_s: &mut f64| {
        let mut samples = ((end_s - *done_s) * rate).max(0.0).round() as usize;
        *done_s += samples as f64 / rate;
        while samples > 0 {
            let piece = &mut block[..samples.min(BLOCK)];
            harp.render(piece);
            ear(piece);
            samples -= piece.len();
        }
    };
    for (at_s, deed) in score.iter().filter(|(at_s, _)| *at_s < seconds) {
        until(harp, *at_s, &mut done_s);
        match *deed {
            Deed::Pluck(string, pluck) => {
                let hz = Some(harp.pluck(string, pluck));
                truth.push(Truth {
                    at_s: done_s,
                    string,
                    hz,
                });
            }
            Deed::Harmonic(string) => {
                harp.pluck_harmonic(string, Pluck::ORDINARY);
                truth.push(Truth {
                    at_s: done_s,
                    string,
                    hz: None,
                });
            }
            Deed::Damp(string) => harp.damp(string),
            Deed::DampAll => harp.damp_all(),
            Deed::Pedal(letter, position) => harp.move_pedal(letter, position),
            Deed::Knock(loudness) => harp.knock(loudness),
        }
    }
    until(harp, seconds, &mut done_s);
    truth
}

/// How far `reading` lies from a pluck of its string at its moment; `None` where there was none.
fn apart(reading: &Reading, truth: &[Truth], rate: SampleRate) -> Option<Cents> {
    let onset_s = reading.onset.seconds(rate);
    let own = truth
        .iter()
        .filter(|pluck| pluck.string.get() == reading.string && (pluck.at_s - onset_s).abs() < NEAR_S);
    let apart = own.filter_map(|pluck| Some(reading.hz.cents_above(pluck.hz?)));
    apart.min_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))
}

/// What was read that was not so.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Untrue {
    /// Readings that were relied on, of strings that were not plucked or did not stand there.
    pub(super) settled: usize,
    /// Those that count at a desk which asks for one string.
    pub(super) counted: usize,
    /// Those that a record keeps besides, as what may be false strings, further off than they are uncertain.
    pub(super) kept: usize,
    /// Readings that were called unsure, true or not.
    pub(super) unsure: usize,
    pub(super) seconds: f64,
    /// Whether each that counts is told.
    pub(super) each: bool,
}

impl Untrue {
    /// Judges the answers of `memory` from `from_s` to `to_s`.
    pub(super) fn judge(&mut self, memory: &Memory, truth: &[Truth], rate: SampleRate, (from_s, to_s): (f64, f64)) {
        self.seconds += to_s - from_s;
        let is_true = |reading: &Reading| apart(reading, truth, rate).is_some_and(|apart| apart.is_within(FALSE_CENTS));
        let counted = memory
            .counted
            .iter()
            .filter(|reading| reading.onset.seconds(rate) >= from_s);
        self.counted += counted.filter(|reading| !is_true(reading)).count();
        let strays = |reading: &&Reading| {
            let within = Cents(FALSE_CENTS.0.max(KEPT_SIGMAS * reading.sigma.0));
            let is_near = apart(reading, truth, rate).is_some_and(|apart| apart.is_within(within));
            reading.onset.seconds(rate) >= from_s && !is_near
        };
        self.kept += memory.kept.iter().filter(strays).count();
        for (reading, doubt) in &memory.answers {
            let onset_s = reading.onset.seconds(rate);
            if onset_s < from_s {
                continue;
            }
            if doubt.is_some() {
                self.unsure += 1;
                continue;
            }
            let apart = apart(reading, truth, rate);
            if apart.is_some_and(|apart| apart.is_within(FALSE_CENTS)) {
                continue;
            }
            self.settled += 1;
            let counts = memory.counted.iter().any(|other| other.onset == reading.onset);
            if self.each && counts {
                let near: Vec<u8> = truth
                    .iter()
                    .filter(|pluck| (pluck.at_s - onset_s).abs() < 2.0 * NEAR_S)
                    .map(|pluck| pluck.string.get())
                    .collect();
                report(&format!(
                    "    {onset_s:.2} s: {} at {:.2} Hz, {:.0} dB, sigma {:.2}, {apart:?} off; plucked then: {near:?}",
                    reading.string,
                    reading.hz.get(),
                    reading.level_dbfs,
                    reading.sigma.0,
                ));
            }
        }
    }

    /// `count` of them by the hour.
    pub(super) fn per_hour(&self, count: usize) -> f64 {
        3600.0 * count as f64 / self.seconds
    }
}
