//! The desk: it follows the sound, and never goes on advising when its station has ended.

use consort_tests::process::run;

use crate::axe::Rules;
use crate::browser::{Browser, LAPTOP, PHONE, SMALL_LAPTOP, THEMES, WALL};
use crate::gallery::show;
use crate::network::alone;
use crate::rehearsal::{Rehearsal, free_ports, wait_for};
use crate::tools::screens;

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
        // What sounds while the page sleeps is there when it wakes.
        browser.sleeps(true);
        runa.play("clean-29-cb5.flac");
        browser.sleeps(false);
        // Nobody asked for it, so that it counts once it has stood alone; what is said before then may change.
        browser.wait(
            "advice",
            "document.getElementById('word').textContent === 'Tighten' \
             && document.getElementById('strings').textContent.includes('3C: 26 cents flat')",
        );
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
        // Nobody asked for it: it is a reading once it has stood alone.
        browser.wait(
            "the reading",
            "document.getElementById('strings').textContent.includes('3C: 2')",
        );
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

/// Where everything is that an eye looks for.
const PLACES: &str = "return JSON.stringify(['hand', 'bow', 'word', 'harp', 'mark'].map((id) => document.getElementById(id).getBoundingClientRect().top))";

/// What the harpist is asked.
const ASKED: &str = "JSON.stringify([...document.querySelectorAll('#questions p')].map((asked) => asked.textContent))";

#[test]
fn of_several_questions_one_is_asked_and_the_others_are_counted_in_the_same_row() {
    alone(|tools| {
        let (_show, [.., port]) = show(1, "");
        let browser = Browser::open(tools);
        let desk = |state: &str| format!("http://127.0.0.1:{port}/{state}/");
        for screen in [LAPTOP, SMALL_LAPTOP, WALL] {
            browser.screen(screen);
            browser.go(&desk("flat"));
            browser.wait("advice", "document.getElementById('word').textContent === 'Tighten'");
            let quiet = browser.run(PLACES);
            browser.go(&desk("asked"));
            browser.wait(
                "the question",
                "document.querySelector('#questions .others')?.textContent === 'and 2 more'",
            );
            assert_eq!(browser.run(PLACES), quiet, "{}", screen.name);
            let mut asked = vec![browser.text(ASKED)];
            for _ in 0..2 {
                browser.run("document.querySelector('#questions .others').click()");
                assert_eq!(browser.run(PLACES), quiet, "{}", screen.name);
                asked.push(browser.text(ASKED));
            }
            asked.sort();
            asked.dedup();
            assert_eq!(asked.len(), 3, "each of them comes: {asked:?}");
            browser.run("document.querySelector('#questions .others').click()");
            assert!(browser.text(ASKED).contains("To tighten"), "the first one again");
        }
        browser.expect_quiet();
    });
}

/// What the guide has to say is moved by sound alone; what the harpist answers, by single keys.
#[test]
fn the_harpist_answers_by_single_keys_and_is_asked_once_which_way_her_key_goes() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("desk-keys");
        let mut runa = rehearsal.harp("Runa", 0);
        let browser = Browser::open(tools);
        browser.go(&runa.desk);
        runa.play("clean-29-cb5.flac");
        browser.wait("advice", "document.getElementById('word').textContent === 'Tighten'");
        let asked = "document.getElementById('questions').textContent.includes('which way')";
        browser.wait("the question", asked);
        let asks = browser.run(PLACES);
        browser.answer("Away from you");
        browser.wait(
            "where the key goes",
            "document.getElementById('far').textContent.endsWith('away from you')",
        );
        browser.wait("no question any more", &format!("!{asked}"));
        assert_eq!(browser.run(PLACES), asks, "the question has moved nothing");
        // Drawn with the next picture, which may come later than the words.
        browser.wait(
            "the handle where it is and where it goes",
            "document.querySelectorAll('#bow .handle').length === 2",
        );
        // Taken back, and said again.
        browser.press(['u']);
        browser.wait("the question again", asked);
        browser.press(['l']);
        browser.wait(
            "the last check",
            "document.getElementById('word').textContent === 'Play on'",
        );
        browser.press(['l']);
        browser.wait("no check", "document.getElementById('word').textContent !== 'Play on'");
        rehearsal.order(&["pitch", "442"]);
        browser.wait(
            "the change",
            "document.getElementById('message').textContent.startsWith('Changed')",
        );
        browser.press([' ']);
        browser.wait(
            "that it was seen",
            "document.getElementById('message').textContent === 'With Ensemble.'",
        );
        // Pressed twice, it says nothing of what comes next.
        browser.press([' ', ' ']);
        browser.expect_quiet();
    });
}

