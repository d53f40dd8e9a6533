//! What a record is made of: readings, fittings, events, weather, concerts.

use consort_proto::{Cents, Material, Reading, StringNumber};

use crate::date::{Date, Moment};

/// Where the harp stood: the hall is not home.
#[derive(Clone, Debug, Default, Eq, Ord, PartialEq, PartialOrd)]
pub struct Place(String);

/// One settled reading of a tuning.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// When the string was plucked.
    pub at: Moment,
    /// 0 for the open string, 1 and 2 for one and two semitones of disc or lever.
    pub position: u8,
    /// String, hertz and uncertainty.
    pub reading: Reading,
    /// What the pluck sounded like besides; absent where it was not measured.
    pub timbre: Option<Timbre>,
}

/// What one pluck sounded like, beside its pitch.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Timbre {
    /// Partials above the first, in order.
    pub partials: Vec<Partial>,
    /// How fast one partial beats with itself, hertz; absent where no beating was found.
    pub beat_hz: Option<f64>,
    /// Time in which the sound falls to 1/e, seconds.
    pub decay_s: Option<f64>,
    /// Level of the partials from the fourth on against the first three, decibels.
    pub brightness_db: Option<f64>,
    /// How far the pitch moved from the first to the second half of the time in which it was measured, negative when it
    /// fell; absent where it was not kept.
    pub glide: Option<Cents>,
}

/// One partial of a pluck.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Partial {
    /// Its number, from 2 on.
    pub number: u8,
    /// How far it lies above that many times the first partial.
    pub above: Cents,
    /// One standard deviation of that.
    pub sigma: Cents,
}

/// A string that was put on.
#[derive(Clone, Debug, PartialEq)]
pub struct Fitting {
    /// Which place on the harp.
    pub string: StringNumber,
    /// The day.
    pub on: Date,
    /// What it is made of.
    pub material: Material,
    /// Diameter, millimetres, if known.
    pub gauge_mm: Option<f64>,
    /// The name of the bought length that it was cut from, as `3E-2026-a`: a bad piece spoils its sisters.
    pub length: Option<String>,
}

/// Something that was done to the harp.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// The day.
    pub on: Date,
    /// What.
    pub deed: Deed,
    /// In the harpist's own words; may be empty.
    pub note: String,
}

/// What can be done to a harp.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Deed {
    /// All strings were renewed.
    Restrung,
    /// The harp was moved to another place.
    Moved,
    /// A technician regulated discs or levers.
    Regulated,
    /// The pin of one string was pushed in.
    PinPushed(StringNumber),
    /// A string broke.
    Broke(StringNumber),
    /// A remark about one string or the whole harp.
    Remark(Option<StringNumber>),
}

impl Deed {
    /// The word that files and orders use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Restrung => "restrung",
            Self::Moved => "moved",
            Self::Regulated => "regulated",
            Self::PinPushed(_) => "pin-pushed",
            Self::Broke(_) => "broke",
            Self::Remark(_) => "remark",
        }
    }

    /// The string that it was done to, if it was one.
    pub const fn string(self) -> Option<StringNumber> {
        match self {
            Self::PinPushed(string) | Self::Broke(string) => Some(string),
            Self::Remark(string) => string,
            Self::Restrung | Self::Moved | Self::Regulated => None,
        }
    }

    /// The deed that `word` names, done to `string`.
    pub fn from_word(word: &str, string: Option<StringNumber>) -> Option<Self> {
        match (word, string) {
            ("restrung", None) => Some(Self::Restrung),
            ("moved", None) => Some(Self::Moved),
            ("regulated", None) => Some(Self::Regulated),
            ("pin-pushed", Some(string)) => Some(Self::PinPushed(string)),
            ("broke", Some(string)) => Some(Self::Broke(string)),
            ("remark", string) => Some(Self::Remark(string)),
            _ => None,
        }
    }
}

/// The room at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Climate {
    /// When.
    pub at: Moment,
    /// Degrees Celsius, −30 to 60.
    pub temperature_c: Option<f64>,
    /// Relative humidity in percent, 0 to 100.
    pub humidity_percent: Option<f64>,
}

/// A day on which the harp has to hold.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct Concert {
    /// The day.
    pub on: Date,
    /// What people call it.
    pub name: String,
}

