//! Reference tones: the leader silences all of them, and every desk says so.

use crate::browser::Browser;
use crate::network::alone;
use crate::rehearsal::Rehearsal;
use crate::tools::screens;

/// Whether the desk's tone is sounding.
const SOUNDS: &str = "document.getElementById('tone').getAttribute('aria-pressed')";

#[test]
fn one_button_silences_the_tones_of_all_desks_and_an_order_lets_them_sound_again() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("tones");
        let runa = rehearsal.harp("Runa", 0);
        let browser = Browser::open(tools);
        let desk = browser.page();
        browser.go(&runa.desk);
        browser.wait("the strings", "document.getElementById('chosen').options.length > 0");
        browser.press(['r']);
        browser.wait("the caution first", "document.getElementById('caution').open");
        assert_eq!(browser.text(SOUNDS), "false", "nothing sounds before it was read");
        browser.picture(&screens().join("desk-tone-caution.png"));
        browser.press(['r']);
        browser.wait("the tone", &format!("{SOUNDS} === 'true'"));
        let control = browser.new_page();
        browser.go(&rehearsal.address("control"));
        browser.wait("the button", "!document.getElementById('tones').hidden");
        browser.click("tones");
        browser.wait(
            "that they are silenced",
            "document.getElementById('tones').getAttribute('aria-pressed') === 'true'",
        );
        browser.turn_to(&desk);
        browser.wait(
            "that it is said",
            "document.getElementById('no-tone').textContent.includes('silenced the tones')",
        );
        assert_eq!(browser.text(SOUNDS), "false");
        browser.press(['r']);
        assert_eq!(browser.text(SOUNDS), "false", "a key is no way round it");
        assert_eq!(browser.text("document.getElementById('caution').open"), "false");
        browser.picture(&screens().join("desk-no-tone.png"));
        browser.turn_to(&control);
        browser.picture(&screens().join("control-no-tone.png"));
        rehearsal.order(&["tones", "on"]);
        browser.turn_to(&desk);
        browser.wait(
            "that they may sound",
            "!document.getElementById('tone').disabled && document.getElementById('no-tone').textContent === ''",
        );
        browser.expect_quiet();
    });
}