/// A C flat 6 that was just put on sounds about where the C flat 5 of the recording does.
#[test]
fn a_string_that_is_chosen_by_hand_is_heard_an_octave_below_until_she_lets_it_go() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("desk-follow");
        let mut runa = rehearsal.harp("Runa", 0);
        let browser = Browser::open(tools);
        browser.go(&runa.desk);
        browser.wait("the strings", "document.getElementById('chosen').options.length === 47");
        browser.run(
            "const chosen = document.getElementById('chosen'); chosen.value = 12; \
             chosen.dispatchEvent(new Event('change')); chosen.blur();",
        );
        browser.press(['f']);
        let follows = "document.getElementById('follow').getAttribute('aria-pressed') === 'true'";
        browser.wait("that it is followed", follows);
        browser.wait(
            "what that means",
            "document.getElementById('why').textContent.startsWith('Chosen by hand')",
        );
        runa.play("clean-29-cb5.flac");
        let cents = "Number(document.getElementById('cents').textContent)";
        browser.wait(
            "the way up",
            &format!("document.getElementById('word').textContent === 'Tighten' && {cents} > 1190 && {cents} < 1260"),
        );
        browser.press(['f']);
        browser.wait("that it is let go", &format!("!({follows})"));
        runa.play("clean-29-cb5.flac");
        browser.wait(
            "the string that it is",
            &format!("document.getElementById('word').textContent === 'Tighten' && {cents} > 5 && {cents} < 60"),
        );
        browser.expect_quiet();
    });
}

#[test]
fn from_the_start_the_desk_is_dark_and_hears_nothing_until_the_next_round() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("desk-dark");
        let mut runa = rehearsal.harp("Runa", 0);
        let browser = Browser::open(tools);
        browser.go(&runa.desk);
        browser.wait("the desk", "document.getElementById('word').textContent === 'Pluck'");
        rehearsal.order(&["start", "0"]);
        browser.wait("darkness", "!document.getElementById('dark').hidden");
        assert_eq!(
            browser.text("document.getElementById('dark-clock').textContent.includes(':')"),
            "true"
        );
        // No key does anything there but the one that wakes it.
        browser.press(['r', 's', 'e', 'm']);
        let open = "document.querySelectorAll('dialog[open]').length";
        assert_eq!(browser.text(open), "0", "nothing is lit in the dark");
        runa.play("clean-47-gb7.flac");
        rehearsal.order(&["round"]);
        browser.wait("light", "document.getElementById('dark').hidden");
        assert_eq!(
            browser.text(SAYS_0G),
            "0G: not heard yet",
            "what she performed is no reading"
        );
        runa.play("clean-47-gb7.flac");
        browser.wait("a reading", &format!("{SAYS_0G} === '0G: set once'"));
        browser.expect_quiet();
    });
}

#[test]
fn another_harp_is_set_up_on_the_page_seen_drawn_played_and_taken_back() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("desk-harp");
        let mut runa = rehearsal.harp("Runa", 0);
        let (browser, rules) = (Browser::open(tools), Rules::read(tools));
        browser.go(&runa.desk);
        browser.wait("that nobody has said it", "!document.getElementById('fresh').hidden");
        // In the middle of a tuning.
        runa.play("clean-47-gb7.flac");
        browser.wait("a reading", &format!("{SAYS_0G} === '0G: set once'"));
        browser.press(['s']);
        browser.wait("the set-up", "document.getElementById('setup').open");
        let choose = |id: &str, text: &str| {
            browser.run(&format!(
                "const list = document.getElementById('{id}'); list.value = [...list.options].find((o) => o.text.startsWith('{text}')).value; list.dispatchEvent(new Event('change'));"
            ));
        };
        choose("size", "Lever harp, 22");
        let drawn = "document.querySelectorAll('#harp-drawn .label').length";
        assert!(
            browser.text(drawn).parse::<u32>().expect("labels") > 4,
            "it is seen drawn"
        );
        choose("letter-F", "sharp");
        for (theme, scheme) in THEMES {
            browser.prefer(scheme);
            for screen in [LAPTOP, PHONE] {
                browser.screen(screen);
                let violated = rules.violated_by(&browser);
                assert!(violated.is_empty(), "{theme}, {}: {}", screen.name, violated.join("\n"));
                browser.picture(&screens().join(format!("desk-setup-{theme}-{}.png", screen.name)));
            }
        }
        browser.screen(LAPTOP);
        browser.run("document.getElementById('harp-play').click()");
        browser.wait(
            "the harp of 22 strings",
            "document.querySelectorAll('#strings li').length === 22 && document.getElementById('fresh').hidden",
        );
        let unheard = "[...document.querySelectorAll('#strings li')].filter((line) => line.textContent.endsWith('not heard yet')).length";
        assert_eq!(
            browser.text(unheard),
            "22",
            "what was heard of the other harp says nothing of this one"
        );
        browser.press(['u']);
        browser.wait(
            "the harp before",
            "document.querySelectorAll('#strings li').length === 47",
        );
        // The link's fall while the station starts anew is noted by the browser, and nothing else.
        let complaints = browser.complaints();
        assert!(complaints.iter().all(|said| said.contains("live")), "{complaints:?}");
    });
}

