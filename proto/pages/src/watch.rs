//! What all harps tell together: what the room did to them, which A would cost least, and how old what they reported is.

use std::time::Duration;

use consort_proto::{Age, Material, ReferencePitch, RoomMove};
use consort_words::{Arg, Key, Words};

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

/// A confirmation as old as this is worth another pluck before the performance (common practice, no source).
const FADES_AFTER: Duration = Duration::from_secs(10 * 60);

/// What the room did, in a sentence.
pub fn room_says(moved: &RoomMove, words: &Words) -> String {
    let material = match moved.material {
        Material::Gut => Key::MaterialGut,
        Material::Nylon => Key::MaterialNylon,
        Material::Fluorocarbon => Key::MaterialFluorocarbon,
        Material::Wire => Key::MaterialWire,
    };
    let key = if moved.cents.0 < 0.0 {
        Key::RoomFell
    } else {
        Key::RoomRose
    };
    let args = [
        ("material", Arg::from(words.say(material, &[]))),
        ("cents", Arg::from(format!("{:.1}", moved.cents.0.abs()))),
        ("harps", Arg::from(moved.harps)),
        ("of", Arg::from(moved.of)),
        ("time", Arg::from(words.time(moved.since))),
    ];
    words.say(key, &args)
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

/// That it is to be confirmed, or has faded, in words; `None` while it is fresh.
pub fn age_says(age: &Age, words: &Words) -> Option<String> {
    let ago = |key, ago| words.say(key, &[("time", Arg::from(words.time(ago)))]);
    let faded = age.confirmed.filter(|&confirmed| confirmed >= FADES_AFTER);
    let to_confirm = age.to_confirm.map(|ready| ago(Key::BoardToConfirm, ready));
    to_confirm.or_else(|| faded.map(|confirmed| ago(Key::BoardConfirmedAgo, confirmed)))
}
