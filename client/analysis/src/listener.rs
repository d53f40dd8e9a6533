//! The listener: samples in, what was heard out.

mod ringing;

use std::collections::VecDeque;

use consort_proto::{Cents, Hz, SampleRate};

use crate::company::Company;
use crate::config::Config;
use crate::context::{Context, Order};
use crate::decimate::Decimator;
use crate::evidence::Evidence;
use crate::health::HealthWatch;
use crate::heard::{Doubt, Heard, Onset, Reading, Refusal, Refused, SampleTime, Timbre, Track};
use crate::history::History;
use crate::identify::Identifier;
use crate::in_hand::InHand;
use crate::loudness::Loudness;
use crate::note::{Measured, Note, Progress, Tools};
use crate::onset::OnsetDetector;
use crate::run::{Read, Run, Told};

/// Notes that can be open at once: a run of four plucks a second, each measured for 1.6 s.
const NOTES: usize = 8;
/// Onsets that are remembered: those of two seconds.
const REPORTED: usize = 24;
/// Sound that is kept, seconds: a note's measure and what was there before it.
const HISTORY_S: f64 = 9.0;
/// A look at the sound per this many seconds.
const HOP_S: f64 = 0.01;
/// Live tracks come every this many hops: 25 per second.
const TRACK_HOPS: u64 = 4;
/// How much can be heard before it is fetched; from three quarters on, tracks and provisional readings are dropped.
const QUEUE: usize = 4096;
/// Level of a note is taken over this long, seconds.
const LEVEL_S: f64 = 0.1;
/// A note that begins this soon after another, seconds, takes its place: the first was the finger's touch.
const PRELUDE_S: f64 = 0.1;
/// A pluck that is this much softer than the strings around it usually are, decibels, is another harp's or another player's.
/// One whose string is expected next is hers up to the second figure, and what is softer still is not even told.
const SOFT_DB: f64 = 7.0;
const SOFT_EXPECTED_DB: f64 = 10.0;
/// What single plucks are judged by is wide; stated is so much of it, within which 75 of 100 true pitches lie, and 96 within
/// twice as much (265 recordings). Runs and live tracks state what they are judged by.
const STATED: f64 = 0.7;

/// Hears the strings of one harp in a stream of samples.
///
/// Everything is allocated by [`Listener::new`]; afterwards nothing is, nothing blocks, no clock is read and no file.
/// The order of calls: [`Self::push`] as sound arrives, in blocks of any size, then [`Self::poll`] until it is empty;
/// [`Self::set_context`] whenever more is known of the harp; [`Self::finish`] at the end of a recording.
/// What is heard does not depend on how the sound was cut into blocks, as long as at most a minute of it is pushed
/// between polls: the queue holds that much.
pub struct Listener {
    rate: SampleRate,
    decimator: Decimator,
    history: History,
    hop: u64,
    hops: u64,
    /// [`PRELUDE_S`] in working samples.
    prelude: u64,
    /// [`LEVEL_S`] in working samples.
    beginning: u64,
    onsets: OnsetDetector,
    last_onset: u64,
    /// The newest onsets that were reported.
    reported: [u64; REPORTED],
    health: HealthWatch,
    tools: Tools,
    notes: Vec<Note>,
    run: Run,
    in_hand: InHand,
    context: Context,
    loudness: Loudness,
    queue: VecDeque<Heard>,
    input: u64,
}

