//! What can be wrong with an input, and what a harpist can do about it.

use consort_words::{Arg, Key, Words};

/// Something about the input that spoils readings, the gravest first.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub enum Trouble {
    /// Nothing arrives.
    Silent,
    /// The loudest samples are cut off.
    Clipped,
    /// Mains hum of this many hertz drowns everything else.
    Humming(u8),
    /// It seems to be a headset without a cable.
    Headset,
    /// It is what the computer plays.
    Playback,
    /// Something takes away what it holds for noise.
    Suppressed,
    /// Something keeps changing the level.
    Levelled,
    /// The room is nearly as loud as the strings.
    LoudRoom,
    /// It seems to be the computer's own microphone.
    BuiltIn,
}

impl Trouble {
    /// The word by which programs know it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Silent => "silent",
            Self::Clipped => "clipped",
            Self::Humming(_) => "humming",
            Self::Headset => "headset",
            Self::Playback => "playback",
            Self::Suppressed => "suppressed",
            Self::Levelled => "levelled",
            Self::LoudRoom => "loud-room",
            Self::BuiltIn => "built-in",
        }
    }

    /// What is wrong and what to do, in one or two sentences.
    pub fn sentence(self, words: &Words) -> String {
        let key = match self {
            Self::Silent => Key::InputSilent,
            Self::Clipped => Key::InputClipped,
            Self::Humming(hz) => return words.say(Key::InputHumming, &[("hz", Arg::from(u32::from(hz)))]),
            Self::Headset => Key::InputHeadset,
            Self::Playback => Key::InputPlayback,
            Self::Suppressed => Key::InputSuppressed,
            Self::Levelled => Key::InputLevelled,
            Self::LoudRoom => Key::InputLoudRoom,
            Self::BuiltIn => Key::InputBuiltIn,
        };
        words.say(key, &[])
    }

    /// Whether strings cannot be read well before something is done about it; else it is only to be known.
    pub const fn is_urgent(self) -> bool {
        !matches!(self, Self::BuiltIn)
    }
}
