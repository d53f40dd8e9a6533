//! What is asked on desk and control: who may come in, whose seat changes hands, who wants help; and names as text only.

use crate::browser::Browser;
use crate::network::alone;
use crate::rehearsal::{Rehearsal, wait_for};

/// The text of the questions on the page.
const QUESTIONS: &str = "document.getElementById('questions').textContent";

#[test]
fn without_a_code_the_leader_lets_in_whose_tag_she_sees() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("knocking");
        let mut runa = rehearsal.unlinked("Runa", 0, &[]);
        let browser = Browser::open(tools);
        let desk = browser.page();
        browser.go(&runa.desk);
        browser.wait("the field", "!document.getElementById('join').hidden");
        browser.type_into("invitation", &rehearsal.address("address"));
        browser.run("document.getElementById('join').requestSubmit()");
        browser.answer("Ask the leader");
        browser.new_page();
        browser.go(&rehearsal.address("control"));
        browser.wait(
            "the question",
            &format!("{QUESTIONS}.includes('Runa asks to be let in')"),
        );
        let tag = rehearsal.status()["knocking"][0]["tag"]
            .as_str()
            .expect("a tag")
            .to_owned();
        assert!(browser.text(QUESTIONS).contains(&tag));
        assert_eq!(rehearsal.status()["stations"].as_array().map(Vec::len), Some(0));
        browser.answer("Let in");
        runa.expect_joined("Runa");
        browser.expect_quiet();
        // She wants help, and says so with one key.
        browser.turn_to(&desk);
        browser.wait("the button", "!document.getElementById('help').hidden");
        browser.press(['h']);
        wait_for("the wish", || {
            (rehearsal.status()["stations"][0]["help"] == true).then_some(())
        });
        browser.wait(
            "that it is asked",
            "document.getElementById('help').getAttribute('aria-pressed') === 'true'",
        );
        browser.expect_quiet();
    });
}

#[test]
fn a_harp_goes_on_at_another_laptop_once_both_have_agreed() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("takeover");
        let mut first = rehearsal.harp("Runa", 0);
        first.play("clean-47-gb7.flac");
        let heard = wait_for("the reading", || {
            let strings = rehearsal.status()["stations"][0]["strings"].clone();
            (strings.to_string().matches("not-heard").count() == 46).then_some(strings)
        });
        // The same player comes with another laptop, which has a folder of its own.
        let other = rehearsal.another_laptop("Runa");
        let browser = Browser::open(tools);
        let at_other = browser.page();
        browser.go(&other.desk);
        browser.wait("the seat", &format!("{QUESTIONS}.includes('seat 1')"));
        browser.answer("Take over");
        browser.wait(
            "that it waits",
            &format!("{QUESTIONS}.includes('are asked for seat 1')"),
        );
        browser.new_page();
        browser.go(&first.desk);
        browser.answer("Give it up");
        browser.wait(
            "that it is played elsewhere",
            "document.getElementById('message').textContent.includes('another laptop now')",
        );
        wait_for("the change", || {
            (rehearsal.status()["stations"].as_array().map(Vec::len) == Some(1)).then_some(())
        });
        let seat = rehearsal.status()["stations"][0].clone();
        assert_eq!((&seat["seat"], &seat["strings"]), (&1.into(), &heard));
        browser.turn_to(&at_other);
        browser.wait("no question any more", &format!("{QUESTIONS} === ''"));
        browser.expect_quiet();
    });
}

#[test]
fn a_name_is_text_on_every_page_whatever_it_looks_like() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("hostile-name");
        let name = "<img src=x onerror=document.title=1>";
        let harp = rehearsal.harp(name, 0);
        let browser = Browser::open(tools);
        for page in [
            harp.desk.clone(),
            format!("{}?names=show", rehearsal.address("board")),
            rehearsal.address("control"),
        ] {
            browser.go(&page);
            browser.wait("the name", &format!("document.body.textContent.includes('{name}')"));
            assert_eq!(browser.run("return document.images.length"), 0, "{page}");
            assert_eq!(browser.run("return document.title === '1'"), false, "{page}");
            browser.expect_quiet();
        }
    });
}
