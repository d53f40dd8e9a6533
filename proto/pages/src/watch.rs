//! What all harps tell together: what the room did to them, which A would cost least, and how old what they reported is.

use std::time::Duration;

use consort_proto::{Cents, Material, ReferencePitch};
use consort_words::{Arg, Key, Words};

/// What the strings of one material did on most harps since they were set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RoomMoved {
    /// The material.
    pub material: Material,
    /// How far they moved; negative when they fell.
    pub cents: Cents,
    /// Harps on which they did.
    pub harps: usize,
    /// Harps on which they were heard again.
    pub of: usize,
    /// How long ago they had been left.
    pub since: Duration,
}

/// The A that would cost the ensemble least, as its harps are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CheapestPitch {
    /// The pitch.
    pub a4: ReferencePitch,
    /// Strings that would have to be turned.
    pub strings: usize,
    /// How long the harp with most of them takes.
    pub takes: Duration,
}

/// How old it is what a harp last reported.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Age {
    /// How long ago the oldest of the strings that hold was last plucked; `None` where that is not known.
    pub confirmed: Option<Duration>,
    /// How long ago the harp was ready, when that has to be confirmed in a new round.
    pub to_confirm: Option<Duration>,
}

/// A confirmation as old as this is worth another pluck before the performance (common practice, no source).
const FADES_AFTER: Duration = Duration::from_secs(10 * 60);

impl RoomMoved {
    /// What the room did, in a sentence.
    pub fn says(&self, words: &Words) -> String {
        let material = match self.material {
            Material::Gut => Key::MaterialGut,
            Material::Nylon => Key::MaterialNylon,
            Material::Fluorocarbon => Key::MaterialFluorocarbon,
            Material::Wire => Key::MaterialWire,
        };
        let key = if self.cents.0 < 0.0 {
            Key::RoomFell
        } else {
            Key::RoomRose
        };
        let args = [
            ("material", Arg::from(words.say(material, &[]))),
            ("cents", Arg::from(format!("{:.1}", self.cents.0.abs()))),
            ("harps", Arg::from(self.harps)),
            ("of", Arg::from(self.of)),
            ("time", Arg::from(words.time(self.since))),
        ];
        words.say(key, &args)
    }
}

impl CheapestPitch {
    /// What it would cost, in a sentence.
    pub fn says(&self, words: &Words) -> String {
        let args = [
            ("pitch", Arg::from(self.a4.hz().get().to_string())),
            ("strings", Arg::from(self.strings)),
            ("time", Arg::from(words.time(self.takes))),
        ];
        words.say(Key::CheapestLine, &args)
    }
}

impl Age {
    /// That it is to be confirmed, or has faded, in words; `None` while it is fresh.
    pub fn says(&self, words: &Words) -> Option<String> {
        let ago = |key, ago| words.say(key, &[("time", Arg::from(words.time(ago)))]);
        let faded = self.confirmed.filter(|&confirmed| confirmed >= FADES_AFTER);
        let to_confirm = self.to_confirm.map(|ready| ago(Key::BoardToConfirm, ready));
        to_confirm.or_else(|| faded.map(|confirmed| ago(Key::BoardConfirmedAgo, confirmed)))
    }
}
