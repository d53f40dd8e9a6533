//! The control: what the leader decides reaches everyone, what cannot be meant reaches nobody.

use fantoccini::wd::WindowHandle;

use crate::browser::Browser;
use crate::network::alone;
use crate::rehearsal::{Rehearsal, wait_for};

const BAR: &str = "document.getElementById('bar').innerText";

#[test]
fn a_pitch_from_the_control_reaches_desk_and_board_and_is_taken_back() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("control");
        let mut runa = rehearsal.harp("Runa", 0);
        runa.play("clean-47-gb7.flac");
        let browser = Browser::open(tools);
        let desk = browser.page();
        browser.go(&runa.desk);
        let board = browser.new_page();
        browser.go(&rehearsal.address("board"));
        let control = browser.new_page();
        browser.go(&rehearsal.address("control"));
        browser.wait("the control", &format!("{BAR}.includes('A = 440')"));
        browser.type_into("hz", "442,5");
        // From 440 to 442.5 Hz is 9.8 cents.
        browser.wait("what it would do", &format!("{BAR}.includes('9.8 cents flat')"));
        assert_eq!(rehearsal.status()["pitch_hz"], 440.0, "nothing is sent yet");
        browser.click("send");
        let shows = |hz: &str| {
            for (page, id) in [(&board, "agreement"), (&desk, "tuning"), (&control, "agreement")] {
                browser.turn_to(page);
                browser.wait(
                    &format!("{hz} in {id}"),
                    &format!("document.getElementById('{id}').textContent.startsWith('A = {hz} ')"),
                );
            }
        };
        shows("442.5");
        browser.wait("the way back", "!document.getElementById('undo').disabled");
        browser.click("undo");
        shows("440");
        a_string_is_called_and_taken_back(&browser, &control, &board);
        for page in [&control, &board, &desk] {
            browser.turn_to(page);
            browser.expect_quiet();
        }
    });
}

/// With the keyboard alone, and nothing on the page moves by it; the board shows the string side by side meanwhile.
fn a_string_is_called_and_taken_back(browser: &Browser, control: &WindowHandle, board: &WindowHandle) {
    const HARPS: &str = "document.getElementById('harps').offsetTop";
    browser.turn_to(control);
    let before = browser.run(&format!("return {HARPS}"));
    // The top string is the only one that was heard.
    browser.run("document.getElementById('call-string').focus()");
    browser.press("0G".chars());
    browser.wait("the string", "document.getElementById('call-string').value === '0G'");
    browser.press(['\u{e004}', '\u{e007}']);
    browser.wait(
        "that it is called",
        "document.getElementById('called-says').textContent === 'Everyone plays 0G'",
    );
    assert_eq!(browser.run(&format!("return {HARPS}")), before, "nothing moves");
    browser.turn_to(board);
    browser.wait(
        "the called string",
        "!document.getElementById('called').hidden && document.querySelectorAll('#called-strings .label').length > 0",
    );
    browser.turn_to(control);
    browser.press(['\u{e004}', '\u{e007}']);
    browser.wait("that none is", "document.getElementById('call-none').disabled");
    assert_eq!(browser.run(&format!("return {HARPS}")), before, "nothing moves");
    assert_eq!(
        browser.text("document.activeElement.id"),
        "call",
        "the keyboard goes on from there"
    );
    browser.turn_to(board);
    browser.wait("no called string", "document.getElementById('called').hidden");
}

#[test]
fn what_is_no_pitch_is_answered_in_a_sentence_and_changes_nothing() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("no-pitch");
        let browser = Browser::open(tools);
        browser.go(&rehearsal.address("control"));
        browser.wait("the control", &format!("{BAR}.includes('A = 440')"));
        let revision = rehearsal.status()["revision"].clone();
        for (typed, said) in [
            ("A", "“A” is not a pitch"),
            ("4425", "A4 = 4425 Hz is out of reach"),
            ("0", "A4 = 0 Hz is out of reach"),
            ("-442", "A4 = -442 Hz is out of reach"),
            ("442 442", "“442 442” is not a pitch"),
            ("<b>442", "“<b>442” is not a pitch"),
        ] {
            browser.type_into("hz", typed);
            browser.wait(said, &format!("{BAR}.includes('{said}') && {BAR}.includes('Not sent')"));
            assert_eq!(
                browser.run("return document.getElementById('send').disabled"),
                true,
                "{typed}"
            );
            // Return in the field is no way round the button, nor is leaving the field.
            browser.press(['\u{e006}', '\u{e004}']);
            assert!(browser.text(BAR).contains(said), "{typed} is not forgotten");
        }
        browser.type_into("hz", "440");
        fifths_that_do_not_close_are_said_with_how_much(&browser);
        let status = rehearsal.status();
        assert_eq!((&status["pitch_hz"], &status["revision"]), (&440.0.into(), &revision));
        for (typed, hz) in [("A=442", 442.0), (" 441.5 Hz", 441.5)] {
            browser.type_into("hz", typed);
            browser.wait(typed, "!document.getElementById('send').disabled");
            browser.press(['\u{e006}']);
            wait_for(typed, || (rehearsal.status()["pitch_hz"] == hz).then_some(()));
        }
    });
}

/// Twelve pure fifths lie a Pythagorean comma above seven octaves: 23.46 cents.
fn fifths_that_do_not_close_are_said_with_how_much(browser: &Browser) {
    browser.run("document.querySelector('#temperaments input[value=own]').click()");
    browser.type_into("offsets", &["701.955"; 12].join(" "));
    let says = "these fifths do not close: twelve of them come to 23.46 cents more than seven octaves";
    browser.wait(says, &format!("{BAR}.includes('{says}')"));
    assert_eq!(browser.run("return document.getElementById('send').disabled"), true);
    browser.click("keep");
}
