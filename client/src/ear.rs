//! One harp's ear: a listener that is told what this harp should sound like, and remembers what it has heard.

use std::sync::Arc;

use consort_analysis::{
    Config, Context, Doubt, ExpectedString, Heard, Listener, Order, Refusal, SampleTime, Spread, Timbre,
};
use consort_proto::{Cents, Harp, Hz, SampleRate, StringNumber, Tuning};

use crate::sound::condition::Condition;
use crate::sound::kind::Kind;
use crate::sound::trouble::Trouble;

/// What may sound next: the harp, its targets, and what was heard of it before.
#[derive(Clone, Debug)]
pub struct Expectation {
    harp: Arc<Harp>,
    tuning: Tuning,
    order: Order,
    /// Whether strings are plucked in that order now, not as she likes.
    in_order: bool,
    /// Whether they are plucked in quick succession, none of them damped.
    runs: bool,
    /// The newest settled pitch of each string from the top; only kept while one tuning is heard.
    last: Vec<Option<Hz>>,
    /// The first settled pitch of each: how the harp was found.
    found: Vec<Option<Hz>>,
    previous: Option<StringNumber>,
    /// The string that the harpist has chosen by hand.
    chosen: Option<StringNumber>,
}

/// A listener with the expectation it listens with.
pub struct Ear {
    listener: Listener,
    condition: Condition,
    expectation: Expectation,
    /// When the newest onset was, seconds from the start of the sound.
    last_onset_s: Option<f64>,
}

/// What the ear has to say.
#[derive(Clone, Debug, PartialEq)]
pub enum Sensed {
    /// A pluck has an answer, for now or for good.
    Answer(Answer),
    /// Where the sounding string stands just now.
    Track {
        /// When the string was plucked, in seconds from the start of the sound.
        onset_s: f64,
        /// Up to when the sound was used, in seconds from its start.
        time_s: f64,
        /// The string.
        string: StringNumber,
        /// Its pitch over the last few hundredths of a second.
        hz: Hz,
        /// One standard deviation of the pitch.
        sigma: Cents,
    },
    /// Something sounded that gives no reading.
    Refused {
        /// When it began, in seconds from the start of the sound.
        onset_s: f64,
        /// Why.
        why: Refusal,
    },
    /// The gravest trouble with the input is another one now; `None` when there is none any more.
    Input(Option<Trouble>),
}

/// What is known of one pluck.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Answer {
    /// When the string was plucked, in seconds from the start of the sound.
    pub onset_s: f64,
    /// When this answer stood, in seconds from the start of the sound.
    pub time_s: f64,
    /// Which string.
    pub string: StringNumber,
    /// Its pitch.
    pub hz: Hz,
    /// One standard deviation of the pitch.
    pub sigma: Cents,
    /// How far the pitch moved while it was measured; negative when it fell.
    pub glide: Cents,
    /// B of fₙ = n·f₀·√(1 + B·n²), dimensionless.
    pub inharmonicity: f64,
    /// Level of the first 0.1 s, in decibels below full scale.
    pub level_dbfs: f64,
    /// The same beyond what sounded before, in decibels below full scale.
    pub own_dbfs: f64,
    /// What it sounds like beside its pitch.
    pub timbre: Timbre,
    /// How far the answer can be relied on.
    pub verdict: Verdict,
}

/// How far an answer can be relied on.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Verdict {
    /// It may still change.
    Provisional,
    /// It stands.
    Settled,
    /// It is the best guess, and should not be relied on.
    Unsure(Doubt),
}

impl Expectation {
    /// Every pluck stands alone.
    pub fn alone(harp: Arc<Harp>, tuning: Tuning) -> Self {
        Self {
            last: vec![None; harp.len()],
            found: vec![None; harp.len()],
            harp,
            tuning,
            order: Order::Unknown,
            in_order: true,
            runs: false,
            previous: None,
            chosen: None,
        }
    }

    /// Plucks follow one another in the usual order of tuning, and what was heard is remembered.
    pub fn one_tuning(harp: Arc<Harp>, tuning: Tuning) -> Self {
        Self {
            order: Order::Usual,
            ..Self::alone(harp, tuning)
        }
    }

    /// What is tuned to.
    pub const fn tuning(&self) -> &Tuning {
        &self.tuning
    }

    /// What the listener is told.
    fn context(&self) -> Context {
        let expected = self.harp.strings().iter().zip(&self.last).map(|(string, last)| {
            let target = self.tuning.open_target(string);
            ExpectedString {
                target,
                offset: last.map(|hz| hz.cents_above(target)),
            }
        });
        // A harp never has more strings than a context holds, and a context without strings hears nothing.
        let mut context =
            Context::new(&expected.collect::<Vec<_>>()).unwrap_or_else(|_| Context::concert_harp(self.tuning.a4.hz()));
        context.order = match self.in_order {
            true if self.runs => Order::Run,
            true => self.order,
            false => Order::Unknown,
        };
        context.spread = self.spread();
        context.previous = self.previous.map(StringNumber::get);
        context.chosen = self.chosen.map(StringNumber::get);
        context
    }

    /// How far the strings stood from their targets when they were first heard.
    fn spread(&self) -> Spread {
        let strings = self.harp.strings().iter().zip(&self.found);
        Spread::of(strings.filter_map(|(string, found)| {
            let target = self.tuning.open_target(string);
            found.map(|hz| hz.cents_above(target))
        }))
    }

    fn remember(&mut self, answer: &Answer) -> bool {
        let keeps = self.in_order && self.order == Order::Usual && answer.verdict == Verdict::Settled;
        if let Some(last) = self.last.get_mut(answer.string.index()).filter(|_| keeps) {
            *last = Some(answer.hz);
            // A new string on its way up says nothing of how the harp was found.
            if self.chosen != Some(answer.string) {
                self.found[answer.string.index()].get_or_insert(answer.hz);
            }
            self.previous = Some(answer.string);
        }
        keeps
    }
}

