//! A whole tuning by sound: a virtual harp is plucked, and its desk comes through every state that a harpist can meet.

use consort_harp::{Condition, Fault, Pickup, Pluck, Room, Stage, VirtualHarp, Voices};
use consort_proto::{Harp as HarpShape, Letter, SampleRate, StringNumber, harp_file};

use crate::browser::{Browser, LAPTOP};
use crate::network::alone;
use crate::rehearsal::{Harp, Rehearsal};
use crate::tools::screens;

/// Samples in a second.
const RATE: usize = 48_000;
/// How long a pluck rings, and the silence around it, seconds.
const RINGS_S: f64 = 2.6;
const SILENCE_S: f64 = 0.6;

/// A quiet room, a share of full scale.
const QUIET: f64 = 0.0004;

/// A harpist with her harp, her station and its desk.
struct Player<'a> {
    harp: VirtualHarp,
    station: Harp,
    browser: &'a Browser,
    /// The state of the noise that every pickup has.
    noise: u32,
    /// How loud the room is, a share of full scale.
    room: f64,
}

/// Nine strings around middle C, with discs.
fn small_harp() -> HarpShape {
    let concert = harp_file::preset("pedal-47").expect("a preset");
    let at = |letter, octave| concert.find(letter, octave).expect("a string").index();
    let strings = concert.strings()[at(Letter::G, 4)..=at(Letter::F, 3)].to_vec();
    HarpShape::new("Small harp".to_owned(), concert.kind(), strings).expect("a harp")
}

fn voiced(harp: &HarpShape, condition: &Condition) -> VirtualHarp {
    let stage = Stage {
        rate: SampleRate::STUDIO,
        voices: Voices::Computed,
        pickup: Pickup::GOOD,
        room: Room::default(),
    };
    VirtualHarp::new(harp, condition, stage)
}

