//! The board as director and leader use it: who is shown to whom, rows that stay where they are, and what a change costs.

use crate::browser::{Browser, LAPTOP, PHONE, SMALL_LAPTOP, WALL};
use crate::gallery::show;
use crate::network::alone;
use crate::rehearsal::{Rehearsal, wait_for};
use crate::tools::screens;

const BAR: &str = "document.getElementById('bar').innerText";
const PAGE: &str = "document.body.innerText";

/// So many harps are on the board.
fn shown(harps: u32) -> String {
    format!("document.querySelectorAll('#rows .row, #ready li').length >= {harps}")
}

#[test]
fn a_wall_shows_seats_and_a_phone_people_until_somebody_chooses() {
    alone(|tools| {
        let (_show, [board, ..]) = show(12, "");
        let board = format!("http://127.0.0.1:{board}/show/");
        let browser = Browser::open(tools);
        browser.screen(WALL);
        browser.go(&board);
        browser.wait("the wall", &shown(11));
        let page = browser.text(PAGE);
        assert!(page.contains("harps need until"), "{page}");
        // Nobody's name, and nothing of anybody's strings.
        for personal in ["Jonne", "Tamsin", "will not hold"] {
            assert!(!page.contains(personal), "{personal} on the wall:\n{page}");
        }
        let choose = |people: &str| {
            browser.run(&format!(
                "const people = document.getElementById('people'); people.value = '{people}'; people.dispatchEvent(new Event('change'))"
            ));
        };
        choose("names");
        browser.wait(
            "names",
            &format!("{PAGE}.includes('Jonne') && {PAGE}.includes('will not hold')"),
        );
        choose("initials");
        browser.wait(
            "no names any more",
            "!document.getElementById('when').innerText.includes('Jonne')",
        );
        browser.screen(PHONE);
        browser.go(&board);
        browser.wait("the phone", &format!("{} && {PAGE}.includes('Jonne')", shown(11)));
        browser.expect_quiet();
    });
}

#[test]
fn sixty_harpists_of_one_name_with_markup_in_it_are_told_apart_by_their_seats() {
    alone(|tools| {
        let (_show, [board, ..]) = show(60, "alike");
        let browser = Browser::open(tools);
        browser.go(&format!("http://127.0.0.1:{board}/show/?names=show"));
        browser.wait("all of them", &shown(59));
        let seats = browser.run(
            "return new Set([...document.querySelectorAll('#rows .seat, #ready .seat')].map((seat) => seat.textContent)).size",
        );
        assert_eq!(seats, 59, "one was turned away");
        assert_eq!(
            browser.run("return document.querySelectorAll('main b:not(#hands b)').length"),
            0
        );
        assert!(browser.text(PAGE).contains("Anna <b>of</b> Wend"));
        browser.expect_quiet();
    });
}

#[test]
fn a_wall_that_has_room_again_says_names_by_itself() {
    alone(|tools| {
        let (running, [board, ..]) = show(60, "alike");
        let browser = Browser::open(tools);
        browser.screen(SMALL_LAPTOP);
        browser.go(&format!("http://127.0.0.1:{board}/show/?names=show"));
        browser.wait("fewer words", "document.getElementById('shorter').textContent !== ''");
        assert_eq!(browser.text("document.body.dataset.people"), "seats");
        browser.run_until_told(
            "const told = arguments[0];
             Promise.all([import('./board.js'), fetch('board.json').then((answer) => answer.json())])
               .then(([{ show }, { harps, ...board }]) => {
                 window.six = () => show({ ...board, harps: harps.slice(0, 6), hands: [], room: [], together: null, remains: null });
                 told(true);
               });",
        );
        // All but six have gone, nobody needs a hand, and no picture comes after that.
        drop(running);
        browser.wait("that the board is alone", "document.body.classList.contains('lost')");
        browser.run("window.six()");
        browser.wait(
            "names again",
            "document.body.dataset.people === 'names' && !document.body.classList.contains('terse')",
        );
        assert_eq!(browser.text("document.getElementById('shorter').textContent"), "");
    });
}

/// Seats in the order of their rows.
const ROWS: &str = "[...document.querySelectorAll('#rows .row .seat')].map((seat) => seat.textContent).join()";

#[test]
fn rows_take_another_order_only_after_a_while_and_slide_into_it() {
    alone(|tools| {
        let (running, [board, ..]) = show(12, "");
        let browser = Browser::open(tools);
        browser.prefer_motion("dark", "no-preference");
        browser.go(&format!("http://127.0.0.1:{board}/show/"));
        browser.wait("the board", &shown(11));
        // Six harps that tune, each ready a minute after the one before it, or before it where the order is turned.
        browser.run_until_told(
            "const told = arguments[0];
             const now = Date.now;
             window.later = 0;
             Date.now = () => now() + window.later;
             Promise.all([import('./board.js'), fetch('board.json').then((answer) => answer.json())])
               .then(([{ show }, { harps, ...board }]) => {
                 const minutes = (count) => [count * 60 - 20, count * 60, count * 60 + 20];
                 window.six = (turned, ready) => show({ ...board, harps: harps.slice(0, 6).map((harp, place) => ({
                   ...harp, presence: 'here', against: 'open', state: harp.seat === ready ? 'ready' : 'tuning',
                   ready_in_s: minutes(turned ? 6 - place : 1 + place) })) });
                 told(true);
               });",
        );
        drop(running);
        browser.wait("that the board is alone", "document.body.classList.contains('lost')");
        browser.run("window.six(false)");
        assert_eq!(browser.text(ROWS), "6,5,4,3,2,1", "the last to be ready first");
        browser.wait(
            "that nothing slides any more",
            "document.getElementById('rows').getAnimations({ subtree: true }).length === 0",
        );
        browser.run("window.later = 9000; window.six(true)");
        assert_eq!(browser.text(ROWS), "6,5,4,3,2,1", "rows that jump cannot be read");
        let slides = browser.text(
            "(() => { window.later = 11000; window.six(true);
               const slides = document.getElementById('rows').getAnimations({ subtree: true });
               return slides.map((slide) => slide.effect.getTiming().duration).join(); })()",
        );
        assert_eq!(browser.text(ROWS), "1,2,3,4,5,6");
        assert_eq!(slides, "400,400,400,400,400,400");
        // Whoever is ready leaves at once.
        browser.run("window.six(true, 3)");
        assert_eq!(browser.text(ROWS), "1,2,4,5,6");
    });
}

