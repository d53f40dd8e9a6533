//! What the listener reports: onsets, tracks, readings, refusals and the state of the input.

use consort_proto::{Cents, Hz, SampleRate};

/// A moment in the sound, counted in samples of the input since the listener was made.
#[derive(Clone, Copy, Debug, Default, Eq, Ord, PartialEq, PartialOrd)]
pub struct SampleTime(pub u64);

impl SampleTime {
    /// Seconds since the listener was made.
    pub fn seconds(self, rate: SampleRate) -> f64 {
        self.0 as f64 / f64::from(rate.get())
    }

    /// Seconds that passed since `earlier`; negative when it lies ahead.
    pub fn seconds_since(self, earlier: Self, rate: SampleRate) -> f64 {
        self.seconds(rate) - earlier.seconds(rate)
    }
}

/// Something the listener noticed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Heard {
    /// Something began to sound; a reading or a refusal with the same onset follows, unless it is one of a run
    /// ([`crate::Order::Run`]).
    Onset(Onset),
    /// Where the string that sounds stands just now, while its pin may be turning.
    Track(Track),
    /// What the reading will be, as far as can be told yet.
    Provisional(Reading),
    /// A pluck was measured.
    Settled(Reading),
    /// A pluck was measured, but the best guess should not be relied on.
    Unsure(Reading, Doubt),
    /// What began to sound was not a string that can be read.
    Refused(Refused),
    /// The state of the input changed.
    Input(Health),
}

/// The beginning of a sound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Onset {
    /// When the sound began.
    pub onset: SampleTime,
    /// When the listener knew.
    pub time: SampleTime,
    /// Level of the first moments, decibels below full scale (root mean square of a full-scale square wave).
    pub level_dbfs: f64,
}

/// The pitch of the string that sounds, over the last few hundredths of a second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Track {
    /// Onset of the pluck that is followed.
    pub onset: SampleTime,
    /// Up to when the sound was used.
    pub time: SampleTime,
    /// Number of the string, from 1 at the top.
    pub string: u8,
    /// Pitch of the string just now.
    pub hz: Hz,
    /// Standard deviation of the pitch.
    pub sigma: Cents,
}

/// One pluck, measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// When the string was plucked.
    pub onset: SampleTime,
    /// When this answer stood: it uses no later sample.
    pub time: SampleTime,
    /// Number of the string, from 1 at the top.
    pub string: u8,
    /// Frequency of the first partial in the fitted stiff-string model, f₀·√(1 + B), as the mean over 0.15 to 1.5 s
    /// after the pluck weighted by energy; an earlier answer predicts that value.
    pub hz: Hz,
    /// Standard deviation of the pitch, all known causes together.
    pub sigma: Cents,
    /// How far the pitch moved from the first to the second half of the time measured; negative when it fell.
    pub glide: Cents,
    /// B of fₙ = n·f₀·√(1 + B·n²), dimensionless.
    pub inharmonicity: f64,
    /// Level of the first 0.1 s, decibels below full scale (root mean square of a full-scale square wave).
    pub level_dbfs: f64,
    /// The same beyond what sounded before, decibels below full scale: how loud the string is itself, whatever rings on beside
    /// it. Where the most of it rang before, its own partials beyond what was at their places; in a run, where that is not told,
    /// `level_dbfs`.
    pub own_dbfs: f64,
    /// What it sounds like beside that.
    pub timbre: Timbre,
}

/// What a pluck sounds like beside its pitch. Until a reading is final, only its partials are told.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Timbre {
    /// Where its partials lie.
    pub partials: Partials,
    /// How fast the first partial beats with itself, hertz, as most partials show, each in proportion to its number;
    /// `None` where they die away smoothly, or too little of them was heard alone.
    pub beat_hz: Option<f64>,
    /// Time in which the amplitude of the lowest three partials together falls to 1/e, seconds; `None` where the string
    /// did not sound alone for a quarter of a second.
    pub decay_s: Option<f64>,
    /// Power of partials 4 to 10 against that of the first three from 0.1 to 0.5 s after the pluck, decibels; `None`
    /// where another string was plucked before, or the input does not reach so high.
    pub brightness_db: Option<f64>,
}

/// The partials of a pluck from the second on, as far as they were heard: how far each lies above that many times the
/// pitch, and one standard deviation of that, cents.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Partials([Option<(f32, f32)>; Self::COUNT]);

impl Partials {
    /// The highest partial that is told.
    pub const HIGHEST: usize = 8;
    const COUNT: usize = Self::HIGHEST - 1;

    /// Tells that partial `n` lies `above` that many times the pitch; one that is not told of is left out.
    pub(crate) fn set(&mut self, n: usize, above: Cents, sigma: Cents) {
        if let Some(place) = n.checked_sub(2).and_then(|place| self.0.get_mut(place)) {
            *place = Some((above.0 as f32, sigma.0 as f32));
        }
    }

    /// The partials that were heard: number, distance, standard deviation.
    pub fn iter(&self) -> impl Iterator<Item = (u8, Cents, Cents)> {
        let told = |(above, sigma): (f32, f32)| (Cents(f64::from(above)), Cents(f64::from(sigma)));
        (2..).zip(self.0).filter_map(move |(n, partial)| {
            let (above, sigma) = told(partial?);
            Some((n, above, sigma))
        })
    }
}

/// Why a reading should not be relied on.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum Doubt {
    /// The pitch fits another string nearly as well.
    Which,
    /// The pitch lies far from every string's target.
    FarFromAll,
    /// The partials do not agree on one pitch closely enough.
    Scattered,
    /// The string moved while it sounded: its pin was turned.
    Turned,
    /// Too little of the sound stands above what surrounds it.
    Faint,
    /// It is much softer than the strings of this harp usually are: another harp, perhaps.
    Soft,
    /// The sound ended before it could be measured.
    TooShort,
    /// A good part of the sound belongs to something else, such as another string plucked at the same time.
    NotAlone,
}

/// A sound that gives no reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Refused {
    /// When the sound began.
    pub onset: SampleTime,
    /// When it was refused.
    pub time: SampleTime,
    /// Why.
    pub why: Refusal,
}

/// Why a sound gives no reading.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
#[non_exhaustive]
pub enum Refusal {
    /// It holds no partials of a string: a knock, a pedal, a rustle.
    NoPitch,
    /// Its partials are not those of any expected string: speech, another instrument.
    NotAString,
    /// It is far softer than the strings of this harp usually are: another harp, another player.
    TooSoft,
    /// It ended within a tenth of a second: a damped string, a knock.
    Stopped,
    /// It is the swell of something that sounded before.
    NotNew,
    /// More sounds began at the same time than can be told apart.
    TooMany,
}

/// Whether the input carries sound that can be used.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
#[non_exhaustive]
pub enum Health {
    /// Nothing is wrong, as far as can be told.
    #[default]
    Good,
    /// Nothing arrives: a muted or unplugged input.
    Silent,
    /// The loudest samples are cut off: the gain is too high.
    Clipped,
    /// Mains hum of this many hertz drowns everything else: a cable or its earth.
    Humming(u8),
}
