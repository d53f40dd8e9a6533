//! Checks by listening: what to pluck, what to listen for, and what it means that it sounds otherwise than it should.
//!
//! Pure: a check is made for a harp and what it is tuned to, is told what was heard, and says what comes of it. Hearing
//! itself is elsewhere.

mod check;
mod meaning;

use consort_proto::{Cents, StringNumber};
use consort_words::Key;

pub use check::{Asks, Check, How, NoCheck, Sound};
pub use meaning::{Meaning, Outcome};

/// What is compared with what.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub enum Kind {
    /// A string and the one an octave above, together.
    Octave,
    /// A string and the one a fifth above, together.
    Fifth,
    /// A string and the one a fourth above, together.
    Fourth,
    /// A string's harmonic, and then the string an octave above.
    Harmonic,
    /// A string raised by its disc or lever, and then the string that sounds the same by itself.
    Enharmonic,
    /// Eight strings upward, one after another.
    Scale,
}

/// What spoils a check, and that it goes on when it is plucked anew.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Trouble {
    /// Only this string of two sounds.
    Only(StringNumber),
    /// Something else was plucked than what is asked for.
    Other,
    /// What was plucked lies whole semitones off: a pedal or lever stands elsewhere than it should.
    Semitones(StringNumber),
    /// The sound was too short.
    Short,
    /// The strings are too low.
    Low,
}

/// A check under way.
#[derive(Clone, Debug, PartialEq)]
pub struct Listening {
    check: Check,
    /// How far above what is expected each sound was heard, in the order in which they are plucked.
    heard: Vec<Cents>,
    outcome: Option<Outcome>,
    trouble: Option<Trouble>,
}

/// A sound that lies further from what is expected is another one, cents.
const NEAR_CENTS: f64 = 45.0;
/// Whole semitones are recognised to this, cents.
const SEMITONE_CENTS: f64 = 30.0;

impl Kind {
    /// All, in the order in which they are offered.
    pub const ALL: [Self; 6] = [
        Self::Octave,
        Self::Fifth,
        Self::Fourth,
        Self::Harmonic,
        Self::Enharmonic,
        Self::Scale,
    ];

    /// The word by which programs know it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Octave => "octave",
            Self::Fifth => "fifth",
            Self::Fourth => "fourth",
            Self::Harmonic => "harmonic",
            Self::Enharmonic => "enharmonic",
            Self::Scale => "scale",
        }
    }

    /// The kind of this word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// What to listen for.
    pub const fn listen_for(self) -> Key {
        match self {
            Self::Octave => Key::ListenForOctave,
            Self::Fifth => Key::ListenForFifth,
            Self::Fourth => Key::ListenForFourth,
            Self::Harmonic => Key::ListenForHarmonic,
            Self::Enharmonic => Key::ListenForEnharmonic,
            Self::Scale => Key::ListenForScale,
        }
    }
}

impl Listening {
    /// Nothing heard yet of `check`.
    pub const fn new(check: Check) -> Self {
        Self {
            check,
            heard: Vec::new(),
            outcome: None,
            trouble: None,
        }
    }

    /// What is checked.
    pub const fn check(&self) -> &Check {
        &self.check
    }

    /// How far above what is expected the sounds were that have been heard.
    pub fn heard(&self) -> &[Cents] {
        &self.heard
    }

    /// What came of it, once all is heard.
    pub const fn outcome(&self) -> Option<&Outcome> {
        self.outcome.as_ref()
    }

    /// What spoilt the last pluck.
    pub const fn trouble(&self) -> Option<Trouble> {
        self.trouble
    }

    /// The sound that is to be plucked next, where they are plucked one after another.
    pub fn next(&self) -> Option<&Sound> {
        match self.check.asks() {
            Asks::Together { .. } => None,
            Asks::InTurn(sounds) => sounds.get(self.heard.len()),
        }
    }

    /// Both strings beat so often in a second, with that uncertainty; `in_tune` says whether a string is in tune by
    /// itself, where that is known.
    pub fn beats(&mut self, found: f64, sigma: f64, in_tune: impl Fn(StringNumber) -> Option<bool>) {
        self.trouble = None;
        self.outcome = meaning::of_beats(&self.check, found, sigma, in_tune);
    }

    /// A single sound of pitch `hz` was heard. One that is asked for is kept, and after the last one the first begins anew.
    ///
    /// What came of a check stands until then: a stray sound, or the last string heard once more, takes nothing from it.
    pub fn sound(&mut self, hz: consort_proto::Hz, in_tune: impl Fn(StringNumber) -> Option<bool>) {
        let Asks::InTurn(sounds) = self.check.asks() else {
            return;
        };
        let is_done = self.heard.len() == sounds.len();
        let Some(sound) = sounds.get(if is_done { 0 } else { self.heard.len() }) else {
            return;
        };
        let off = hz.cents_above(sound.hz);
        if off.0.abs() <= NEAR_CENTS {
            if is_done {
                self.heard.clear();
            }
            self.trouble = None;
            self.heard.push(off);
            self.outcome = meaning::of_sounds(&self.check, &self.heard, in_tune);
            return;
        }
        let semitones = (off.0 / 100.0).round();
        let whole = semitones.abs() <= 2.0 && (off.0 - 100.0 * semitones).abs() <= SEMITONE_CENTS;
        if whole {
            self.trouble = Some(Trouble::Semitones(sound.string));
        } else if !is_done {
            self.trouble = Some(Trouble::Other);
        }
    }

    /// Something spoilt the pluck.
    pub fn spoilt(&mut self, trouble: Trouble) {
        self.trouble = Some(trouble);
    }
}

#[cfg(test)]
mod tests;