impl Ear {
    /// An ear for a sound of `rate`; times count from here.
    pub fn new(rate: SampleRate, expectation: Expectation) -> Self {
        Self::at_input(rate, Kind::Plain, expectation)
    }

    /// An ear at an input of `rate` that seems to be of this kind.
    pub fn at_input(rate: SampleRate, kind: Kind, expectation: Expectation) -> Self {
        let mut listener = Listener::new(Config {
            rate,
            ..Config::default()
        });
        listener.set_context(&expectation.context());
        Self {
            listener,
            condition: Condition::new(rate, kind),
            expectation,
            last_onset_s: None,
        }
    }

    /// Listens to `samples` and tells `tell` what was sensed.
    pub fn push(&mut self, samples: &[f32], tell: &mut impl FnMut(Sensed)) {
        self.listener.push(samples);
        self.condition.push(samples);
        self.drain(tell);
        if let Some(trouble) = self.condition.changed() {
            tell(Sensed::Input(trouble));
        }
    }

    /// The sound has ended: tells what is left of it, and gives the expectation back for the next sound.
    pub fn finish(mut self, tell: &mut impl FnMut(Sensed)) -> Expectation {
        self.listener.finish();
        self.drain(tell);
        self.expectation
    }

    /// When something was plucked last, in seconds from the start of the sound.
    pub const fn last_onset_s(&self) -> Option<f64> {
        self.last_onset_s
    }

    /// Listens for other targets from the next pluck on.
    pub fn retune(&mut self, tuning: Tuning) {
        self.expectation.tuning = tuning;
        self.listener.set_context(&self.expectation.context());
    }

    /// Listens for this string alone from the next pluck on, which may stand an octave below its target; `None` for all.
    pub fn choose(&mut self, string: Option<StringNumber>) {
        self.expectation.chosen = string;
        self.listener.set_context(&self.expectation.context());
    }

    /// A run over the harp begins, or ends: many strings in quick succession, none of them damped.
    pub fn run(&mut self, runs: bool) {
        self.expectation.runs = runs;
        self.listener.set_context(&self.expectation.context());
    }

    /// Listens for the strings of `harp`, which is the same one with its pedals elsewhere, from the next pluck on.
    pub fn resound(&mut self, harp: Arc<Harp>, in_order: bool) {
        let expectation = &mut self.expectation;
        let strings = expectation.harp.strings().iter().zip(harp.strings());
        let memories = expectation.last.iter_mut().zip(&mut expectation.found);
        // What was heard of a string that stands elsewhere now says nothing.
        for ((before, now), (last, found)) in strings.zip(memories) {
            if before.open != now.open {
                (*last, *found) = (None, None);
            }
        }
        (expectation.harp, expectation.in_order) = (harp, in_order);
        self.listener.set_context(&self.expectation.context());
    }

    fn drain(&mut self, tell: &mut impl FnMut(Sensed)) {
        let rate = self.listener.rate();
        while let Some(heard) = self.listener.poll() {
            self.watch(&heard, rate);
            let Some(sensed) = sensed(&heard, rate) else { continue };
            if let Sensed::Answer(answer) = &sensed
                && self.expectation.remember(answer)
            {
                self.listener.set_context(&self.expectation.context());
            }
            tell(sensed);
        }
    }

    /// Lets the condition of the input know what bears on it.
    fn watch(&mut self, heard: &Heard, rate: SampleRate) {
        match heard {
            Heard::Input(health) => self.condition.judged(*health),
            Heard::Onset(onset) => {
                let onset_s = onset.onset.seconds(rate);
                self.last_onset_s = Some(onset_s);
                self.condition.onset(onset_s);
            }
            Heard::Settled(reading) | Heard::Unsure(reading, _) => {
                let [onset_s, until_s] = [reading.onset, reading.time].map(|time| time.seconds(rate));
                self.condition.pluck(onset_s, until_s, reading.level_dbfs);
            }
            Heard::Track(_) | Heard::Provisional(_) | Heard::Refused(_) => {}
        }
    }
}

fn sensed(heard: &Heard, rate: SampleRate) -> Option<Sensed> {
    let seconds = |time: SampleTime| time.seconds(rate);
    let answer = |reading: &consort_analysis::Reading, verdict| {
        Some(Sensed::Answer(Answer {
            onset_s: seconds(reading.onset),
            time_s: seconds(reading.time),
            string: StringNumber::new(u32::from(reading.string)).ok()?,
            hz: reading.hz,
            sigma: reading.sigma,
            glide: reading.glide,
            inharmonicity: reading.inharmonicity,
            level_dbfs: reading.level_dbfs,
            own_dbfs: reading.own_dbfs,
            timbre: reading.timbre,
            verdict,
        }))
    };
    match heard {
        Heard::Onset(_) | Heard::Input(_) => None,
        Heard::Track(track) => Some(Sensed::Track {
            onset_s: seconds(track.onset),
            time_s: seconds(track.time),
            string: StringNumber::new(u32::from(track.string)).ok()?,
            hz: track.hz,
            sigma: track.sigma,
        }),
        Heard::Provisional(reading) => answer(reading, Verdict::Provisional),
        Heard::Settled(reading) => answer(reading, Verdict::Settled),
        Heard::Unsure(reading, doubt) => answer(reading, Verdict::Unsure(*doubt)),
        Heard::Refused(refused) => Some(Sensed::Refused {
            onset_s: seconds(refused.onset),
            why: refused.why,
        }),
    }
}