#[test]
fn what_was_wrong_is_kept_as_a_sound_that_listen_hears_again() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("desk-wrong");
        let mut runa = rehearsal.harp("Runa", 0);
        let browser = Browser::open(tools);
        browser.go(&runa.desk);
        runa.play("clean-29-cb5.flac");
        browser.wait("advice", "document.getElementById('word').textContent === 'Tighten'");
        browser.press(['w']);
        browser.wait(
            "where it is kept",
            "document.getElementById('notices').textContent.includes('.wav')",
        );
        // The ear writes it with the next sound.
        runa.play("clean-47-gb7.flac");
        let told = browser.text("document.getElementById('notices').textContent");
        let path = told
            .split(", in ")
            .nth(1)
            .and_then(|rest| rest.strip_suffix('.'))
            .expect("a path");
        let heard = wait_for("the file", || {
            let output = run("consort-station", &["listen", path, "--json"]);
            output
                .status
                .success()
                .then(|| String::from_utf8_lossy(&output.stdout).into_owned())
        });
        assert!(heard.contains(r#""note":"Cb5""#), "{heard}");
        let said = std::fs::read_to_string(path.replace(".wav", ".jsonl")).expect("the events");
        assert!(said.contains("Tighten"), "{said}");
    });
}

/// How often a sentence may change for those who hear the page, in milliseconds, and what sixty sentences come to: before
/// its time none of them, and then the last.
const SPEAKS: &str = "
const told = arguments[0];
import(`${location.origin}/follow.js`).then(({ speak }) => {
  const ticks = [];
  const real = window.setInterval;
  window.setInterval = (tick, every) => ticks.push([tick, every]);
  const heard = document.createElement('p');
  heard.id = 'heard';
  document.body.append(heard);
  const tell = speak('heard');
  window.setInterval = real;
  for (let n = 0; n < 60; n += 1) tell(`Sentence ${n}.`);
  const [[tick, every]] = ticks;
  const before = heard.textContent;
  tick();
  told([every, before, heard.textContent]);
  heard.remove();
});";

#[test]
fn a_message_moves_nothing_and_two_windows_show_one_desk() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("desk-still");
        let mut runa = rehearsal.harp("Runa", 0);
        let browser = Browser::open(tools);
        browser.go(&runa.desk);
        let second = browser.page();
        let first = browser.new_page();
        browser.go(runa.desk.split('#').next().expect("an address"));
        browser.wait("the desk", "document.getElementById('word').textContent === 'Pluck'");
        const PLACES: &str = "return JSON.stringify(['name', 'word', 'bow', 'harp'].map((id) => document.getElementById(id).getBoundingClientRect().top))";
        let before = browser.run(PLACES);
        rehearsal.order(&["pitch", "442"]);
        let changed = "document.getElementById('message').textContent.startsWith('Changed')";
        browser.wait("the change", changed);
        assert_eq!(browser.run(PLACES), before);
        browser.turn_to(&second);
        browser.wait("the change in the other window", changed);
        assert_eq!(
            browser.run_until_told(SPEAKS),
            serde_json::json!([2500, "", "Sentence 59."])
        );
        browser.press([' ']);
        browser.wait(
            "that it was seen",
            "document.getElementById('message').textContent === 'With Ensemble.'",
        );
        browser.turn_to(&first);
        browser.wait(
            "the same here",
            "document.getElementById('message').textContent === 'With Ensemble.'",
        );
        runa.play("clean-29-cb5.flac");
        browser.wait("advice", "document.getElementById('word').textContent === 'Tighten'");
    });
}

