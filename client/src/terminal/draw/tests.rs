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

/// The screen of so many columns and lines.
fn screen(page: &DeskPage, (width, height): (u16, u16)) -> Vec<String> {
    let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a terminal");
    terminal.draw(|frame| desk(frame, page, false)).expect("drawn");
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
    for size in [(1, 1), (20, 5), (40, 12), (80, 24), (200, 60)] {
        let shown = screen(&page("Loosen", Some(44.0), None), size);
        assert_eq!(shown.len(), usize::from(size.1));
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
    let mut terminal = Terminal::new(TestBackend::new(80, 24)).expect("a terminal");
    terminal.draw(|frame| desk(frame, &page, true)).expect("drawn");
    let all = terminal.backend().to_string();
    assert!(
        all.contains("D♭ C♭ B♭ | E♭ F♭ G♭ A♭   a letter moves its own   P that is how they stand"),
        "{all}"
    );
}
