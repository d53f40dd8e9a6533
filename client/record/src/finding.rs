//! Findings: what is wrong, how that is known, and since when.

use consort_proto::{Cents, Letter, Material, StringNumber};

use crate::date::Date;
use crate::entry::Place;
use crate::plan::When;

/// One thing that the record says.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// What it is about.
    pub about: About,
    /// What is wrong, with its evidence.
    pub cause: Cause,
    /// The day from which on it shows.
    pub since: Date,
    /// How likely it is the cause, 0 to 1, as far as the record can tell.
    pub likely: f64,
}

/// What a finding is about.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub enum About {
    /// One string.
    String(StringNumber),
    /// The strings of one letter.
    Letter(Letter),
    /// The strings of one material.
    Material(Material),
}

/// What is wrong, with the numbers that say so.
#[derive(Clone, Debug, PartialEq)]
pub enum Cause {
    /// The pin gives way in steps, whatever the weather.
    SlippingPin {
        /// How often it was found fallen.
        falls: u32,
        /// The least and the most that it fell from one tuning to the next.
        least: Cents,
        /// The most.
        most: Cents,
        /// The day on which its pin was pushed in before this began, if that was not long ago.
        pushed: Option<Date>,
        /// How far the others of its material moved in the same time, in the middle, the most of one tuning.
        others: Cents,
    },
    /// The string is uneven.
    FalseString {
        /// How far its octave harmonic lies from what a string as stiff as it would have.
        octave: Cents,
        /// The partial that lies furthest off the curve, and how far.
        worst: (u8, Cents),
        /// How fast it beats with itself, cents; absent where it does not.
        beats: Option<Cents>,
        /// It was even before.
        worn: bool,
        /// Its readings scatter although nothing moved.
        scatters: bool,
        /// Strings that were cut from the same length.
        sisters: Vec<StringNumber>,
        /// A concert is so near that the string should stay.
        concert: Option<Date>,
    },
    /// It was put on lately and stretches.
    NewString {
        /// When it was put on.
        fitted: Date,
        /// How far it fell from tuning to tuning, newest last.
        falls: Vec<Cents>,
        /// When it should hold.
        holds_on: Date,
        /// Days either way.
        within_days: u32,
        /// Whether anybody wrote down that it was put on.
        noted: bool,
    },
    /// Strings that were put on together and stretch.
    NewStrings {
        /// When they were put on.
        fitted: Date,
        /// How many.
        strings: usize,
        /// When the last of them should hold.
        holds_on: Date,
        /// Days either way.
        within_days: u32,
    },
    /// Its pin was turned once by mistake.
    Turned {
        /// How far.
        by: Cents,
    },
    /// It is too thick or too thin for its place.
    WrongGauge {
        /// When it was put on.
        fitted: Date,
        /// Its stiffness against what it should be.
        stiffness: f64,
        /// How long it rings against the string before it, where both were heard.
        rings: Option<f64>,
        /// How much sharper its step of one semitone is, where that was tried.
        step: Option<Cents>,
        /// Whether it is too thick.
        thick: bool,
    },
    /// A pedal is out of regulation.
    Pedal {
        /// 1 for natural, 2 for sharp.
        position: u8,
        /// How far.
        by: Cents,
        /// Strings that say so.
        strings: usize,
    },
    /// The disc or lever of one string is out of regulation, or the string is worn where it grips.
    Step {
        /// 1 or 2.
        position: u8,
        /// How far.
        by: Cents,
    },
    /// The room moved all strings of a material.
    Room {
        /// How far.
        by: Cents,
        /// How many of its strings moved that way, of how many.
        along: usize,
        /// How many were heard.
        strings: usize,
        /// Humidity before and after, percent, where known.
        humidity: Option<(f64, f64)>,
        /// Temperature before and after, degrees, where known.
        temperature: Option<(f64, f64)>,
        /// Whether the harp was moved in between, where anything says so.
        moved: Option<Moved>,
    },
    /// Strings that have served their time.
    Old {
        /// Which, from the top.
        strings: Vec<StringNumber>,
        /// The least and the most months that they have been on.
        months: (u32, u32),
        /// The least and the most months that are usual for their places and this player.
        usual: (u32, u32),
        /// When the first of them is to be replaced.
        when: When,
    },
    /// Its upper partials have gone.
    Dull {
        /// By how much, decibels.
        db: f64,
        /// When it is to be replaced.
        when: When,
    },
    /// Something is wrong with it, and another tuning or two will tell what.
    TooEarly {
        /// Tunings that show it.
        tunings: u32,
    },
}

/// What says that the harp was moved from one tuning to the next.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Moved {
    /// Somebody wrote it down.
    Noted,
    /// The tunings have other places, which may be two names of one room.
    Elsewhere {
        /// The place of the tuning before.
        before: Place,
        /// The place of the newest one.
        now: Place,
    },
}

impl Cause {
    /// The word by which programs know it.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::SlippingPin { .. } => "slipping-pin",
            Self::FalseString { .. } => "false-string",
            Self::NewString { .. } => "new-string",
            Self::NewStrings { .. } => "new-strings",
            Self::Turned { .. } => "turned",
            Self::WrongGauge { .. } => "wrong-gauge",
            Self::Pedal { .. } => "pedal",
            Self::Step { .. } => "step",
            Self::Room { .. } => "room",
            Self::Old { .. } => "old",
            Self::Dull { .. } => "dull",
            Self::TooEarly { .. } => "too-early",
        }
    }

    /// In which order a harpist should read it: what wants doing first, what passes by itself last.
    const fn rank(&self) -> u8 {
        match self {
            Self::SlippingPin { .. } => 0,
            Self::FalseString { .. } => 1,
            Self::WrongGauge { .. } => 2,
            Self::Pedal { .. } => 3,
            Self::Step { .. } => 4,
            Self::Turned { .. } => 5,
            Self::NewString { .. } | Self::NewStrings { .. } => 6,
            Self::Dull { .. } => 7,
            Self::Old { .. } => 8,
            Self::Room { .. } => 9,
            Self::TooEarly { .. } => 10,
        }
    }
}

impl Finding {
    /// What sorts findings for a reader: what wants doing first.
    pub const fn order(&self) -> (u8, About) {
        (self.cause.rank(), self.about)
    }
}