/// The recorded G flat has the pitch of an F in sharp, and the G itself stands in natural.
#[test]
fn a_string_is_compared_as_its_pedal_stands_and_turned_only_in_flat() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("desk-pedals");
        let mut runa = rehearsal.harp("Runa", 0);
        let browser = Browser::open(tools);
        browser.go(&runa.desk);
        let word = "document.getElementById('word').textContent";
        browser.wait("the desk", &format!("{word} === 'Pluck'"));
        browser.press(['p']);
        let pedal = |name: &str, stands: &str| {
            browser.run(&format!(
                "[...document.querySelectorAll('#pedals button')].find((button) => button.textContent.startsWith('{name}')).click()"
            ));
            browser.wait(
                stands,
                &format!("[...document.querySelectorAll('#pedals button')].some((button) => button.textContent === '{stands}')"),
            );
        };
        pedal("F", "F♮");
        pedal("F", "F♯");
        pedal("G", "G♮");
        browser.wait(
            "that it is said",
            "document.getElementById('message').textContent.startsWith('The pedals stand in')",
        );
        runa.play("clean-26-gb4.flac");
        browser.wait(
            "how it stands",
            &format!("['Flat', 'Sharp', 'In tune'].includes({word})"),
        );
        assert_eq!(browser.text("document.querySelector('#name .f').textContent"), "F");
        assert_eq!(
            browser.text("document.getElementById('far').textContent"),
            "",
            "nothing to turn"
        );
        assert!(
            browser
                .text("document.getElementById('why').textContent")
                .contains("only with the F pedal in flat")
        );
        browser.picture(&screens().join("desk-stands.png"));
        let heard = rehearsal.status()["stations"][0]["strings"].to_string();
        assert_eq!(
            heard.matches("not-heard").count(),
            47,
            "it is no reading of the open string"
        );
        browser.run("document.querySelector('#pedals .all').click()");
        browser.wait(
            "all in flat",
            "document.getElementById('message').textContent.startsWith('With ')",
        );
        runa.play("clean-26-gb4.flac");
        browser.wait("the G", "document.getElementById('name').textContent.includes('G')");
        wait_for("its reading", || {
            let heard = rehearsal.status()["stations"][0]["strings"].to_string();
            (heard.matches("not-heard").count() == 46).then_some(())
        });
        browser.expect_quiet();
    });
}

/// Middle C is 4C the harpist's way, C4 in acoustics; the top string of a harp of 47 is G flat 7.
#[test]
fn strings_are_called_the_harpists_way_in_the_set_up_until_she_wants_it_otherwise() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("desk-names");
        let runa = rehearsal.harp("Runa", 0);
        let browser = Browser::open(tools);
        browser.go(&runa.desk);
        browser.wait("the desk", "document.getElementById('word').textContent === 'Pluck'");
        browser.press(['s']);
        let option = |place: u32| format!("document.getElementById('from').options[{place}]?.textContent");
        browser.wait("the top string", &format!("{} === '0G♭, nylon'", option(0)));
        assert_eq!(browser.text(&option(25)), "4C♭, gut");
        browser.run(
            "const names = document.getElementById('octaves'); names.value = 'scientific'; names.dispatchEvent(new Event('change'));",
        );
        browser.wait("the other way", &format!("{} === 'G♭7, nylon'", option(0)));
        browser.expect_quiet();
    });
}

/// The longest name that an ensemble can have.
#[test]
fn a_long_name_of_the_ensemble_pushes_nothing_on_the_desk() {
    alone(|tools| {
        let rehearsal = Rehearsal::open("desk-long");
        let runa = rehearsal.harp("Runa", 0);
        let browser = Browser::open(tools);
        browser.screen(LAPTOP);
        browser.go(&runa.desk);
        browser.wait("the desk", "document.getElementById('word').textContent === 'Pluck'");
        let top = || browser.run("return document.getElementById('hand').getBoundingClientRect().top");
        browser.wait(
            "the ensemble",
            "document.getElementById('message').textContent.startsWith('With ')",
        );
        let before = top();
        let long = "The United Harps of the Upper and the Lower Alder Valley and Friends".repeat(2);
        browser.run(&format!(
            "document.getElementById('message').textContent = 'With {long}.'"
        ));
        assert_eq!(top(), before);
        browser.picture(&screens().join("desk-long-name.png"));
    });
}