impl Listener {
    /// A listener for one input, with the strings of a concert harp at A4 = 440 Hz until it is told of others.
    pub fn new(config: Config) -> Self {
        let decimator = Decimator::new(config.rate);
        let rate = f64::from(config.rate.get()) / decimator.factor() as f64;
        let hop = (HOP_S * rate).round() as usize;
        let notes: Vec<Note> = (0..NOTES)
            .map(|_| Note::new(rate, hop, config.sigma_max_cents))
            .collect();
        Self {
            rate: config.rate,
            decimator,
            history: History::new((HISTORY_S * rate) as usize),
            hop: hop as u64,
            hops: 0,
            prelude: (PRELUDE_S * rate) as u64,
            beginning: (LEVEL_S * rate) as u64,
            onsets: OnsetDetector::new(rate),
            last_onset: 0,
            reported: [0; REPORTED],
            health: HealthWatch::new(config.rate),
            tools: Tools {
                evidence: Evidence::new(rate),
                identifier: Identifier::new(),
                company: Company::new(rate),
            },
            context: notes[0].context,
            notes,
            run: Run::new(rate, hop, config.sigma_max_cents),
            in_hand: InHand::new(rate),
            loudness: Loudness::new(rate),
            queue: VecDeque::with_capacity(QUEUE),
            input: 0,
        }
    }

    /// The rate of the input, by which every [`SampleTime`] counts.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Tells what to expect from the next onset on; where a run begins or ends, what is open is judged with what there is.
    /// Never allocates.
    pub fn set_context(&mut self, context: &Context) {
        if runs(&self.context) != runs(context) {
            // What sounds is judged as what it was expected to be.
            self.finish();
            self.run.begin();
        }
        if self.context.chosen != context.chosen {
            self.in_hand.end();
        }
        self.context = *context;
    }

    /// Takes the next samples: mono, full scale ±1.0, oldest first, at the rate given to [`Self::new`].
    ///
    /// Samples that are not finite count as silence. Never allocates.
    pub fn push(&mut self, samples: &[f32]) {
        for &sample in samples {
            self.input += 1;
            if let Some(health) = self.health.push(sample) {
                self.report(Heard::Input(health));
            }
            if let Some(working) = self.decimator.push(sample) {
                self.history.push(working);
                if self.history.count().is_multiple_of(self.hop) {
                    self.look();
                }
            }
        }
    }

    /// The next thing that was heard, if there is one. Never allocates.
    pub fn poll(&mut self) -> Option<Heard> {
        self.queue.pop_front()
    }

    /// Judges the notes that are still open with what there is: the recording has ended.
    pub fn finish(&mut self) {
        for _ in 0..NOTES {
            let open = self
                .notes
                .iter()
                .enumerate()
                .filter(|(_, note)| note.open && !note.measured);
            let Some((at, _)) = open.min_by_key(|(_, note)| note.onset) else {
                break;
            };
            let progress = self.notes[at].finish(&self.history, &self.tools.company);
            self.settle(at, progress);
            self.notes[at].open = false;
        }
        if runs(&self.context) {
            self.run.finish(&self.history, &self.context);
            self.tell_run();
        }
    }

    fn look(&mut self) {
        self.hops += 1;
        if runs(&self.context) {
            self.run.look(&self.history, &self.context);
            self.tell_run();
        }
        if let Some(onset) = self.onsets.look(&self.history) {
            self.begin(onset);
        }
        for at in 0..NOTES {
            if self.notes[at].open {
                let before = self.notes[at].passed;
                let progress = self.notes[at].advance(&self.history, &mut self.tools);
                let found = !before && self.notes[at].passed;
                // What is refused at once is no pluck of the string in hand either.
                let found = found && !matches!(progress, Progress::Refused(_));
                let echo = found && (self.is_echo(at) || !self.take_in_hand(at));
                let note = &self.notes[at];
                if found
                    && !echo
                    && note.is_pluck_for_certain()
                    && let Some(verdict) = note.verdict()
                {
                    self.tools.company.add(note.onset, verdict.string);
                }
                self.settle(
                    at,
                    if echo {
                        Progress::Refused(Refusal::NotNew)
                    } else {
                        progress
                    },
                );
            }
        }
        self.end_plucked_again();
        if self.hops.is_multiple_of(TRACK_HOPS) {
            self.track();
        }
    }

