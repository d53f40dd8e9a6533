//! Pedals that do not stand in flat: how the harp sounds then, and which of its strings may be turned all the same.

use std::collections::BTreeSet;

use consort_proto::{Accidental, Cents, Harp, HarpString, Mechanism, Note, Setting, StringNumber, Tuning};
use consort_words::{Arg, Key};

use crate::Phrase;
use crate::advice::{Action, Advice, Heard, Situation, advice};

/// Where the harpist says that her pedals, or levers, stand.
#[derive(Clone, Debug, PartialEq)]
pub struct Pedals {
    setting: Setting,
    /// The harp as it sounds so: a raised string is one that stands where its disc or lever puts it.
    sounding: Harp,
    raised: BTreeSet<StringNumber>,
    /// Open strings that sound like another one.
    doubled: BTreeSet<StringNumber>,
}

/// Two strings nearer than this are not told apart by ear: enharmonic neighbours, as B in natural and C in flat.
const SAME_PITCH: Cents = Cents(50.0);

impl Pedals {
    /// The pedals of `harp` as they stand in `setting`; `None` where that leaves every string open.
    pub fn declared(harp: &Harp, setting: Setting) -> Option<Self> {
        let raised: BTreeSet<StringNumber> = harp
            .numbered()
            .filter(|(_, string)| string.position_in(setting) > 0)
            .map(|(number, _)| number)
            .collect();
        if raised.is_empty() {
            return None;
        }
        let strings = harp.strings().iter().map(|string| sounding(string, setting));
        let sounding = Harp::new(harp.name().to_owned(), harp.kind(), strings.collect()).ok()?;
        let equal = Tuning::default();
        let apart = |one: &HarpString, other: &HarpString| equal.open_target(one).cents_above(equal.open_target(other));
        let like_another = |(number, string): &(StringNumber, &HarpString)| {
            let mut others = sounding.numbered().filter(|(other, _)| other != number);
            others.any(|(_, other)| apart(string, other).is_within(SAME_PITCH))
        };
        let doubled = sounding
            .numbered()
            .filter(|(number, _)| !raised.contains(number))
            .filter(like_another)
            .map(|(number, _)| number)
            .collect();
        Some(Self {
            setting,
            sounding,
            raised,
            doubled,
        })
    }

    /// How they stand.
    pub const fn setting(&self) -> Setting {
        self.setting
    }

    /// The harp as it sounds so.
    pub const fn sounding(&self) -> &Harp {
        &self.sounding
    }

    /// Whether `string` is open and cannot be taken for another one: it may be turned, and what is heard of it counts.
    pub fn is_open(&self, string: StringNumber) -> bool {
        !self.raised.contains(&string) && !self.doubled.contains(&string)
    }
}

/// `string` as it sounds with the pedals in `setting`: nothing shortens it any further.
fn sounding(string: &HarpString, setting: Setting) -> HarpString {
    let position = string.position_in(setting);
    let semitones = string.open.accidental.semitones() + i32::from(position);
    match Accidental::from_semitones(semitones).filter(|_| position > 0) {
        Some(accidental) => HarpString {
            open: Note::new(string.open.letter, accidental, string.open.octave),
            mechanism: Mechanism::Fixed,
            regulation: [Cents(0.0); 2],
            ..*string
        },
        None => *string,
    }
}

/// How a string stands that is not to be turned as the pedals stand, or which one to pluck; `None` for an open one in hand.
pub(crate) fn about_pedals(situation: &Situation<'_>) -> Option<Advice> {
    let pedals = situation.ways.pedals.as_ref()?;
    let Some(hand) = situation.hand else {
        return Some(Advice {
            string: None,
            action: Action::Pluck,
            cents: None,
            turn: None,
            why: Phrase::plain(Key::WhyAnyString),
            place: None,
        });
    };
    if pedals.is_open(hand.string) {
        return None;
    }
    let string = situation.harp.string(hand.string)?;
    let args = || {
        vec![
            ("name", Arg::from(situation.ways.naming.of(string.open))),
            ("letter", Arg::from(string.open.letter.to_string())),
        ]
    };
    let key = match (pedals.doubled.contains(&hand.string), string.mechanism) {
        (true, _) => Key::WhySamePitch,
        (false, Mechanism::Lever) => Key::WhyRaisedLever,
        (false, Mechanism::Discs | Mechanism::Fixed) => Key::WhyRaised,
    };
    let (action, cents, why) = match hand.heard {
        Heard::Unsure => (Action::Again, None, Phrase::plain(Key::WhyUnsure)),
        Heard::Turned => (Action::Again, None, Phrase::plain(Key::WhyTurned)),
        Heard::Waits => (Action::Again, None, Phrase::plain(Key::WhyWaits)),
        Heard::Strong => (Action::Again, None, Phrase::plain(Key::WhyStrong)),
        Heard::TooSoft => (Action::Again, None, Phrase::plain(Key::WhyTooSoft)),
        Heard::Young(cents) => (Action::LetRing, Some(cents), Phrase::plain(Key::WhyYoung)),
        Heard::Live(cents) | Heard::Moved(cents) | Heard::Settled(cents) => {
            let action = if cents.is_within(situation.tolerance.of(string)) {
                Action::StandsTrue
            } else if cents.0 < 0.0 {
                Action::StandsFlat
            } else {
                Action::StandsSharp
            };
            (action, Some(cents), Phrase { key, args: args() })
        }
    };
    Some(advice(situation, hand.string, action, cents, None, why))
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::harp_file::preset;

    fn pedals(harp: &str, setting: &str) -> Option<Pedals> {
        let harp = preset(harp).expect("a preset");
        Pedals::declared(&harp, setting.parse().expect("a setting"))
    }

    fn number(number: u32) -> StringNumber {
        StringNumber::new(number).expect("a string")
    }

    #[test]
    fn pedals_in_flat_and_levers_down_are_nothing_to_declare() {
        assert_eq!(pedals("pedal-47", "Cb"), None);
        // The open strings of a lever harp are those of E flat major.
        assert_eq!(pedals("lever-34", "Eb"), None);
    }

    /// Equal temperament, A4 = 440 Hz: B3 is 246.942 Hz, F sharp 4 369.994 Hz.
    #[test]
    fn a_string_sounds_where_its_pedal_puts_it() {
        let pedals = pedals("pedal-47", "Cb B Db Eb F# Gb Ab").expect("declared");
        for (string, hz) in [(27, 246.942), (23, 369.994), (26, 246.942)] {
            let target = Tuning::default().open_target(pedals.sounding().string(number(string)).expect("a string"));
            assert!((target.get() - hz).abs() < 0.001, "{string}: {target:?}");
        }
        // A raised string waits for its pedal, the C flat above the raised B cannot be told from it, the D flat can.
        for (string, open) in [(27, false), (23, false), (26, false), (25, true)] {
            assert_eq!(pedals.is_open(number(string)), open, "{string}");
        }
    }

    #[test]
    fn a_lever_raises_its_string_once_whatever_is_said() {
        let pedals = pedals("lever-34", "C D E F G A# B").expect("declared");
        let harp = preset("lever-34").expect("a preset");
        let (string, _) = harp
            .numbered()
            .find(|(_, string)| string.open.letter == consort_proto::Letter::A)
            .expect("an A");
        let sounds = pedals.sounding().string(string).expect("the same");
        assert_eq!(sounds.open.accidental, Accidental::Natural);
    }
}
