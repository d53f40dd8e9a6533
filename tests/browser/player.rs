//! A harpist with a virtual harp, whose station and desk are real: she plucks, turns, and looks at what the desk says.

use consort_harp::{Condition, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Harp as HarpShape, Letter, SampleRate, StringNumber, harp_file};

use crate::browser::Browser;
use crate::rehearsal::Harp;
use crate::tools::screens;

/// Samples in a second.
const RATE: usize = 48_000;
/// How long a pluck rings, and the silence around it, seconds.
const RINGS_S: f64 = 2.6;
const SILENCE_S: f64 = 0.6;

/// A quiet room, a share of full scale.
pub(crate) const QUIET: f64 = 0.0004;

/// A harpist with her harp, her station and its desk.
pub(crate) struct Player<'a> {
    pub(crate) harp: VirtualHarp,
    pub(crate) station: Harp,
    pub(crate) browser: &'a Browser,
    /// The state of the noise that every pickup has.
    pub(crate) noise: u32,
    /// How loud the room is, a share of full scale.
    pub(crate) room: f64,
}

/// Nine strings around middle C, with discs.
pub(crate) fn small_harp() -> HarpShape {
    let concert = harp_file::preset("pedal-47").expect("a preset");
    let at = |letter, octave| concert.find(letter, octave).expect("a string").index();
    let strings = concert.strings()[at(Letter::G, 4)..=at(Letter::F, 3)].to_vec();
    HarpShape::new("Small harp".to_owned(), concert.kind(), strings).expect("a harp")
}

/// The virtual `harp` in that `condition`, with a good pickup in a silent room.
pub(crate) fn voiced(harp: &HarpShape, condition: &Condition) -> VirtualHarp {
    let stage = Stage {
        rate: SampleRate::STUDIO,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room::default(),
    };
    VirtualHarp::new(harp, condition, stage)
}

impl Player<'_> {
    pub(crate) fn string(&self, letter: Letter, octave: i8) -> StringNumber {
        self.harp.harp().find(letter, octave).expect("a string")
    }

    /// Lets `seconds` of the harp be heard.
    pub(crate) fn hear(&mut self, seconds: f64) {
        let mut sound = vec![0.0; (seconds * RATE as f64) as usize];
        self.harp.render(&mut sound);
        self.hiss(&mut sound);
        self.station.sounds(&sound);
    }

    /// Adds the noise of the room to `sound`.
    fn hiss(&mut self, sound: &mut [f32]) {
        for sample in sound {
            self.noise = self.noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *sample += (self.room * (2.0 * f64::from(self.noise) / f64::from(u32::MAX) - 1.0)) as f32;
        }
    }

    pub(crate) fn pluck(&mut self, strings: &[StringNumber]) {
        for &string in strings {
            self.harp.pluck(string, Pluck::ORDINARY);
        }
        self.hear(RINGS_S);
        self.harp.damp_all();
        self.hear(SILENCE_S);
    }

    /// Turns the pin until the string stands so many cents higher.
    pub(crate) fn raise(&mut self, string: StringNumber, cents: f64) {
        let degrees = cents / self.harp.cents_per_degree(string);
        self.harp.turn(string, degrees);
    }

    pub(crate) fn text(&self, id: &str) -> String {
        self.browser
            .text(&format!("document.getElementById('{id}').textContent"))
    }

    /// Chooses a string in the list.
    pub(crate) fn choose(&self, string: StringNumber) {
        self.browser.run(&format!(
            "const chosen = document.getElementById('chosen'); chosen.value = {string}; \
             chosen.dispatchEvent(new Event('change')); chosen.blur();"
        ));
    }

    /// The string that the desk shows.
    pub(crate) fn shown(&self) -> StringNumber {
        let value = self.browser.text("document.getElementById('chosen').value");
        StringNumber::new(value.parse().expect("a number")).expect("a string")
    }

    /// Waits until the large word is one of `words`, and what is said beside it contains `why`.
    #[track_caller]
    pub(crate) fn expect(&self, words: &[&str], why: &str) {
        let words = serde_json::to_string(words).expect("a list");
        let says = "document.getElementById('why').textContent";
        let word = "document.getElementById('word').textContent";
        self.browser.wait(
            &format!("{words}: {why}"),
            &format!("{words}.includes({word}) && {says}.includes('{why}')"),
        );
    }

    /// Plucks until the large word is one of `words`.
    #[track_caller]
    pub(crate) fn pluck_until(&mut self, string: StringNumber, words: &[&str], why: &str) {
        self.pluck(&[string]);
        self.expect(words, why);
    }

    /// Plucks a string that is in tune until it holds.
    #[track_caller]
    pub(crate) fn finish(&mut self, string: StringNumber) {
        let is_said = |words: &str| {
            format!(
                "document.getElementById('chosen').value === '{string}' \
                 && {words}.includes(document.getElementById('word').textContent)"
            )
        };
        self.pluck(&[string]);
        self.browser.wait("in tune", &is_said("['Once more', 'Holds']"));
        if self.text("word") != "Holds" {
            self.pluck(&[string]);
            self.browser.wait("it holds", &is_said("['Holds']"));
        }
    }

    pub(crate) fn picture(&self, name: &str) {
        self.browser.picture(&screens().join(format!("desk-sound-{name}.png")));
    }

    /// Keeps a picture; nothing is drawn or written to turn by, where nothing may be turned.
    #[track_caller]
    pub(crate) fn keep(&self, name: &str, turns: bool) {
        self.picture(name);
        let heard = self.text("sentence");
        let is_whole =
            heard.is_empty() || heard.ends_with(['.', '?']) && !heard.contains("  ") && !heard.contains("?.");
        assert!(is_whole, "{name}: {heard}");
        assert_eq!(!self.text("far").is_empty(), turns, "{name}: {}", self.text("far"));
        if !turns {
            let drawn = self
                .browser
                .text("document.querySelectorAll('#bow .handle, #bow .swing').length");
            assert_eq!(drawn, "0", "{name}");
        }
    }
}
