//! What is told of what was heard: in the units of the input, and only what is loud enough to be hers.

use consort_proto::{Cents, Hz};

use super::Listener;
use crate::heard::{Doubt, Heard, Reading, Refusal, Refused, SampleTime, Timbre, Track};
use crate::note::Measured;
use crate::run::{Read, Told};

/// Onsets that are remembered: those of two seconds.
pub(super) const REPORTED: usize = 24;
/// How much can be heard before it is fetched; from three quarters on, tracks and provisional readings are dropped.
pub(super) const QUEUE: usize = 4096;
/// A pluck that is this much softer than the strings around it usually are, decibels, is another harp's or another player's.
/// One whose string is expected next is hers up to the second figure. What is softer is told with a doubt up to the third,
/// since she may have turned her chair, and since where another harp is being tuned tells what comes next; what is softer
/// still, or in doubt besides, is not even told.
const SOFT_DB: f64 = 7.0;
const SOFT_EXPECTED_DB: f64 = 10.0;
const SOFT_TOLD_DB: f64 = 20.0;

/// What single plucks are judged by is wide; stated is so much of it, within which 75 of 100 true pitches lie, and 96 within
/// twice as much (265 recordings). Runs and live tracks state what they are judged by.
const STATED: f64 = 0.7;

/// What sounded before a pluck is measured until this share of the time that its level is, before it: it may have begun a little
/// earlier than is known.
const GUARD_SHARE: u64 = 5;
/// So many times what sounded before is clearly more than that.
const CLEARLY: f64 = 2.0;

impl Listener {
    /// Tells a reading whose string is `expected`, or even chosen as the one `in_hand`; whether it is loud enough to be told.
    pub(super) fn tell(&mut self, reading: Reading, doubt: Option<Doubt>, expected: bool, in_hand: bool) -> bool {
        let onset = reading.onset.0 / self.decimator.factor() as u64;
        let softer_db = self.loudness.softer_db(reading.string, onset, reading.level_dbfs);
        let soft = softer_db > if expected { SOFT_EXPECTED_DB } else { SOFT_DB };
        if soft && in_hand && doubt.is_none() {
            self.loudness.turn_to(reading.string, onset, reading.level_dbfs);
        }
        let soft = soft && !in_hand;
        if soft && (doubt.is_some() || softer_db > SOFT_TOLD_DB) {
            return false;
        }
        let doubt = doubt.or_else(|| soft.then_some(Doubt::Soft));
        if doubt.is_none() {
            self.loudness.heard(reading.string, onset, reading.level_dbfs);
        }
        self.report(doubt.map_or(Heard::Settled(reading), |doubt| Heard::Unsure(reading, doubt)));
        true
    }

    /// Whether `reading` is softer than any string of this harp in a run.
    fn is_far_softer(&self, reading: &Reading) -> bool {
        let onset = reading.onset.0 / self.decimator.factor() as u64;
        self.loudness.softer_db(reading.string, onset, reading.level_dbfs) > SOFT_EXPECTED_DB
    }

    /// Passes on what the run has told of its plucks.
    pub(super) fn tell_run(&mut self) {
        while let Some(told) = self.run.poll() {
            match told {
                Told::Provisional(read) => {
                    if let Some(reading) = self.reading_of(read) {
                        self.report(Heard::Provisional(reading));
                    }
                }
                Told::Done(read, doubt) => {
                    let told = self
                        .reading_of(read)
                        .is_some_and(|reading| !self.is_far_softer(&reading) && self.tell(reading, doubt, true, false));
                    if !told {
                        self.refuse_at(self.onset_near(read.onset), Refusal::TooSoft);
                    }
                }
                Told::Refused(onset, why) => self.refuse_at(self.onset_near(onset), why),
            }
        }
    }

    /// The onset that was reported of what the run found at this working sample.
    fn onset_near(&self, found: u64) -> u64 {
        let onsets = self.reported.iter().copied();
        let nearest = onsets.min_by_key(|onset| onset.abs_diff(found));
        nearest
            .filter(|onset| onset.abs_diff(found) < self.prelude / 2)
            .unwrap_or(found)
    }

