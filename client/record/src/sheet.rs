//! The harp's sheet: what belongs to the harp and its player for good.

use consort_proto::Harp;

use crate::allowance::Letters;
use crate::date::Date;

/// How the tuning pins are held; it belongs to the harp and decides what may be done to a pin that slips.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub enum Pins {
    /// Tapered pins in tapered holes, held by the wedge alone: pushing in while turning makes them hold.
    #[default]
    Tapered,
    /// Threaded pins, as some lever harps have them: never to be pushed.
    Threaded,
}

/// How much a harp is played, which decides how long its strings serve.
#[derive(Clone, Copy, Debug, Default, Eq, PartialEq)]
pub enum Player {
    /// A whole set at least once a year.
    Professional,
    /// A whole set about every three years.
    #[default]
    Student,
    /// A whole set about every five years.
    Amateur,
}

impl Pins {
    /// The word that files and orders use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Tapered => "tapered",
            Self::Threaded => "threaded",
        }
    }

    /// The kind that `word` names.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Tapered, Self::Threaded]
            .into_iter()
            .find(|pins| pins.word() == word)
    }
}

impl Player {
    /// The word that files and orders use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Professional => "professional",
            Self::Student => "student",
            Self::Amateur => "amateur",
        }
    }

    /// The player that `word` names.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Professional, Self::Student, Self::Amateur]
            .into_iter()
            .find(|player| player.word() == word)
    }
}

/// What belongs to a harp for good.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// Its name and strings.
    pub harp: Harp,
    /// How its pins are held.
    pub pins: Pins,
    /// Who plays it.
    pub player: Player,
    /// The day it was made, if known: nothing was fitted before.
    pub made: Option<Date>,
    /// Nothing unbroken is replaced within so many days before a concert; at most [`CONCERT_DAYS_MAX`].
    pub concert_days: u8,
    /// The letters whose open strings make allowance for their discs or levers.
    pub allowed: Letters,
}

/// Days before a concert that are left alone where nobody says otherwise (common practice, no source).
pub const CONCERT_DAYS: u8 = 10;
/// The most days before a concert that can be left alone.
pub const CONCERT_DAYS_MAX: u8 = 60;

impl Sheet {
    /// The sheet of a harp of which nothing else is known.
    pub fn of(harp: Harp) -> Self {
        Self {
            harp,
            pins: Pins::default(),
            player: Player::default(),
            made: None,
            concert_days: CONCERT_DAYS,
            allowed: Letters::default(),
        }
    }
}
