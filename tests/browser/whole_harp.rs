//! What the opening check doubts of a whole harp, by sound: which harp, which tuning, which pitch; and what follows upon it.

use std::thread;
use std::time::Duration;

use consort_harp::Condition;
use consort_proto::{Harp as HarpShape, Letter, StringNumber, harp_file};

use crate::browser::{Browser, LAPTOP};
use crate::network::alone;
use crate::player::{Player, QUIET, small_harp, voiced};
use crate::rehearsal::Rehearsal;

const HARP: &str = "lever-22";

/// A harp in tune but for strings of `letters`, or all where there are none, which stand so many cents higher.
fn off(harp: &HarpShape, letters: &[Letter], cents: f64) -> Condition {
    let takes_part = |letter| letters.is_empty() || letters.contains(&letter);
    let strings = harp.numbered().filter(|(_, string)| takes_part(string.open.letter));
    Condition {
        far_off: strings.map(|(number, _)| (number, cents)).collect(),
        ..Condition::sound(7)
    }
}

/// Opens the desk of `name`'s harp in that condition, which waits for the first pluck of the check.
fn sit_down<'a>(
    rehearsal: &Rehearsal,
    browser: &'a Browser,
    name: &str,
    (harp, file): (&HarpShape, &str),
    condition: &Condition,
) -> Player<'a> {
    let mut player = Player {
        harp: voiced(harp, condition),
        station: rehearsal.opening(name, file),
        browser,
        noise: 1,
        room: QUIET,
    };
    browser.go(&player.station.desk);
    player.hear(1.0);
    player.expect(&["Pluck"], "1 of 7");
    player
}

/// Plucks what the check asks for, from place `from` on.
fn open(player: &mut Player<'_>, from: u32) {
    for place in from..=7 {
        player.expect(&["Pluck"], &format!("{place} of 7"));
        let asked = player.shown();
        player.pluck(&[asked]);
    }
}

/// What the list of all strings says of one.
fn says(player: &Player<'_>, string: StringNumber) -> String {
    let index = string.index();
    player.browser.text(&format!(
        "document.querySelectorAll('#strings li')[{index}].textContent"
    ))
}

#[test]
fn doubts_of_a_whole_harp_and_what_follows_come_by_sound() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("whole-harp");
        let browser = Browser::open(tools);
        browser.screen(LAPTOP);
        browser.prefer_motion("dark", "no-preference");
        let lever = harp_file::preset(HARP).expect("a preset");
        let of = (&lever, HARP);

        // A whole tone above what is set, it is another harp.
        let mut player = sit_down(&rehearsal, &browser, "Ilse", of, &off(&lever, &[], 200.0));
        open(&mut player, 1);
        player.expect(&["Which harp?"], "do not fit the harp that is set here");
        player.keep("which-harp", false);

        // Set in E flat, with its D a semitone below: open in A flat.
        let lower = off(&lever, &[Letter::D], -100.0);
        let mut player = sit_down(&rehearsal, &browser, "Jori", of, &lower);
        open(&mut player, 1);
        player.expect(&["Which tuning?"], "D sounds a semitone low");
        player.keep("which-tuning", false);

        // Half a semitone below as a whole; while the first string still sounds it is let ring.
        let mut player = sit_down(&rehearsal, &browser, "Nela", of, &off(&lever, &[], -50.0));
        let first = player.shown();
        player.harp.pluck(first, consort_harp::Pluck::ORDINARY);
        let rings = (0..26).any(|_| {
            player.hear(0.1);
            thread::sleep(Duration::from_millis(60));
            player.text("word") == "Let it ring"
        });
        assert!(rings, "it is not let ring");
        player.keep("let-it-ring", false);
        player.hear(2.6);
        player.harp.damp_all();
        player.hear(0.6);
        open(&mut player, 2);
        player.expect(&["Which pitch?"], "The whole harp stands about");
        player.keep("which-pitch", false);

        // She brings it up all the same: first near enough, in a quick pass.
        browser.press([' ']);
        player.expect(&["Tighten"], "");
        player.pluck_until(first, &["Tighten"], "");
        player.raise(first, 51.0);
        player.pluck_until(first, &["Next one"], "Near enough for the quick pass");
        player.keep("next-one", false);

        // A pitch that lies more than a semitone above what strings are made for is not tuned up to.
        rehearsal.order(&["pitch", "466.5"]);
        browser.wait(
            "the change",
            "document.getElementById('message').textContent.startsWith('Changed')",
        );
        player.choose(first);
        browser.press(['f']);
        player.expect(&["Pluck"], "Chosen by hand");
        player.pluck_until(first, &["Not higher"], "more than a semitone");
        player.keep("not-higher", false);
        rehearsal.order(&["pitch", "440"]);
        browser.expect_quiet();
    });
}

/// The B of a pedal that stands in natural has the pitch of C flat, which was read before.
#[test]
fn what_sounds_like_the_string_before_it_says_nothing_of_that_string() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("passed-over");
        let browser = Browser::open(tools);
        browser.screen(LAPTOP);
        let small = small_harp();
        let file = rehearsal.file("small.toml", &harp_file::write(&small).expect("a harp file"));
        let at = |letter, octave| small.find(letter, octave).expect("a string");
        let (c, b) = (at(Letter::C, 4), at(Letter::B, 3));
        let condition = Condition {
            pedals: vec![(Letter::B, 1)],
            ..Condition::sound(3)
        };
        let mut player = sit_down(&rehearsal, &browser, "Runa", (&small, &file), &condition);
        player.pluck(&[c]);
        player.expect(&["Pluck"], "2 of 7");
        assert!(says(&player, c).ends_with("set once"), "{}", says(&player, c));
        for _ in 0..2 {
            player.pluck_until(b, &["Pluck"], "that was 4C once more, by its pitch");
            assert!(says(&player, c).ends_with("set once"), "{}", says(&player, c));
        }
        // So often it may be meant: the third time it is the B that is asked for.
        player.pluck_until(b, &["Pluck"], "3 of 7");
        assert!(says(&player, c).ends_with("set once"), "{}", says(&player, c));
        browser.expect_quiet();
    });
}