impl Player<'_> {
    fn string(&self, letter: Letter, octave: i8) -> StringNumber {
        self.harp.harp().find(letter, octave).expect("a string")
    }

    /// Lets `seconds` of the harp be heard.
    fn hear(&mut self, seconds: f64) {
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

    fn pluck(&mut self, strings: &[StringNumber]) {
        for &string in strings {
            self.harp.pluck(string, Pluck::ORDINARY);
        }
        self.hear(RINGS_S);
        self.harp.damp_all();
        self.hear(SILENCE_S);
    }

    /// Turns the pin until the string stands so many cents higher.
    fn raise(&mut self, string: StringNumber, cents: f64) {
        let degrees = cents / self.harp.cents_per_degree(string);
        self.harp.turn(string, degrees);
    }

    fn text(&self, id: &str) -> String {
        self.browser
            .text(&format!("document.getElementById('{id}').textContent"))
    }

    /// Chooses a string in the list.
    fn choose(&self, string: StringNumber) {
        self.browser.run(&format!(
            "const chosen = document.getElementById('chosen'); chosen.value = {string}; \
             chosen.dispatchEvent(new Event('change')); chosen.blur();"
        ));
    }

    /// The string that the desk shows.
    fn shown(&self) -> StringNumber {
        let value = self.browser.text("document.getElementById('chosen').value");
        StringNumber::new(value.parse().expect("a number")).expect("a string")
    }

    /// Waits until the large word is one of `words`, and what is said beside it contains `why`.
    #[track_caller]
    fn expect(&self, words: &[&str], why: &str) {
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
    fn pluck_until(&mut self, string: StringNumber, words: &[&str], why: &str) {
        self.pluck(&[string]);
        self.expect(words, why);
    }

    /// Plucks a string that is in tune until it holds.
    #[track_caller]
    fn finish(&mut self, string: StringNumber) {
        for _ in 0..2 {
            self.pluck(&[string]);
            self.browser.wait(
                "in tune",
                &format!(
                    "document.getElementById('chosen').value === '{string}' \
                     && ['Once more', 'Holds'].includes(document.getElementById('word').textContent)"
                ),
            );
            if self.text("word") == "Holds" {
                return;
            }
        }
        panic!("string {string} does not hold");
    }

    fn picture(&self, name: &str) {
        self.browser.picture(&screens().join(format!("desk-sound-{name}.png")));
    }

    /// Keeps a picture; nothing is drawn or written to turn by, where nothing may be turned.
    #[track_caller]
    fn keep(&self, name: &str, turns: bool) {
        self.picture(name);
        let heard = self.text("sentence");
        let is_whole = heard.is_empty() || heard.ends_with(['.', '?']) && !heard.contains("  ");
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

/// Counts the frames that the desk asks for, since the last time it was asked.
const COUNT_FRAMES: &str = "
const frames = window.requestAnimationFrame;
window.drawn = 0;
window.requestAnimationFrame = (draw) => { window.drawn += 1; return frames.call(window, draw); };";

/// Where everything is that an eye looks for.
const PLACES: &str = "return JSON.stringify(['hand', 'bow', 'harp'].map((id) => document.getElementById(id).getBoundingClientRect().top))";

#[test]
fn every_state_of_a_tuning_comes_by_sound() {
    alone(|tools| {
        let mut rehearsal = Rehearsal::open("states");
        let small = small_harp();
        let file = rehearsal.file("small.toml", &harp_file::write(&small).expect("a harp file"));
        let browser = Browser::open(tools);
        let mut condition = Condition::sound(3);
        let at = |letter, octave| small.find(letter, octave).expect("a string");
        let [c, b, d, f, g, a] = [
            at(Letter::C, 4),
            at(Letter::B, 3),
            at(Letter::D, 4),
            at(Letter::F, 4),
            at(Letter::G, 4),
            at(Letter::A, 3),
        ];
        condition.pedals = vec![(Letter::B, 1)];
        condition.far_off = vec![(c, -12.0), (d, 9.0), (f, -8.0), (g, -112.0)];
        let mut player = Player {
            harp: voiced(&small, &condition),
            station: rehearsal.opening("Runa", &file),
            browser: &browser,
            noise: 1,
            room: QUIET,
        };
        browser.screen(LAPTOP);
        browser.prefer("dark");
        browser.go(&player.station.desk);
        browser.run(COUNT_FRAMES);
        player.hear(1.0);

        // The opening check; a string that is plucked once more is not the next one.
        player.expect(&["Pluck"], "1 of 7");
        let places = browser.run(PLACES);
        player.keep("opening", false);
        player.pluck_until(c, &["Pluck"], "2 of 7");
        player.pluck_until(c, &["Pluck"], "once more");
        player.keep("opening-again", false);
        for place in 2..=7 {
            player.expect(&["Pluck"], &format!("{place} of 7"));
            let asked = player.shown();
            player.pluck(&[asked]);
        }
        player.expect(&["Pedal up?"], "Is the B pedal all the way up?");
        player.keep("pedal", false);
        player.harp.move_pedal(Letter::B, 0);
        player.pluck(&[b]);
        browser.wait(
            "no doubt",
            "document.getElementById('word').textContent !== 'Pedal up?'",
        );

        // Flat, then in tune, once more, and it holds.
        player.pluck_until(c, &["Tighten"], "");
        player.keep("tighten", true);
        assert_eq!(
            browser.run("return window.drawn"),
            0,
            "nothing moves for who has asked for that"
        );
        browser.prefer_motion("dark", "no-preference");
        player.raise(c, 12.0);
        player.pluck_until(c, &["Once more"], "");
        player.keep("once-more", false);
        player.pluck_until(c, &["Holds"], "");
        player.keep("holds", false);
        player.pluck_until(d, &["Loosen"], "");
        player.keep("loosen", true);
        player.raise(d, -6.0);
        player.hear(0.1);
        player.pluck_until(d, &["Loosen", "Tighten"], "");
        assert_ne!(browser.run("return window.drawn"), 0, "else the string travels");

        // A pin that is turned and does not move its string; and a string that is far off.
        for _ in 0..2 {
            player.pluck_until(f, &["Tighten"], "");
        }
        player.pluck_until(f, &["Which pin?"], "turn that one back first");
        player.keep("which-pin", false);
        browser.press([' ', ' ']);
        player.expect(&["Tighten"], "");
        player.pluck_until(g, &["Which pin?"], "More than a semitone flat");
        player.keep("far-flat", false);
        browser.press(['n']);
        player.expect(&["Leave it"], "far enough for now");
        player.keep("new-step", false);
        // Followed by hand it is heard wherever it is.
        player.raise(g, -250.0);
        player.choose(g);
        browser.press(['f']);
        player.expect(&["Pluck"], "Chosen by hand");
        player.pluck_until(g, &["Tighten"], "Keep your face out");
        player.keep("new", true);
        player.raise(g, 362.0);
        player.pluck_until(g, &["Leave it"], "it should hold by 20");
        player.keep("new-up", false);
        browser.wait(
            "that it is let go",
            "document.getElementById('follow').getAttribute('aria-pressed') === 'false'",
        );

        // A string that falls away each time; one that is missing; two at once.
        player.pluck_until(a, &["Holds"], "");
        for _ in 0..2 {
            player.raise(a, -9.0);
            player.pluck_until(a, &["Tighten"], "");
            player.raise(a, 9.0);
            player.pluck_until(a, &["Once more"], "");
            player.pluck_until(a, &["Holds"], "");
        }
        player.raise(a, -9.0);
        player.pluck_until(a, &["Leave it"], "fell away each time");
        player.keep("will-not-hold", false);
        let low = player.string(Letter::F, 3);
        player.choose(low);
        browser.press(['m']);
        browser.wait(
            "that it is missing",
            "document.getElementById('strings').textContent.includes(': missing')",
        );
        player.pluck_until(low, &["Again"], "Marked as missing");
        player.keep("missing", false);

        // She plays, and rests.
        for string in [b, d, g, c, b, d] {
            player.harp.pluck(string, Pluck::ORDINARY);
            player.hear(0.3);
        }
        player.expect(&["Playing"], "Nothing is taken down");
        player.keep("playing", false);
        player.harp.damp_all();
        player.hear(2.5);
        browser.wait(
            "an end of it",
            "document.getElementById('word').textContent !== 'Playing'",
        );

        // The link and what is agreed.
        let message = "document.getElementById('message').textContent";
        rehearsal.order(&["pitch", "442"]);
        browser.wait("the change", &format!("{message}.startsWith('Changed')"));
        player.picture("changed");
        rehearsal.order(&["pitch", "440"]);
        browser.press([' ']);
        browser.wait(
            "the pitch as it was",
            "document.getElementById('tuning').textContent.startsWith('A = 440')",
        );
        rehearsal.kill();
        browser.wait("no link", &format!("{message}.startsWith('No link')"));
        player.picture("offline");
        rehearsal.reopen();
        browser.wait("the link", "document.getElementById('link').dataset.link === 'joined'");
        rehearsal.order(&["start", "3"]);
        // What she plays in passing is not followed at once by what she means.
        player.hear(3.0);
        player.raise(d, -3.0);
        player.pluck_until(d, &["Once more"], "");
        player.pluck_until(d, &["Holds"], "");
        browser.wait(
            "what comes first",
            "document.getElementById('why').textContent.includes('The start is near')",
        );
        player.picture("near");
        assert_eq!(browser.run(PLACES), places, "nothing has moved all the while");

        // All that is left.
        player.raise(f, 8.0);
        for string in [b, at(Letter::E, 4), f, at(Letter::G, 3)] {
            player.finish(string);
        }
        player.expect(&["All set"], "");
        player.keep("all-set", false);
        browser.press(['l']);
        player.expect(&["Play on"], "1 of 8");
        player.keep("last-check", false);
        for place in 2..=8 {
            let asked = player.shown();
            player.pluck(&[asked]);
            player.expect(&["Play on"], &format!("{place} of 8"));
        }
        let asked = player.shown();
        player.pluck(&[asked]);
        browser.wait("its end", "document.getElementById('word').textContent !== 'Play on'");

        // A room that is as loud as the strings.
        player.room = 0.25;
        for _ in 0..6 {
            player.pluck(&[c]);
        }
        browser.wait("that it is told", &format!("{message}.includes('loud')"));
        player.picture("loud-room");

        rehearsal.order(&["start", "0"]);
        browser.wait("darkness", "!document.getElementById('dark').hidden");
        player.picture("dark");

        // A lever that was left up.
        let lever = harp_file::preset("lever-22").expect("a preset");
        let up = lever.find(Letter::C, 4).expect("a string");
        let mut condition = Condition::sound(5);
        condition.faults = vec![(up, Fault::LeverUp)];
        let between = lever.find(Letter::A, 4).expect("a string");
        condition.far_off = vec![(between, -50.0)];
        rehearsal.order(&["round"]);
        let mut player = Player {
            harp: voiced(&lever, &condition),
            station: rehearsal.unlinked("Teodor", 0, &["--harp", "lever-22"]),
            browser: &browser,
            noise: 1,
            room: QUIET,
        };
        browser.go(&player.station.desk);
        player.expect(&["Pluck"], "");
        player.hear(1.0);
        // Half-way between two strings a semitone apart it is neither.
        player.pluck_until(between, &["Again"], "");
        player.keep("unsure", false);
        player.pluck_until(up, &["Lever down?"], "Is its lever down?");
        player.keep("lever", false);
        let bowed = browser.text("document.querySelectorAll('#harp .away').length");
        assert_eq!(bowed, "0", "what is doubted is not drawn off on the harp either");
        // The link's fall is noted by the browser, and nothing else.
        let complaints = browser.complaints();
        assert!(complaints.iter().all(|said| said.contains("live")), "{complaints:?}");
    });
}
