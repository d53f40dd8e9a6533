//! The control: what the leader decides reaches everyone, what cannot be meant reaches nobody.

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
        for page in [&control, &board, &desk] {
            browser.turn_to(page);
            browser.expect_quiet();
        }
    });
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
