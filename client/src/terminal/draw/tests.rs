//! What stands on the screen, in letters.

use super::*;
use consort_pages::{StringInHand, Telling};
use consort_proto::harp_file::preset;
use consort_proto::{Cents, Naming, Standing, StringNumber, Tuning};
use consort_words::Words;
use ratatui::Terminal;
use ratatui::backend::TestBackend;

fn page(word: &str, cents: Option<f64>, doubt: Option<&'static str>) -> DeskPage {
    let harp = preset("pedal-47").expect("a preset");
    let number = StringNumber::new(30).expect("a string");
    let string = harp.string(number).expect("a string");
    DeskPage {
        name: "Runa".to_owned(),
        harp: harp.name().to_owned(),
        tuning: Words::english().tuning(&Tuning::default()),
        says: "26 strings left".to_owned(),
        message: "With Alder Row Harps.".to_owned(),
        urgent: false,
        start: Some("14 min to the start".to_owned()),
        dark: false,
        link: "joined",
        health: String::new(),
        may_see: false,
        telling: Telling::default(),
        may_join: false,
        questions: Vec::new(),
        help: Some(false),
        no_tone: None,
        pedals: None,
        notices: Vec::new(),
        listening: None,
        string: Some(StringInHand::of(
            number,
            string,
            Standing::NotHeard,
            cents.map(Cents),
            Cents(2.0),
            Naming::Harp,
        )),
        word: word.to_owned(),
        far: cents.map(|_| "a little, away from you".to_owned()),
        turn: None,
        doubt,
        may_go_on: doubt.is_some(),
        next: Some("4E".to_owned()),
        why: "The key may be on another pin: turn that one back first, then look where this string's pin is."
            .to_owned(),
        place: Some("4 pins below middle C".to_owned()),
        sentence: String::new(),
        strings: harp
            .numbered()
            .map(|(number, string)| {
                let standing = match number.get() {
                    1..15 => Standing::NotHeard,
                    20 => Standing::Off(Cents(-9.0)),
                    33 => Standing::WillNotHold(Cents(-9.0)),
                    _ => Standing::Holds(Cents(0.0)),
                };
                DeskString::of(
                    number,
                    string,
                    standing,
                    &Tuning::default(),
                    Naming::Harp,
                    &Words::english(),
                )
            })
            .collect(),
    }
}

/// The longest address that a page can have.
const ADDRESS: &str = "http://127.0.0.1:65535/#0123456789abcdef0123456789abcdef";

/// The screen of so many columns and lines.
fn screen(page: &DeskPage, size: (u16, u16)) -> Vec<String> {
    screen_with(page, &Over::Nothing, None, size)
}

/// The same with something over the desk, and with a sentence of the terminal's own.
fn screen_with(page: &DeskPage, over: &Over, says: Option<&str>, (width, height): (u16, u16)) -> Vec<String> {
    let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a terminal");
    let words = Words::english();
    let beside = Beside {
        over,
        says,
        address: ADDRESS,
        words: &words,
    };
    terminal.draw(|frame| desk(frame, page, &beside)).expect("drawn");
    let buffer = terminal.backend().buffer().clone();
    let lines = buffer.content().chunks(usize::from(width));
    lines
        .map(|cells| cells.iter().map(|cell| cell.symbol()).collect())
        .collect()
}

#[test]
fn everything_that_is_needed_stands_in_80_columns_and_24_lines() {
    let shown = screen(&page("Tighten", Some(-14.2), None), (80, 24));
    let all = shown.join("\n");
    for text in [
        "TIGHTEN",
        "14.2 cents flat",
        "a little, away from you",
        "4 pins below middle C",
        "A = 440",
        "14 min",
        "With Alder Row Harps.",
        "26 strings left",
        "next 4E",
        "L last check",
        "that one back first",
    ] {
        assert!(all.contains(text), "{text} is missing:\n{all}");
    }
    let harp = shown.iter().find(|line| line.contains('◆')).expect("the harp");
    assert!(
        harp.contains('(') && harp.contains('┊') && harp.trim().chars().count() == 47,
        "{all}"
    );
    assert!(all.contains("░"), "what is off has an area:\n{all}");
}

#[test]
fn in_a_doubt_the_string_is_dotted_and_nothing_is_drawn_to_turn_by() {
    let all = screen(&page("Which pin?", None, Some("pin")), (80, 24)).join("\n");
    assert!(
        all.contains("WHICH PIN?") && all.contains('·') && all.contains("Space: I have looked"),
        "{all}"
    );
    assert!(!all.contains('░') && !all.contains("cents flat"), "{all}");
    // Nor on the harp below: string 20 is flat, and the doubt is whether it is.
    let mut flat = page("Which pin?", None, Some("pin"));
    flat.string.as_mut().expect("a string").string = 20;
    for (doubt, drawn) in [
        (Some("pin"), false),
        (Some("tuning"), false),
        (Some("pitch"), true),
        (None, true),
    ] {
        flat.doubt = doubt;
        let all = screen(&flat, (80, 24)).join("\n");
        assert_eq!(all.contains('('), drawn, "{doubt:?}:\n{all}");
    }
}

