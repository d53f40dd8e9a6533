//! A listener in the middle of an evening: it knows where each string was left, and learns from what it settles.

use consort_analysis::{
    Config, Context, Doubt, ExpectedString, Heard, Listener, Order, Reading, Refusal, Spread, Track,
};
use consort_guide::{Attention, Heeded, Plucked, Taken, Wanted, is_elsewhere};
use consort_proto::{Cents, Harp, Hz, SampleRate, StringNumber, Tuning};

/// A listener that remembers, as a station's does.
pub(crate) struct Memory {
    listener: Listener,
    context: Context,
    targets: Vec<Hz>,
    /// How far each string stood from its target when it was first heard.
    found: Vec<Option<Cents>>,
    rate: SampleRate,
    /// What the desk makes of it while it asks for one string.
    attention: Attention<Reading>,
    /// Onset of the newest pluck that is too soft to be followed, seconds.
    soft_s: Option<f64>,
    /// The string that the desk asks for, and those after it, the next one last.
    asked: Option<StringNumber>,
    then: Vec<StringNumber>,
    /// Whether the last one was too strong to count.
    pub(crate) strong: bool,
    /// Readings that count there.
    pub(crate) counted: Vec<Reading>,
    /// What is no reading there, but kept in the harp's record: strings that scatter or turn.
    pub(crate) kept: Vec<Reading>,
    pub(crate) answers: Vec<(Reading, Option<Doubt>)>,
    pub(crate) tracks: Vec<Track>,
    pub(crate) provisional: Vec<Reading>,
    /// Onsets, seconds, that gave no answer.
    pub(crate) refused: Vec<(f64, Refusal)>,
}

impl Memory {
    /// A listener for `harp` whose strings were left where `last` says.
    pub(crate) fn new(
        harp: &Harp,
        rate: SampleRate,
        mut last: impl FnMut(StringNumber) -> Option<Cents>,
    ) -> Result<Self, String> {
        let tuning = Tuning::default();
        let targets: Vec<Hz> = harp.strings().iter().map(|string| tuning.open_target(string)).collect();
        let found: Vec<Option<Cents>> = harp.numbered().map(|(number, _)| last(number)).collect();
        let strings: Vec<ExpectedString> = targets.iter().map(|target| ExpectedString::new(*target)).collect();
        let mut context = Context::new(&strings).map_err(|why| why.to_string())?;
        context.order = Order::Usual;
        for ((number, _), offset) in harp.numbered().zip(&found) {
            context.remember(number.get(), *offset);
        }
        let mut memory = Self {
            listener: Listener::new(Config {
                rate,
                ..Config::default()
            }),
            context,
            targets,
            found,
            rate,
            attention: Attention::default(),
            soft_s: None,
            asked: None,
            then: Vec::new(),
            strong: false,
            counted: Vec::new(),
            kept: Vec::new(),
            answers: Vec::new(),
            tracks: Vec::new(),
            provisional: Vec::new(),
            refused: Vec::new(),
        };
        memory.tell();
        Ok(memory)
    }

    /// The string that the harpist chose by hand.
    pub(crate) fn choose(&mut self, string: StringNumber) {
        self.context.chosen = Some(string.get());
        self.tell();
    }

    /// A run over the harp is asked for.
    pub(crate) fn runs(&mut self) {
        self.context.order = Order::Run;
        self.tell();
    }

    /// The string that the desk asks for.
    pub(crate) fn ask(&mut self, string: StringNumber) {
        self.asked = Some(string);
    }

    /// The strings that the desk asks for, each until it counts, and the last one for ever.
    pub(crate) fn ask_in_turn(&mut self, strings: &[StringNumber]) {
        self.then = strings.iter().rev().copied().collect();
        self.asked = self.then.pop();
    }

    /// What has counted: the desk goes on from the string that it asked for.
    fn count(&mut self, readings: Vec<Reading>) {
        for reading in readings {
            let asked_for = self.asked.is_some_and(|asked| asked.get() == reading.string);
            if let Some(next) = asked_for.then(|| self.then.pop()).flatten() {
                self.asked = Some(next);
            }
            self.counted.push(reading);
        }
    }

    pub(crate) fn push(&mut self, sound: &[f32]) {
        self.listener.push(sound);
        self.drain();
    }

    /// The sound has ended.
    pub(crate) fn finish(&mut self) {
        self.listener.finish();
        self.drain();
        let alone = self.attention.stood_alone(f64::INFINITY);
        self.count(alone);
    }

