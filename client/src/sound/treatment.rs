//! What the system does to the sound on its way: settings made for speech take strings for noise, or level them.

use std::collections::VecDeque;

use consort_proto::SampleRate;

/// Looks for the marks that such settings leave.
#[derive(Debug)]
pub(crate) struct Treatment {
    rate: f64,
    /// Samples taken so far.
    now: u64,
    block: u64,
    block_len: u64,
    energy: f64,
    /// Mean power of the last blocks.
    powers: VecDeque<f64>,
    peak: f32,
    peak_before: f32,
    /// Samples of exact silence in a row, and the peak just before them.
    zeros: u64,
    peak_at_cut: f32,
    cuts: VecDeque<u64>,
    /// The pluck whose fall has not been measured yet.
    open: Option<f64>,
    /// Whether each of the last plucks kept its level.
    kept: VecDeque<bool>,
}

/// Level is looked at in pieces of this length.
const BLOCK_S: f64 = 0.02;
/// Pieces that are remembered: two seconds.
const BLOCKS: usize = 100;
/// Exact silence for so long is made by a program: an input that is on always hisses in its last bits.
const GATE_S: f64 = 0.1;
/// Sound above this, −60 dBFS, within the last pieces before the silence was cut off; a string dies away through its
/// last bits.
const CUT_PEAK: f32 = 1e-3;
/// So many cuts within so many seconds are no accident of a cable.
const CUTS: usize = 3;
const CUTS_S: f64 = 30.0;
/// When a string's level is measured, in seconds after the pluck: past the attack, and a good second later.
const EARLY_S: (f64, f64) = (0.15, 0.35);
const LATE_S: (f64, f64) = (1.0, 1.2);
/// A string that falls by less than this between the two keeps its level. In the recordings every string falls by more,
/// the lowest ones by 1.3 dB and more, except one of the nine in the loudest room.
const FALLS_DB: f64 = 0.5;
/// So many of the last so many plucks have to keep it.
const KEPT: usize = 5;
const KEPT_OF: usize = 6;

impl Treatment {
    pub(crate) fn new(rate: SampleRate) -> Self {
        let rate = f64::from(rate.get());
        Self {
            rate,
            now: 0,
            block: 0,
            block_len: ((BLOCK_S * rate) as u64).max(1),
            energy: 0.0,
            powers: VecDeque::with_capacity(BLOCKS),
            peak: 0.0,
            peak_before: 0.0,
            zeros: 0,
            peak_at_cut: 0.0,
            cuts: VecDeque::with_capacity(CUTS),
            open: None,
            kept: VecDeque::with_capacity(KEPT_OF),
        }
    }

    /// Takes the next samples.
    pub(crate) fn push(&mut self, samples: &[f32]) {
        for &sample in samples {
            self.take(sample);
        }
        self.measure();
    }

    /// Something began to sound at `onset_s`, in seconds from the start of the sound.
    pub(crate) fn onset(&mut self, onset_s: f64) {
        if self.open.is_none_or(|before| onset_s > before) {
            // What was plucked before is not alone any more; if it was measured by now, it is not open.
            self.measure();
            self.open = Some(onset_s);
        }
    }

    /// Whether sound is cut off into exact silence, again and again.
    pub(crate) fn suppresses(&mut self) -> bool {
        let since = self.now.saturating_sub((CUTS_S * self.rate) as u64);
        while self.cuts.front().is_some_and(|&at| at < since) {
            self.cuts.pop_front();
        }
        self.cuts.len() >= CUTS
    }

    /// Whether plucked strings do not fall in level, as every string does.
    pub(crate) fn levels(&self) -> bool {
        self.kept.iter().filter(|&&kept| kept).count() >= KEPT
    }

    fn take(&mut self, sample: f32) {
        self.now += 1;
        if sample == 0.0 {
            if self.zeros == 0 {
                self.peak_at_cut = self.peak.max(self.peak_before);
            }
            self.zeros += 1;
            if self.zeros == (GATE_S * self.rate) as u64 && self.peak_at_cut > CUT_PEAK {
                remember(&mut self.cuts, self.now, CUTS);
            }
        } else {
            self.zeros = 0;
        }
        let size = if sample.is_finite() { sample.abs().min(4.0) } else { 0.0 };
        self.peak = self.peak.max(size);
        self.energy += f64::from(size) * f64::from(size);
        if self.now.is_multiple_of(self.block_len) {
            remember(&mut self.powers, self.energy / self.block_len as f64, BLOCKS);
            self.block += 1;
            (self.energy, self.peak_before, self.peak) = (0.0, self.peak, 0.0);
        }
    }

    /// Measures the open pluck as soon as its later time has passed.
    fn measure(&mut self) {
        let Some(onset) = self.open else { return };
        if (self.now as f64) < (onset + LATE_S.1 + BLOCK_S) * self.rate {
            return;
        }
        self.open = None;
        let early = self.power(onset + EARLY_S.0, onset + EARLY_S.1);
        let late = self.power(onset + LATE_S.0, onset + LATE_S.1);
        if let (Some(early), Some(late)) = (early, late)
            && early > 0.0
        {
            let falls_db = 10.0 * (early / late.max(1e-20)).log10();
            remember(&mut self.kept, falls_db < FALLS_DB, KEPT_OF);
        }
    }

    /// Mean power from `from` to `to`, in seconds; `None` when that is too long ago.
    fn power(&self, from: f64, to: f64) -> Option<f64> {
        let block = |seconds: f64| (seconds * self.rate) as u64 / self.block_len;
        let oldest = self.block - self.powers.len() as u64;
        let first = block(from).checked_sub(oldest)? as usize;
        let last = block(to).checked_sub(oldest)? as usize;
        let wanted = self.powers.range(first..last.min(self.powers.len()));
        let count = wanted.len();
        (count > 0).then(|| wanted.sum::<f64>() / count as f64)
    }
}

fn remember<T>(past: &mut VecDeque<T>, new: T, most: usize) {
    if past.len() == most {
        past.pop_front();
    }
    past.push_back(new);
}