    fn reading_of(&self, read: Read) -> Option<Reading> {
        let onset = self.onset_near(read.onset);
        let level_dbfs = self.level(onset);
        Some(Reading {
            onset: self.time_of(onset),
            time: SampleTime(self.input),
            string: read.string,
            hz: Hz::new(read.fitted.hz).ok()?,
            sigma: Cents(read.fitted.sigma_cents),
            glide: Cents(0.0),
            inharmonicity: read.fitted.stiffness,
            level_dbfs,
            own_dbfs: level_dbfs,
            timbre: Timbre::default(),
        })
    }

    /// Ends a note that gives no reading.
    pub(super) fn refuse(&mut self, at: usize, why: Refusal) {
        self.refuse_at(self.notes[at].onset, why);
        self.notes[at].open = false;
    }

    /// What began at this working sample gives no reading.
    fn refuse_at(&mut self, onset: u64, why: Refusal) {
        let refused = Refused {
            onset: self.time_of(onset),
            time: SampleTime(self.input),
            why,
        };
        self.report(Heard::Refused(refused));
    }

    pub(super) fn report_track(&mut self, onset: u64, string: u8, hz: Hz, sigma: Cents) {
        let track = Track {
            onset: self.time_of(onset),
            time: SampleTime(self.input),
            string,
            hz,
            sigma,
        };
        self.report(Heard::Track(track));
    }

    pub(super) fn reading(&self, onset: u64, measured: Measured) -> Reading {
        Reading {
            onset: self.time_of(onset),
            time: SampleTime(self.input),
            string: measured.string,
            hz: measured.hz,
            sigma: Cents((STATED * measured.sigma.0).hypot(measured.unheard.0)),
            glide: measured.glide,
            inharmonicity: measured.inharmonicity,
            level_dbfs: self.level(onset),
            own_dbfs: self.own_level(onset, measured.added),
            timbre: measured.timbre,
        }
    }

    /// Level of the first tenth of a second, or of what there is of it.
    pub(super) fn level(&self, onset: u64) -> f64 {
        decibels(self.mean_square(onset, self.beginning.min(self.history.count() - onset)))
    }

    /// Level of what was plucked itself, of whose partials so much was `added`, mean square amplitude.
    ///
    /// Where what sounded before is too little to matter it is all the sound but that: some of the partials lie where others ring,
    /// and are not followed.
    fn own_level(&self, onset: u64, added: f64) -> f64 {
        let whole = self.mean_square(onset, self.beginning.min(self.history.count() - onset));
        let before = onset
            .checked_sub(self.beginning + self.beginning / GUARD_SHARE)
            .map_or(0.0, |from| self.mean_square(from, self.beginning));
        let rest = if whole > CLEARLY * before { whole - before } else { 0.0 };
        // The mean square of a sine is half that of its amplitude.
        decibels(rest.max(0.5 * added))
    }

    /// The mean square of so many samples from `from` on.
    fn mean_square(&self, from: u64, len: u64) -> f64 {
        let sound = self.history.slice(from, len as usize).unwrap_or(&[]);
        sound.iter().map(|x| f64::from(x * x)).sum::<f64>() / len.max(1) as f64
    }

    /// When the working sample sounded, in samples of the input.
    pub(super) fn time_of(&self, working: u64) -> SampleTime {
        SampleTime((working * self.decimator.factor() as u64).saturating_sub(self.decimator.delay() as u64))
    }

    pub(super) fn report(&mut self, heard: Heard) {
        let minor = matches!(heard, Heard::Track(_) | Heard::Provisional(_));
        let limit = if minor { QUEUE * 3 / 4 } else { QUEUE };
        if self.queue.len() < limit {
            self.queue.push_back(heard);
        }
    }
}

/// The level of sound with this mean square, decibels below full scale.
fn decibels(mean_square: f64) -> f64 {
    10.0 * mean_square.max(1e-15).log10()
}
