//! The desk: it follows the sound, and never goes on advising when its station has ended.

use crate::browser::Browser;
use crate::network::alone;
use crate::rehearsal::{Rehearsal, free_ports};

/// What the hidden list says of the top string.
const SAYS_0G: &str = "document.querySelector('#strings li')?.textContent";

#[test]
fn the_desk_follows_the_sound_without_being_loaded_again() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("desk");
        let (mut runa, mut teodor) = (rehearsal.harp("Runa", 0), rehearsal.harp("Teodor", 0));
        let browser = Browser::open(tools);
        browser.go(&runa.desk);
        browser.wait(
            "the first string",
            "document.getElementById('word').textContent === 'Pluck'",
        );
        assert_eq!(browser.text("location.hash"), "", "the token is out of sight");
        browser.run("window.loadedOnce = true");
        // The recorded top string is 1.5 cents flat, the C above middle C 26 cents flat, at A = 440.
        teodor.play("clean-20-ab3.flac");
        for says in ["0G: set once", "0G: holds"] {
            runa.play("clean-47-gb7.flac");
            browser.wait(says, &format!("{SAYS_0G} === '{says}'"));
        }
        runa.play("clean-29-cb5.flac");
        browser.wait("advice", "document.getElementById('word').textContent === 'Tighten'");
        let shown = browser.text("document.getElementById('name').textContent");
        let cents: f64 = browser
            .text("document.getElementById('cents').textContent")
            .parse()
            .expect("cents are shown");
        assert!(shown == "3C" && (cents - 25.6).abs() < 3.0, "{shown} is {cents} off");
        let others = browser.text("document.getElementById('strings').textContent");
        assert!(
            others.contains("4A: not heard yet"),
            "the other harp's string is not on this desk: {others}"
        );
        assert_eq!(browser.run("return window.loadedOnce"), true);
        browser.expect_quiet();
    });
}

#[test]
fn the_desk_says_that_its_station_has_ended_advises_nothing_then_and_comes_back() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("ended");
        let [port, ..] = free_ports();
        let mut runa = rehearsal.harp("Runa", port);
        let browser = Browser::open(tools);
        browser.go(&runa.desk);
        runa.play("clean-29-cb5.flac");
        browser.wait("advice", "document.getElementById('word').textContent === 'Tighten'");
        runa.kill();
        browser.wait(
            "that the station has ended",
            "document.getElementById('message').textContent.startsWith('The station has ended')",
        );
        for id in ["word", "far", "cents"] {
            assert_eq!(
                browser.text(&format!("document.getElementById('{id}').textContent")),
                "",
                "{id}"
            );
        }
        let _again = rehearsal.harp("Runa", port);
        browser.wait("the desk again", "document.getElementById('word').textContent !== ''");
        browser.wait(
            "what was tuned before",
            "document.getElementById('strings').textContent.includes('3C: 2')",
        );
    });
}

#[test]
fn address_and_code_are_typed_into_one_field_and_a_slip_is_told_at_once() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("desk-code");
        let mut runa = rehearsal.unlinked("Runa", 0, &[]);
        let (address, code) = (rehearsal.address("address"), rehearsal.address("code"));
        let slip: String = code
            .chars()
            .rev()
            .enumerate()
            .map(|(place, digit)| match (place, digit) {
                (0, '0') => '1',
                (0, _) => '0',
                _ => digit,
            })
            .collect();
        let slip: String = slip.chars().rev().collect();
        let browser = Browser::open(tools);
        browser.go(&runa.desk);
        browser.wait("the field", "!document.getElementById('join').hidden");
        let type_in = |text: &str| {
            browser.run("document.getElementById('invitation').value = ''");
            browser.type_into("invitation", text);
            browser.run("document.getElementById('join').requestSubmit()");
        };
        type_in(&slip);
        browser.wait(
            "what is wrong with it",
            "document.getElementById('answer').textContent.startsWith('one digit of the code looks off')",
        );
        type_in(&address);
        browser.wait(
            "that it was taken",
            "document.getElementById('invitation').value === ''",
        );
        type_in(&code);
        runa.expect_joined("Runa");
        browser.wait(
            "the ensemble",
            "document.getElementById('message').textContent === 'With Ensemble.'",
        );
        browser.wait("no field any more", "document.getElementById('join').hidden");
        assert_eq!(rehearsal.status()["stations"][0]["name"], "Runa");
        // The slip was answered as what it is, and the browser notes that.
        let complaints = browser.complaints();
        assert!(complaints.iter().all(|said| said.contains("422")), "{complaints:?}");
    });
}
