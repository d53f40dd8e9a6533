//! What the leader does for the room: the order of seats, the address of the board, an A that is given near her laptop.

use crate::browser::Browser;
use crate::network::alone;
use crate::rehearsal::{Rehearsal, wait_for};
use crate::tools::screens;

#[test]
fn seats_are_put_in_another_order_here_and_on_the_wall() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("order");
        let _runa = rehearsal.harp("Runa", 0);
        let _teodor = rehearsal.harp("Teodor", 0);
        let browser = Browser::open(tools);
        let board = browser.page();
        browser.go(&format!("{}?names=show", rehearsal.address("board")));
        let row = "[...document.querySelectorAll('#rows .row')].find((row) => row.textContent.includes('Runa'))";
        browser.wait(
            "the first seat",
            &format!("{row}?.querySelector('.seat').textContent === '1'"),
        );
        browser.new_page();
        browser.go(&rehearsal.address("control"));
        browser.wait("the harps", "document.querySelectorAll('.harp').length === 2");
        browser.run("document.querySelector('[aria-label=\"One seat later: Runa\"]').click()");
        wait_for("the order", || {
            let stations = rehearsal.status()["stations"].clone();
            (stations[0]["name"] == "Teodor" && stations[1]["seat"] == 2).then_some(())
        });
        browser.wait(
            "it here",
            "document.querySelector('.harp .name').textContent.startsWith('Teodor')",
        );
        browser.picture(&screens().join("control-order.png"));
        browser.expect_quiet();
        browser.turn_to(&board);
        browser.wait(
            "it on the wall",
            &format!("{row}?.querySelector('.seat').textContent === '2'"),
        );
        rehearsal.order(&["order", "2", "1"]);
        browser.wait("it back", &format!("{row}?.querySelector('.seat').textContent === '1'"));
        browser.expect_quiet();
    });
}

#[test]
fn a_new_address_of_the_board_is_shown_and_the_old_one_says_so() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("new-board");
        let _runa = rehearsal.harp("Runa", 0);
        let old = rehearsal.address("board");
        let browser = Browser::open(tools);
        let board = browser.page();
        browser.go(&old);
        browser.wait("the board", "document.querySelectorAll('#rows .row').length === 1");
        browser.new_page();
        browser.go(&rehearsal.address("control"));
        let shown = "document.getElementById('board').textContent";
        browser.wait("the address", &format!("{shown} === '{old}'"));
        browser.click("new-board");
        browser.wait(
            "what it does",
            "document.getElementById('bar').innerText.includes('sees nothing more')",
        );
        assert_eq!(browser.text(shown), old, "nothing is sent yet");
        browser.click("send");
        browser.wait("the new one", &format!("{shown} !== '{old}' && {shown} !== ''"));
        let new = browser.text(shown);
        browser.turn_to(&board);
        browser.wait(
            "that it is closed",
            "document.getElementById('headline').textContent.includes('ask the leader')",
        );
        browser.go(&old);
        browser.wait("a sentence", "document.body.textContent.includes('ask the leader')");
        browser.go(&new);
        browser.wait(
            "the board again",
            "document.querySelectorAll('#rows .row').length === 1",
        );
    });
}

/// There is no microphone where tests run, or none that hears an A: either way it is said, and nothing is proposed.
#[test]
fn what_keeps_this_laptop_from_measuring_is_said_beside_the_button() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("measure");
        let browser = Browser::open(tools);
        browser.go(&rehearsal.address("control"));
        browser.wait("the button", "!document.getElementById('measure').parentElement.hidden");
        browser.click("measure");
        let said = "document.getElementById('measuring').textContent";
        browser.wait("that it listens", &format!("{said} !== ''"));
        browser.wait(
            "the end",
            &format!(
                "document.getElementById('measure').textContent === 'Measure the A' && !{said}.startsWith('Listening')"
            ),
        );
        assert!(browser.text(said).len() > 20, "{}", browser.text(said));
        browser.picture(&screens().join("control-measure.png"));
        assert_eq!(rehearsal.status()["proposed_hz"], serde_json::Value::Null);
    });
}