    fn begin(&mut self, onset: u64) {
        let young = |note: &Note| note.open && (self.history.count() - note.onset) < self.prelude;
        if let Some(at) = self.notes.iter().position(young) {
            self.settle(at, Progress::Refused(Refusal::NotNew));
        }
        let free = self.notes.iter().position(|note| !note.open);
        let at = free.unwrap_or_else(|| {
            let oldest = self
                .notes
                .iter()
                .enumerate()
                .min_by_key(|(_, note)| (!note.measured, note.onset));
            let at = oldest.map_or(0, |(at, _)| at);
            if !self.notes[at].measured {
                self.settle(at, Progress::Refused(Refusal::TooMany));
            }
            at
        });
        for note in &mut self.notes {
            note.joined = true;
            note.next = note.next.min(onset);
        }
        self.notes[at].start(onset, self.last_onset, &self.context);
        self.last_onset = onset;
        self.reported.rotate_left(1);
        self.reported[REPORTED - 1] = onset;
        let report = Onset {
            onset: self.time_of(onset),
            time: SampleTime(self.input),
            level_dbfs: self.level(onset),
        };
        self.report(Heard::Onset(report));
    }

    /// Lets the string in hand be chased from a note that was just found, if it is that string's; whether the note may be a pluck.
    fn take_in_hand(&mut self, at: usize) -> bool {
        let note = &mut self.notes[at];
        let is_chosen = note.verdict().map(|verdict| verdict.string) == self.context.chosen;
        !is_chosen || self.in_hand.pluck(note)
    }

    fn settle(&mut self, at: usize, progress: Progress) {
        let onset = self.notes[at].onset;
        match progress {
            Progress::Waiting => {}
            Progress::Provisional(_) if self.is_in_run(onset) => {}
            Progress::Refused(_) if self.is_in_run(onset) => {
                self.run.divide(onset, true);
                self.notes[at].open = false;
            }
            Progress::Done(..) if self.is_in_run(onset) => {
                self.run.divide(onset, true);
                self.notes[at].measured = true;
            }
            Progress::Refused(why) => self.refuse(at, why),
            Progress::Provisional(measured) => self.report(Heard::Provisional(self.reading(onset, measured))),
            Progress::Done(measured, doubt) => {
                self.run.divide(onset, false);
                let reading = self.reading(onset, measured);
                let expected = self.notes[at].context.expects(reading.string);
                let in_hand = self.notes[at].context.chosen == Some(reading.string);
                if self.tell(reading, doubt, expected, in_hand) {
                    self.notes[at].measured = true;
                } else {
                    self.refuse(at, Refusal::TooSoft);
                }
            }
        }
    }

    /// Tells a reading whose string is `expected`, or even chosen as the one `in_hand`; whether it is loud enough to be told.
    fn tell(&mut self, reading: Reading, doubt: Option<Doubt>, expected: bool, in_hand: bool) -> bool {
        let onset = reading.onset.0 / self.decimator.factor() as u64;
        let softer_db = self.loudness.softer_db(reading.string, onset, reading.level_dbfs);
        let soft = softer_db > if expected { SOFT_EXPECTED_DB } else { SOFT_DB };
        if soft && in_hand && doubt.is_none() {
            self.loudness.turn_to(reading.string, onset, reading.level_dbfs);
        }
        let soft = soft && !in_hand;
        if soft && (doubt.is_some() || softer_db > SOFT_EXPECTED_DB) {
            return false;
        }
        let doubt = doubt.or_else(|| soft.then_some(Doubt::Soft));
        if doubt.is_none() {
            self.loudness.heard(reading.string, onset, reading.level_dbfs);
        }
        self.report(doubt.map_or(Heard::Settled(reading), |doubt| Heard::Unsure(reading, doubt)));
        true
    }

    /// Whether the run judges what was plucked at this working sample.
    fn is_in_run(&self, onset: u64) -> bool {
        runs(&self.context) && self.run.claims(onset)
    }