#[test]
fn rows_keep_their_places_while_a_harp_is_tuned() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("places");
        let (mut runa, _teodor) = (rehearsal.harp("Runa", 0), rehearsal.harp("Teodor", 0));
        rehearsal.order(&["start", "25"]);
        let browser = Browser::open(tools);
        browser.go(&format!("{}?names=show", rehearsal.address("board")));
        browser.wait("both harps", &shown(2));
        let places = "return [...document.querySelectorAll('h1, #rows .row, #rows .left')].map((part) => Math.round(part.getBoundingClientRect().top)).join()";
        let before = browser.run(places);
        runa.play("clean-47-gb7.flac");
        browser.wait(
            "the string",
            "document.querySelector('#rows').textContent.includes('One string set once: 0G.')",
        );
        assert_eq!(browser.run(places), before);
        // A called string stands beside, and nothing that was there moves.
        rehearsal.order(&["call", "0G"]);
        browser.wait("the called string", "!document.getElementById('called').hidden");
        assert_eq!(browser.run(places), before);
        browser.expect_quiet();
    });
}

#[test]
fn the_control_says_what_a_high_pitch_a_past_start_and_a_moved_pedal_mean_before_anything_is_sent() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("costs");
        let browser = Browser::open(tools);
        let first = browser.page();
        browser.go(&rehearsal.address("control"));
        browser.wait("the control", &format!("{BAR}.includes('A = 440')"));
        browser.type_into("hz", "4425");
        browser.wait(
            "the point that is missing",
            &format!("{BAR}.includes('was 442.5 meant?')"),
        );
        browser.type_into("hz", "445");
        // (445/440)² is 1.0229.
        browser.wait(
            "what it means in tension",
            &format!("{BAR}.includes('2.3 % more tension') && {BAR}.includes('23 kg')"),
        );
        // On a phone it leaves most of the page in sight.
        browser.screen(PHONE);
        let share = browser.run("return document.getElementById('bar').getBoundingClientRect().height / innerHeight");
        assert!(share.as_f64().is_some_and(|share| share < 0.4), "{share} of a phone");
        browser.picture(&screens().join("control-high-phone.png"));
        browser.screen(LAPTOP);
        browser.run("document.querySelector('#temperaments input[value=\"vallotti\"]').click()");
        browser.wait(
            "what a moved pedal costs",
            "document.getElementById('pedals-say').textContent.includes('A pedal moved from this setting')",
        );
        browser.run(
            "const start = document.getElementById('start'); const now = new Date(Date.now() - 120000);
             start.value = now.toTimeString().slice(0, 5); start.dispatchEvent(new Event('change'))",
        );
        browser.wait(
            "that it has passed",
            &format!("{BAR}.includes('tomorrow: today that has passed')"),
        );
        assert_eq!(rehearsal.status()["pitch_hz"], 440.0, "nothing is sent yet");
        // A second page sends something meanwhile: the first one says so.
        let second = browser.new_page();
        browser.go(&rehearsal.address("control"));
        browser.wait("the second control", &format!("{BAR}.includes('A = 440')"));
        browser.type_into("hz", "441");
        browser.wait("that it can be sent", "!document.getElementById('send').disabled");
        browser.click("send");
        wait_for("the pitch", || (rehearsal.status()["pitch_hz"] == 441.0).then_some(()));
        browser.turn_to(&first);
        browser.wait(
            "what happened elsewhere",
            &format!("{BAR}.includes('Meanwhile it became A = 441')"),
        );
        browser.turn_to(&second);
        browser.expect_quiet();
    });
}

#[test]
fn what_the_session_came_to_is_a_page_a_table_and_an_object() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("summary");
        let _runa = rehearsal.harp("Runa <i>", 0);
        let browser = Browser::open(tools);
        browser.go(&rehearsal.address("control"));
        browser.wait("the control", "document.querySelector('.harp')");
        let kept = browser.run_until_told(
            "const told = arguments[0];
             Promise.all(['summary.csv', 'summary.json'].map((file) => fetch(file).then((answer) => answer.text()))).then(told)",
        );
        assert!(
            kept[0].as_str().is_some_and(|csv| csv.lines().count() == 48),
            "{}",
            kept[0]
        );
        assert!(
            kept[1].as_str().is_some_and(|json| json.contains("Runa <i>")),
            "{}",
            kept[1]
        );
        browser.run("document.getElementById('print').click()");
        browser.wait("the page", "document.title.includes('what the session came to')");
        assert!(browser.text(PAGE).contains("Runa <i>"));
    });
}