    fn drain(&mut self) {
        while let Some(heard) = self.listener.poll() {
            self.attend(&heard);
            match heard {
                Heard::Settled(reading) => {
                    self.answers.push((reading, None));
                    self.remember(&reading);
                }
                Heard::Unsure(reading, doubt) => self.answers.push((reading, Some(doubt))),
                Heard::Track(track) => self.tracks.push(track),
                Heard::Provisional(reading) => self.provisional.push(reading),
                Heard::Refused(refused) => self.refused.push((refused.onset.seconds(self.rate), refused.why)),
                Heard::Onset(_) | Heard::Input(_) => {}
            }
        }
    }

    /// Whether it would count at a desk.
    fn attend(&mut self, heard: &Heard) {
        let (onset, time, number, is_last) = match heard {
            Heard::Settled(reading) | Heard::Unsure(reading, _) => (reading.onset, reading.time, reading.string, true),
            Heard::Provisional(reading) => (reading.onset, reading.time, reading.string, false),
            Heard::Track(track) => (track.onset, track.time, track.string, false),
            Heard::Refused(refused) => {
                // As at a desk: only what could not be told apart was a pluck all the same.
                let onset_s = refused.onset.seconds(self.rate);
                match refused.why {
                    Refusal::TooMany => {}
                    Refusal::TooSoft => self.attention.hears_another(onset_s),
                    _ => self.attention.forget(onset_s),
                }
                return;
            }
            Heard::Onset(_) | Heard::Input(_) => return,
        };
        let Ok(string) = StringNumber::new(u32::from(number)) else {
            return;
        };
        let (onset_s, time_s) = (onset.seconds(self.rate), time.seconds(self.rate));
        if let Heard::Provisional(reading) = heard {
            let soft = self.attention.is_too_soft(string, reading.own_dbfs);
            self.soft_s = soft.then_some(onset_s);
        }
        if !is_last && self.soft_s == Some(onset_s) {
            // As at a desk: what is so soft is another harp's, whatever it is.
            return;
        }
        let plays = self.attention.pluck(onset_s, time_s, string, is_last, false);
        let alone = self.attention.stood_alone(time_s);
        self.count(alone);
        let (Heard::Settled(reading) | Heard::Unsure(reading, _)) = heard else {
            return;
        };
        if plays {
            return;
        }
        self.strong = false;
        let wanted = self.asked.map_or(Wanted::Nothing, Wanted::Near);
        let plucked = Plucked {
            onset_s,
            string,
            apart: reading.hz.cents_above(self.targets[string.index()]),
            glide: reading.glide,
            level_dbfs: reading.own_dbfs,
            whole_dbfs: reading.level_dbfs,
            stiffness: reading.inharmonicity,
        };
        let is_told = matches!(
            heard,
            Heard::Settled(_) | Heard::Unsure(_, Doubt::FarFromAll | Doubt::Which)
        );
        if is_told && is_elsewhere(plucked.apart) {
            self.attention.stands_elsewhere(plucked, wanted);
        }
        if !matches!(heard, Heard::Settled(_)) {
            let soft =
                matches!(heard, Heard::Unsure(_, Doubt::Soft)) || self.attention.is_too_soft(string, reading.own_dbfs);
            let heeds = self.attention.heeds(&plucked, wanted, soft) == Heeded::Yes;
            if heeds && matches!(heard, Heard::Unsure(_, Doubt::Scattered | Doubt::Turned)) {
                // As at a desk: it is as uncertain as it moved.
                let sigma = Cents(reading.sigma.0.max(reading.glide.0.abs()));
                self.kept.push(Reading { sigma, ..*reading });
            }
            return;
        }
        let taken = self.attention.take(plucked, wanted, *reading);
        self.strong = taken == Taken::Strong;
        if let Taken::Counts(readings) = taken {
            self.count(readings);
        }
    }

    fn remember(&mut self, reading: &Reading) {
        let index = usize::from(reading.string) - 1;
        let offset = reading.hz.cents_above(self.targets[index]);
        self.context.remember(reading.string, Some(offset));
        self.found[index].get_or_insert(offset);
        self.context.previous = Some(reading.string);
        self.tell();
    }

    fn tell(&mut self) {
        self.context.spread = Spread::of(self.found.iter().copied().flatten());
        self.listener.set_context(&self.context);
    }
}