    /// Passes on what the run has told of its plucks.
    fn tell_run(&mut self) {
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
                        .is_some_and(|reading| self.tell(reading, doubt, true, false));
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
        Some(Reading {
            onset: self.time_of(onset),
            time: SampleTime(self.input),
            string: read.string,
            hz: Hz::new(read.fitted.hz).ok()?,
            sigma: Cents(read.fitted.sigma_cents),
            glide: Cents(0.0),
            inharmonicity: read.fitted.stiffness,
            level_dbfs: self.level(onset),
            timbre: Timbre::default(),
        })
    }

    /// Ends a note that gives no reading.
    fn refuse(&mut self, at: usize, why: Refusal) {
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

    /// Reports where the last plucked string stands just now.
    fn track(&mut self) {
        let in_hand = self.in_hand.look(&self.history);
        let tracked = self
            .notes
            .iter()
            .enumerate()
            .filter(|(_, note)| self.may_be_tracked(note));
        let newest = tracked.max_by_key(|(_, note)| note.onset).map(|(at, _)| at);
        if let Some(stands) = in_hand.filter(|_| newest.is_none() && !self.is_in_doubt()) {
            self.report_track(stands.onset, stands.string, stands.hz, stands.sigma);
        }
        let Some(at) = newest.filter(|at| !self.is_in_run(self.notes[*at].onset)) else {
            return;
        };
        let onset = self.notes[at].onset;
        if let Some(measured) = self.notes[at].track_clear(&self.history) {
            self.report_track(onset, measured.string, measured.hz, measured.sigma);
        }
    }

    /// Whether a note may be told of as it sounds: while the string in hand is chased, only another string that was plucked for
    /// certain after it.
    fn may_be_tracked(&self, note: &Note) -> bool {
        let Some(verdict) = note.verdict().filter(|_| note.open) else {
            return false;
        };
        let is_in_hand = self.in_hand.is_plucked() && self.context.chosen == Some(verdict.string);
        let is_later = note.passed && note.onset > self.in_hand.onset() && note.is_pluck_for_certain();
        !is_in_hand && (!self.in_hand.is_chased() || is_later)
    }

    fn report_track(&mut self, onset: u64, string: u8, hz: Hz, sigma: Cents) {
        let track = Track {
            onset: self.time_of(onset),
            time: SampleTime(self.input),
            string,
            hz,
            sigma,
        };
        self.report(Heard::Track(track));
    }

    fn reading(&self, onset: u64, measured: Measured) -> Reading {
        Reading {
            onset: self.time_of(onset),
            time: SampleTime(self.input),
            string: measured.string,
            hz: measured.hz,
            sigma: Cents(STATED * measured.sigma.0),
            glide: measured.glide,
            inharmonicity: measured.inharmonicity,
            level_dbfs: self.level(onset),
            timbre: measured.timbre,
        }
    }

    /// Level of the first tenth of a second, or of what there is of it.
    fn level(&self, onset: u64) -> f64 {
        let len = self.beginning.min(self.history.count() - onset);
        let sound = self.history.slice(onset, len as usize).unwrap_or(&[]);
        let power = sound.iter().map(|x| f64::from(x * x)).sum::<f64>() / len.max(1) as f64;
        10.0 * power.max(1e-15).log10()
    }

    /// When the working sample sounded, in samples of the input.
    fn time_of(&self, working: u64) -> SampleTime {
        SampleTime((working * self.decimator.factor() as u64).saturating_sub(self.decimator.delay() as u64))
    }

    fn report(&mut self, heard: Heard) {
        let minor = matches!(heard, Heard::Track(_) | Heard::Provisional(_));
        let limit = if minor { QUEUE * 3 / 4 } else { QUEUE };
        if self.queue.len() < limit {
            self.queue.push_back(heard);
        }
    }
}

/// Whether a run is expected; a string that was chosen by hand is followed alone.
fn runs(context: &Context) -> bool {
    context.order == Order::Run && context.chosen.is_none()
}