#[test]
fn a_question_stands_with_its_answers_where_it_does_not_cover_the_advice() {
    let answer = |says: &str| (says.to_owned(), serde_json::Value::Null);
    let asks = DeskPage {
        questions: vec![Question::new(
            "To tighten a string, which way does the handle of the key go on this harp?".to_owned(),
            ["Away from you", "Towards you", "Leave it out"].map(answer),
        )],
        ..page("Tighten", Some(-14.2), None)
    };
    let all = screen(&asks, (80, 24)).join("\n");
    for text in [
        "which way does the handle",
        "1 Away from you   2 Towards you   3 Leave it out",
        "TIGHTEN",
        "14.2 cents flat",
        "L last check",
    ] {
        assert!(all.contains(text), "{text} is missing:\n{all}");
    }
}

#[test]
fn from_the_start_there_is_one_line_and_no_more() {
    let dark = DeskPage {
        dark: true,
        message: "The start has passed: nothing is heard until the next round.".to_owned(),
        ..page("Tighten", Some(-14.2), None)
    };
    let shown = screen(&dark, (80, 24));
    assert_eq!(
        shown.iter().filter(|line| !line.trim().is_empty()).count(),
        1,
        "{shown:?}"
    );
}

#[test]
fn a_terminal_of_any_size_shows_what_fits() {
    let page = with_check(page("Loosen", Some(44.0), None), true);
    for size in [(1, 1), (20, 5), (40, 12), (80, 24), (200, 60)] {
        for over in overs() {
            let shown = screen_with(&page, &over, Some("There is no output."), size);
            assert_eq!(shown.len(), usize::from(size.1));
        }
    }
}

#[test]
fn the_keys_say_where_the_pedals_stand_and_which_string_is_followed() {
    let harp = preset("pedal-47").expect("a preset");
    let mut page = page("Tighten", Some(-640.0), None);
    page.telling.chosen = StringNumber::new(30).ok();
    page.pedals = consort_pages::DeskPedals::of(&harp, None, &Words::english());
    let all = screen(&page, (80, 24)).join("\n");
    for text in ["F let go", "0 no mark  P pedals", "Q end"] {
        assert!(all.contains(text), "{text} is missing:\n{all}");
    }
    let all = screen_with(&page, &Over::Feet, None, (80, 24)).join("\n");
    assert!(
        all.contains("D♭ C♭ B♭ | E♭ F♭ G♭ A♭   a letter moves its own   P that is how they stand"),
        "{all}"
    );
}

/// Everything that can lie over the desk.
fn overs() -> Vec<Over> {
    let harp = preset("pedal-47").expect("a preset");
    vec![
        Over::Nothing,
        Over::Feet,
        Over::Caution,
        Over::Ear(crate::terminal::ear::Ear::on(StringNumber::new(26).expect("a string"))),
        Over::SetUp(crate::terminal::setup::SetUp::of(&harp)),
        Over::Join("4829 13".to_owned()),
    ]
}

/// The page while strings are checked by listening: two together, or eight in turn.
fn with_check(page: DeskPage, together: bool) -> DeskPage {
    let sounds = if together {
        &["4C", "3C"][..]
    } else {
        &["4C", "4D", "3E", "3F", "3G", "3A", "3B", "3C"]
    };
    let swells = |beats: f64| (0..93).map(move |at| (std::f64::consts::PI * beats * 0.02 * f64::from(at)).cos().abs());
    DeskPage {
        listening: Some(consort_pages::ListeningPage {
            kind: if together { "octave" } else { "scale" },
            together,
            sounds: (0..)
                .zip(sounds)
                .map(|(at, name)| consort_pages::ListeningSound {
                    name: (*name).to_owned(),
                    letter: name[1..].to_owned(),
                    cents: (at < 3).then_some(f64::from(at) - 1.2),
                    now: at == 3,
                })
                .collect(),
            ask: "Pluck 4C and 3C together, equally loud, and let them ring for two seconds.".to_owned(),
            listen_for: "A clean octave stands still. Listen to the higher note: if it swells and fades, count how often."
                .to_owned(),
            found: Some("2.6 beats a second, 0.1 when all is in tune.".to_owned()),
            means: Some(
                "Each was in tune by itself. If both still are, 3C may be false: look what the record says of it before \
                 you change it."
                    .to_owned(),
            ),
            right: false,
            trouble: None,
            beats: together.then_some(2.6),
            expected: together.then_some(0.1),
            swell: swells(2.6).collect(),
            in_tune: swells(0.1).collect(),
        }),
        ..page
    }
}

