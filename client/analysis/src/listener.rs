//! The listener: samples in, what was heard out.

mod ringing;
mod telling;

use std::collections::VecDeque;

use consort_proto::SampleRate;

use self::telling::{QUEUE, REPORTED};
use crate::company::Company;
use crate::config::Config;
use crate::context::{Context, Order};
use crate::decimate::Decimator;
use crate::evidence::Evidence;
use crate::health::HealthWatch;
use crate::heard::{Heard, Onset, Refusal, SampleTime};
use crate::history::History;
use crate::identify::Identifier;
use crate::in_hand::InHand;
use crate::loudness::Loudness;
use crate::note::{Note, Progress, Tools};
use crate::onset::OnsetDetector;
use crate::run::Run;

/// Notes that can be open at once: a run of four plucks a second, each measured for 1.6 s.
const NOTES: usize = 8;
/// Sound that is kept, seconds: a note's measure and what was there before it.
const HISTORY_S: f64 = 9.0;
/// A look at the sound per this many seconds.
const HOP_S: f64 = 0.01;
/// Live tracks come every this many hops: 25 per second.
const TRACK_HOPS: u64 = 4;
/// Level of a note is taken over this long, seconds.
const LEVEL_S: f64 = 0.1;
/// A note that begins this soon after another, seconds, takes its place: the first was the finger's touch.
const PRELUDE_S: f64 = 0.1;

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
                let progress = if before {
                    progress
                } else {
                    self.hear_again(at, progress)
                };
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

    /// Whether the run judges what was plucked at this working sample.
    fn is_in_run(&self, onset: u64) -> bool {
        runs(&self.context) && self.run.claims(onset)
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
}

/// Whether a run is expected; a string that was chosen by hand is followed alone.
fn runs(context: &Context) -> bool {
    context.order == Order::Run && context.chosen.is_none()
}
