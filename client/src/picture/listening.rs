//! The check by listening as the desk shows it.

use std::f64::consts::PI;

use consort_analysis::Beating;
use consort_guide::listening::{Asks, How, Listening, Meaning, Outcome, Sound, Trouble};
use consort_pages::{ListeningPage, ListeningSound};
use consort_proto::{Cents, Kind as HarpKind, StringNumber};
use consort_words::{Arg, Key, Words};

use crate::image::Image;
use crate::pluck::rounded;

/// So much is drawn before anything is heard, in steps of a swell: as much as two seconds of sound give.
const DRAWN: usize = 93;
/// Beats slower than this stand still for the ear, in a second: two seconds show no more than a tenth of one.
const STILL: f64 = 0.05;

/// The check of `image`, if one is under way.
pub(super) fn of(image: &Image, words: &Words) -> Option<ListeningPage> {
    let listening = image.listening.as_ref()?;
    let check = listening.check();
    let say = Saying { image, words };
    let (together, expected) = match check.asks() {
        Asks::Together { expected, .. } => (true, Some(*expected)),
        Asks::InTurn(_) => (false, None),
    };
    let outcome = listening.outcome();
    Some(ListeningPage {
        kind: check.kind().word(),
        together,
        sounds: say.sounds(listening),
        ask: say.ask(listening),
        listen_for: words.say(check.kind().listen_for(), &[]),
        found: outcome.and_then(|outcome| say.found(listening, outcome)),
        means: outcome.map(|outcome| say.means(outcome)),
        right: outcome.is_some_and(|outcome| outcome.meaning == Meaning::Right),
        trouble: listening.trouble().map(|trouble| say.trouble(trouble)),
        beats: outcome
            .and_then(|outcome| outcome.beats)
            .map(|beats| rounded(beats.abs(), 2)),
        expected: expected.map(|beats| rounded(beats.abs(), 2)),
        swell: image.swell.iter().map(|size| rounded(f64::from(*size), 3)).collect(),
        in_tune: expected.map_or_else(Vec::new, |beats| in_tune(beats, image.swell.len())),
    })
}

/// How two strings that beat so often in a second swell and fade, in as many steps as were heard.
fn in_tune(beats_per_second: f64, heard: usize) -> Vec<f64> {
    let steps = if heard == 0 { DRAWN } else { heard };
    let size = |step: usize| {
        (PI * beats_per_second * Beating::SWELL_STEP_S * step as f64)
            .cos()
            .abs()
    };
    (0..steps).map(|step| rounded(size(step), 3)).collect()
}

/// What is said, and of which harp.
struct Saying<'a> {
    image: &'a Image,
    words: &'a Words,
}

impl Saying<'_> {
    fn name(&self, string: StringNumber) -> String {
        let naming = self.image.course.naming;
        self.image
            .harp
            .string(string)
            .map_or_else(|| string.to_string(), |string| naming.of(string.open))
    }

    fn sounds(&self, listening: &Listening) -> Vec<ListeningSound> {
        let sounds: Vec<Sound> = match listening.check().asks() {
            Asks::Together { lower, higher, .. } => vec![*lower, *higher],
            Asks::InTurn(sounds) => sounds.clone(),
        };
        let next = listening.next().map(|sound| (sound.string, sound.how));
        sounds
            .iter()
            .enumerate()
            .map(|(place, sound)| ListeningSound {
                name: self.name(sound.string),
                letter: self
                    .image
                    .harp
                    .string(sound.string)
                    .map_or_else(String::new, |string| string.open.letter.to_string()),
                cents: listening.heard().get(place).map(|cents| rounded(cents.0, 1)),
                now: next == Some((sound.string, sound.how)),
            })
            .collect()
    }

    fn ask(&self, listening: &Listening) -> String {
        let sound = match listening.check().asks() {
            Asks::Together { lower, higher, .. } => {
                let [lower, higher] = [lower, higher].map(|sound| Arg::from(self.name(sound.string)));
                return self
                    .words
                    .say(Key::ListenTogether, &[("lower", lower), ("higher", higher)]);
            }
            // After the last sound it begins anew with the first one.
            Asks::InTurn(sounds) => listening.next().or_else(|| sounds.first()),
        };
        let Some(sound) = sound else { return String::new() };
        let string = ("string", Arg::from(self.name(sound.string)));
        match sound.how {
            How::Plain => self.words.say(Key::ListenPluck, &[string]),
            How::Harmonic => self.words.say(Key::ListenHarmonic, &[string]),
            How::Raised(position) if self.image.harp.kind() == HarpKind::Pedal => {
                let letter = self
                    .image
                    .harp
                    .string(sound.string)
                    .map(|string| string.open.letter.to_string());
                let letter = ("letter", Arg::from(letter.unwrap_or_default()));
                let position = ("position", Arg::from(u64::from(position)));
                self.words.say(Key::ListenRaisedPedal, &[string, letter, position])
            }
            How::Raised(_) => self.words.say(Key::ListenRaisedLever, &[string]),
        }
    }

    fn found(&self, listening: &Listening, outcome: &Outcome) -> Option<String> {
        if let (Some(found), Asks::Together { expected, .. }) = (outcome.beats, listening.check().asks()) {
            let number = |beats: f64| Arg::from(format!("{:.1}", beats.abs()));
            let key = if found.abs() < STILL {
                Key::ListenNoBeats
            } else {
                Key::ListenBeats
            };
            return Some(
                self.words
                    .say(key, &[("found", number(found)), ("expected", number(*expected))]),
            );
        }
        let Asks::InTurn(sounds) = listening.check().asks() else {
            return None;
        };
        let [_, second] = sounds.as_slice() else { return None };
        let cents = ("cents", Arg::from(format!("{:.1}", outcome.off.0.abs())));
        if outcome.off.0.abs() < 0.5 {
            return Some(self.words.say(Key::ListenEven, &[cents]));
        }
        let string = ("string", Arg::from(self.name(second.string)));
        Some(
            self.words
                .say(Key::ListenOff, &[string, cents, ("side", side(outcome.off))]),
        )
    }

    fn means(&self, outcome: &Outcome) -> String {
        let (key, string) = match outcome.meaning {
            Meaning::Right => return self.words.say(Key::ListenRight, &[]),
            Meaning::Tune(string) => (Key::ListenTune, string),
            Meaning::False(string) => (Key::ListenFalse, string),
            Meaning::Step(string) => (Key::ListenStep, string),
            Meaning::StandsOut(string) => (Key::ListenStandsOut, string),
        };
        let cents = Arg::from(format!("{:.1}", outcome.off.0.abs()));
        let string = Arg::from(self.name(string));
        let args = [("string", string), ("cents", cents), ("side", side(outcome.off))];
        self.words.say(key, &args)
    }

    fn trouble(&self, trouble: Trouble) -> String {
        let of = |key, string| self.words.say(key, &[("string", Arg::from(self.name(string)))]);
        match trouble {
            Trouble::Only(string) => of(Key::ListenOnly, string),
            Trouble::Semitones(string) => of(Key::ListenSemitones, string),
            Trouble::Other => self.words.say(Key::ListenOther, &[]),
            Trouble::Short => self.words.say(Key::ListenShort, &[]),
            Trouble::Low => self.words.say(Key::ListenLow, &[]),
        }
    }
}

/// To which side, as a word for the sentences.
fn side(off: Cents) -> Arg {
    Arg::from(if off.0 < 0.0 { "flat" } else { "sharp" })
}