#[track_caller]
fn expect_whole(shown: &[String], texts: &[&str]) {
    let all = shown.join("\n");
    for text in texts {
        assert!(all.contains(text), "{text} is missing:\n{all}");
    }
}

#[test]
fn two_strings_that_swell_are_drawn_above_what_they_do_in_tune() {
    let ear = &overs()[3];
    let page = with_check(page("Pluck", None, None), true);
    let shown = screen_with(&page, ear, None, (80, 24));
    expect_whole(
        &shown,
        &[
            "[1 octave]",
            " 6 scale",
            "Pluck 4C and 3C together",
            "count how often.",
            "as heard, 2.6 in a second",
            "in tune, 0.1 in a second",
            "2.6 beats a second, 0.1 when all is in tune.",
            "before you change it.",
            "nothing is kept as a reading",
            "the string, now 4C",
            "E back",
        ],
    );
    // It swells five times in two seconds, and in tune not once.
    let bars = |line: &String| line.chars().filter(|c| "▁▂▃▄▅▆▇█".contains(*c)).count();
    let drawn: Vec<&String> = shown.iter().filter(|line| bars(line) > 20).collect();
    assert_eq!(drawn.len(), 4, "{}", shown.join("\n"));
    let swells = drawn[0].split(' ').filter(|part| part.chars().count() > 1).count();
    assert!((4..=7).contains(&swells), "{swells}:\n{}", shown.join("\n"));
    assert!(!drawn[2].trim().contains(' '));
}

#[test]
fn strings_in_turn_show_what_was_heard_and_which_is_next() {
    let shown = screen_with(
        &with_check(page("Pluck", None, None), false),
        &overs()[3],
        None,
        (80, 24),
    );
    expect_whole(&shown, &["4C", "3B", "-1.2", "+0.8", "▼"]);
    let place = |text: &str| {
        let line = shown.iter().rfind(|line| line.contains(text)).expect("a line");
        line.split(text).next().expect("what stands before").chars().count()
    };
    assert!(place("▼").abs_diff(place("3F")) <= 1, "{}", shown.join("\n"));
    // A check that is none on this string says why in the place of what is to be plucked.
    let none = DeskPage {
        notices: vec!["This string has no octave above it on this harp.".to_owned()],
        ..page("Pluck", None, None)
    };
    expect_whole(
        &screen_with(&none, &overs()[3], None, (80, 24)),
        &["has no octave above it", "[1 octave]"],
    );
}

#[test]
fn the_set_up_shows_every_size_the_chosen_one_drawn_and_where_the_rest_is() {
    let shown = screen_with(&page("Pluck", None, None), &overs()[4], None, (80, 24));
    let names: Vec<String> = consort_proto::harp_file::preset_names()
        .map(|name| preset(name).expect("a preset").name().to_owned())
        .collect();
    expect_whole(&shown, &names.iter().map(String::as_str).collect::<Vec<_>>());
    expect_whole(
        &shown,
        &[
            "▶ Pedal harp, 47 strings",
            "47 strings, open D♭ C♭ B♭ E♭ F♭ G♭ A♭",
            "asked for",
            ADDRESS,
            "Ask a technician",
            "Enter play it",
            "Q end",
        ],
    );
    let drawn = shown
        .iter()
        .find(|line| line.contains('│') && line.contains('┃'))
        .expect("the harp");
    assert_eq!(drawn.trim().chars().count(), 47);
}

#[test]
fn what_the_terminal_says_itself_stands_whole_beside_the_advice() {
    let words = Words::english();
    for key in [Key::TerminalToneCaution, Key::TerminalFresh] {
        let says = words.say(key, &[]);
        let shown = screen_with(
            &page("Tighten", Some(-14.2), None),
            &Over::Nothing,
            Some(&says),
            (80, 24),
        );
        let ending = says.rsplit(' ').next().expect("words");
        expect_whole(
            &shown,
            &["TIGHTEN", "14.2 cents flat", ending, "S set up", "E by ear", "R tone"],
        );
    }
    let fresh = DeskPage {
        telling: Telling {
            fresh: true,
            ..Telling::default()
        },
        may_join: true,
        ..page("Tighten", Some(-14.2), None)
    };
    expect_whole(&screen(&fresh, (80, 24)), &["S sets it up", "J join", "Q end"]);
    let typed = screen_with(&fresh, &overs()[5], None, (80, 24));
    expect_whole(
        &typed,
        &["Code, address or join link: 4829 13_", "Enter join   Esc not now"],
    );
}