/// Why something cannot be an entry.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NotAnEntry {
    /// It happens after today.
    #[error("{on} has not come yet: today is {today}")]
    InTheFuture {
        /// The day given.
        on: Date,
        /// Today.
        today: Date,
    },
    /// The harp did not exist.
    #[error("{on} was before the harp was made on {made}")]
    BeforeTheHarp {
        /// The day given.
        on: Date,
        /// When the harp was made.
        made: Date,
    },
    /// The harp was there before it was made.
    #[error("the harp cannot have been made on {made}: its record speaks of it on {on}")]
    MadeLater {
        /// The day given.
        made: Date,
        /// The first day that is known.
        on: Date,
    },
    /// The harp has no such string.
    #[error("the harp has {strings} strings, and no string {string}")]
    NoSuchString {
        /// The string given.
        string: StringNumber,
        /// How many there are.
        strings: usize,
    },
    /// No air is that humid.
    #[error("a humidity of {0} % is none: it lies between 0 and 100")]
    Humidity(f64),
    /// No room with a harp is that warm or cold.
    #[error("a temperature of {0} °C is none of a room with a harp: it lies between −30 and 60")]
    Temperature(f64),
    /// No string is that thick.
    #[error("a string of {0} mm is none: it lies between 0.2 and 5")]
    Gauge(f64),
    /// No length yields so many strings.
    #[error("a length of {0} strings is none: it yields between 1 and {max}", max = crate::shelf::YIELDS_MAX)]
    Yields(u32),
    /// A length without a name could not be named by what was cut from it.
    #[error("a length needs a name, as in 3E-2026-a")]
    Nameless,
    /// A disc or lever has no such position.
    #[error("position {0} is none: 0 is the open string, 1 and 2 are one and two semitones")]
    Position(u8),
    /// So many days before every concert leave no time to replace anything.
    #[error("{0} days before a concert cannot be left alone: it is at most {max}", max = crate::sheet::CONCERT_DAYS_MAX)]
    ConcertDays(u32),
    /// Text that is too long or hides something.
    #[error("a text has at most {TEXT_MAX} characters, none of them invisible")]
    Text,
}

/// The most characters in a note, a place or a length.
pub const TEXT_MAX: usize = 400;

impl Place {
    /// The place called `name`.
    pub fn new(name: &str) -> Result<Self, NotAnEntry> {
        text(name).map(Self)
    }

    /// Its name; empty where nobody said.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// `text` without blanks around it, if a person can read all of it.
pub fn text(text: &str) -> Result<String, NotAnEntry> {
    let text = text.trim();
    if text.chars().count() > TEXT_MAX || text.chars().any(char::is_control) {
        return Err(NotAnEntry::Text);
    }
    Ok(text.to_owned())
}

impl Climate {
    /// The room at `at`.
    pub fn new(at: Moment, temperature_c: Option<f64>, humidity_percent: Option<f64>) -> Result<Self, NotAnEntry> {
        if let Some(warm) = temperature_c.filter(|warm| !(-30.0..=60.0).contains(warm)) {
            return Err(NotAnEntry::Temperature(warm));
        }
        if let Some(humid) = humidity_percent.filter(|humid| !(0.0..=100.0).contains(humid)) {
            return Err(NotAnEntry::Humidity(humid));
        }
        Ok(Self {
            at,
            temperature_c,
            humidity_percent,
        })
    }
}

impl Fitting {
    /// Checks the numbers of a fitting; whether day and string belong to the harp is [`crate::Sheet`]'s to say.
    pub fn checked(self) -> Result<Self, NotAnEntry> {
        if let Some(gauge) = self.gauge_mm.filter(|gauge| !(0.2..=5.0).contains(gauge)) {
            return Err(NotAnEntry::Gauge(gauge));
        }
        let length = self.length.as_deref().map(text).transpose()?;
        Ok(Self { length, ..self })
    }
}

/// So many days before a concert, if that many can be left alone.
pub fn concert_days(days: u32) -> Result<u8, NotAnEntry> {
    let few = u8::try_from(days)
        .ok()
        .filter(|&days| days <= crate::sheet::CONCERT_DAYS_MAX);
    few.ok_or(NotAnEntry::ConcertDays(days))
}

impl crate::Sheet {
    /// Whether something can have happened to `string` on the day `on`, seen from `today`.
    pub fn admits(&self, on: Date, string: Option<StringNumber>, today: Date) -> Result<(), NotAnEntry> {
        self.admits_bought(on, string, today)?;
        match self.made.filter(|&made| on < made) {
            Some(made) => Err(NotAnEntry::BeforeTheHarp { on, made }),
            None => Ok(()),
        }
    }

    /// The same of something bought for `string`, as it may have been before the harp was made.
    pub fn admits_bought(&self, on: Date, string: Option<StringNumber>, today: Date) -> Result<(), NotAnEntry> {
        if on > today {
            return Err(NotAnEntry::InTheFuture { on, today });
        }
        match string.filter(|&string| self.harp.string(string).is_none()) {
            Some(string) => Err(NotAnEntry::NoSuchString {
                string,
                strings: self.harp.len(),
            }),
            None => Ok(()),
        }
    }
}
