//! What a harpist does and what is true of it, one line of JSON for each deed.

use serde::Serialize;

/// A deed and when it was done.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Done {
    /// Seconds of sound since the beginning.
    pub time_s: f64,
    /// What was done.
    #[serde(flatten)]
    pub deed: Deed,
}

/// Something that a harpist does.
///
/// Strings are numbered from the top; `cents` is how far a string's true pitch lies above its target.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "deed", rename_all = "kebab-case")]
pub enum Deed {
    /// She plucked a string.
    Plucked {
        /// The string.
        string: u8,
        /// The true pitch of this pluck, hertz.
        hz: f64,
        /// How far that lies above the target.
        cents: f64,
    },
    /// She turned a pin.
    Turned {
        /// The string that the pin belongs to.
        string: u8,
        /// The string that she meant.
        meant: u8,
        /// How far, degrees; up is positive.
        degrees: f64,
        /// What she had read.
        advice: String,
        /// Where the string then stands.
        cents: f64,
    },
    /// She found the key on another string's pin.
    FoundWrongPin {
        /// The string that she meant.
        meant: u8,
        /// The string that she had turned.
        turned: u8,
    },
    /// She moved a pedal.
    MovedPedal {
        /// Its letter.
        letter: String,
        /// Where it now stands: 0 flat, 1 natural, 2 sharp.
        position: u8,
    },
    /// She moved a lever.
    MovedLever {
        /// The string.
        string: u8,
    },
    /// She read that a string holds, and went on.
    Believed {
        /// The string.
        string: u8,
        /// Where it truly stands.
        cents: f64,
    },
    /// She read that a string is to be left, and went on.
    LeftIt {
        /// The string.
        string: u8,
        /// Where it truly stands.
        cents: f64,
    },
    /// She read about another string than the one she had plucked.
    ReadOfAnother {
        /// The string that she had plucked.
        string: u8,
        /// The string that she read of.
        read: u8,
        /// What she read.
        advice: String,
    },
    /// She read nothing new about the string that she had plucked.
    ReadNothing {
        /// The string.
        string: u8,
        /// What stood there.
        advice: String,
    },
    /// She gave a string up for now.
    GaveUp {
        /// The string.
        string: u8,
        /// Where it truly stands.
        cents: f64,
    },
    /// She plays all strings once more.
    Checks,
    /// She has finished.
    Finished {
        /// Whether she had read that all is set.
        all_set: bool,
    },
}
