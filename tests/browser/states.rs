//! A whole tuning by sound: a virtual harp is plucked, and its desk comes through every state that a harpist can meet.

use consort_harp::{Condition, Fault, Pluck};
use consort_proto::{Letter, harp_file};

use crate::browser::{Browser, LAPTOP};
use crate::network::alone;
use crate::player::{Player, QUIET, small_harp, voiced};
use crate::rehearsal::Rehearsal;

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
