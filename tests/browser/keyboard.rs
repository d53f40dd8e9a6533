//! The keyboard alone: every control is reached, its focus is seen, and the desk's keys do what they say.

use std::collections::BTreeSet;

use serde_json::Value;

use crate::browser::Browser;
use crate::network::alone;
use crate::rehearsal::Rehearsal;

const TAB: char = '\u{e004}';
const LEFT: char = '\u{e012}';

/// Everything that can be used, each radio group once; the page keeps the list.
const CONTROLS: &str = "
const usable = [...document.querySelectorAll('a[href], button, input, select, textarea, summary, [tabindex]')]
  .filter((part) => !part.disabled && part.getClientRects().length && part.tabIndex >= 0);
const chosen = (part) => part.type !== 'radio' || part.checked;
window.controls = usable.filter(chosen);
window.told = (part) => `${part.tagName.toLowerCase()} ${part.id || part.getAttribute('aria-label') || part.textContent.trim()}`;
return window.controls.map(told);";

/// Where the focus is: which control, and what keeps it from being seen.
const FOCUS: &str = "
const part = document.activeElement;
if (part === document.body) return null;
const frame = part.closest('label.choice') ?? part;
const style = getComputedStyle(frame);
const { left, top, width, height } = frame.getBoundingClientRect();
const [x, y] = [left + width / 2, top + height / 2];
const above = document.elementFromPoint(x, y);
const hidden = style.outlineStyle === 'none' || parseFloat(style.outlineWidth) < 2 ? 'no outline'
  : !above || !(frame.contains(above) || above.contains(frame)) ? `covered by ${above && told(above)}` : null;
return [told(part), hidden];";

#[track_caller]
fn expect_all_reached(browser: &Browser, what: &str) {
    let named = |list: &Value| -> BTreeSet<String> {
        let list = list.as_array().expect("a list");
        list.iter().filter_map(|one| one.as_str().map(str::to_owned)).collect()
    };
    let controls = named(&browser.run(CONTROLS));
    let mut reached = BTreeSet::new();
    // A few more than there are: the browser may rest on the page itself between two rounds.
    for _ in 0..controls.len() + 3 {
        browser.press([TAB]);
        let focus = browser.run(FOCUS);
        if let Some(control) = focus[0].as_str() {
            assert_eq!(focus[1], Value::Null, "{what}: the focus on “{control}” is not seen");
            reached.insert(control.to_owned());
        }
    }
    let missed: Vec<_> = controls.difference(&reached).collect();
    assert!(missed.is_empty(), "{what}: the keyboard does not reach {missed:?}");
}

#[test]
fn every_control_is_reached_by_the_keyboard_and_shows_that_it_is() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("keyboard");
        let runa = rehearsal.harp("Runa", 0);
        let browser = Browser::open(tools);
        for (what, address, there) in [
            ("board", rehearsal.address("board"), "document.querySelector('.row')"),
            (
                "control",
                rehearsal.address("control"),
                "document.querySelector('.harp button')",
            ),
            (
                "desk",
                runa.desk.clone(),
                "document.getElementById('chosen').options.length",
            ),
        ] {
            browser.go(&address);
            browser.wait(what, there);
            expect_all_reached(&browser, what);
            browser.expect_quiet();
        }
    });
}

#[test]
fn the_keys_of_the_desk_choose_a_string_and_mark_it() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("keys");
        let runa = rehearsal.harp("Runa", 0);
        let browser = Browser::open(tools);
        browser.go(&runa.desk);
        browser.wait("the desk", "document.getElementById('chosen').value === '26'");
        for (key, says) in [('m', "4B: missing"), ('n', "4B: new"), ('0', "4B: not heard yet")] {
            // Left of middle C is the B below it.
            browser.run("document.activeElement.blur()");
            browser.wait("middle C in hand", "document.getElementById('chosen').value === '26'");
            browser.press([LEFT, key]);
            browser.wait(
                says,
                &format!("[...document.querySelectorAll('#strings li')].some((line) => line.textContent === '{says}')"),
            );
        }
        browser.expect_quiet();
    });
}

/// A key that was pressed, or that is held down and comes again and again.
const KEY: &str = "
const [key, repeat, id] = [KEY, REPEAT, ID];
const target = id ? document.getElementById(id) : document.body;
return target.dispatchEvent(new KeyboardEvent('keydown', { key, repeat, bubbles: true, cancelable: true }));";

#[test]
fn a_key_that_is_held_down_is_one_key_and_one_pressed_twice_marks_nothing_that_comes_next() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("held-keys");
        let runa = rehearsal.harp("Runa", 0);
        let browser = Browser::open(tools);
        browser.go(&runa.desk);
        browser.wait("the desk", "document.getElementById('chosen').value === '26'");
        // What the page wishes is kept, and goes on its way.
        browser.run(
            "const send = window.fetch;
             window.wishes = [];
             window.fetch = (target, asked) => { if (target === 'wish') window.wishes.push(JSON.parse(asked.body)); return send(target, asked); };",
        );
        let key = |key: &str, repeat: bool, id: &str| {
            let script = KEY.replace("KEY", &format!("'{key}'"));
            browser.run(
                &script
                    .replace("REPEAT", &repeat.to_string())
                    .replace("ID", &format!("'{id}'")),
            )
        };
        for toggles in ["h", "l", "u", "n", "m", "0", "f", "w"] {
            key(toggles, true, "");
        }
        assert_eq!(browser.text("JSON.stringify(window.wishes)"), "[]");
        // On a button a browser would press it with every repeat.
        assert_eq!(key("Enter", true, "help"), false, "a held key is stopped");
        assert_eq!(key("Enter", false, "help"), true, "a pressed one is not");
        // Pressed twice, with time for the desk to go on to the next string.
        key("m", false, "");
        browser.wait(
            "the next string",
            "document.getElementById('strings').textContent.includes('4C: missing')",
        );
        key("m", false, "");
        let marked = browser.text("JSON.stringify(window.wishes.map(({ string, mark }) => [string, mark]))");
        assert_eq!(marked, r#"[[26,"missing"],[26,"missing"]]"#);
        browser.wait(
            "the next string in hand",
            "document.getElementById('chosen').value !== '26'",
        );
        browser.expect_quiet();
    });
}
