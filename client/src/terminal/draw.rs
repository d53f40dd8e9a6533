//! Drawing the desk in 80 columns and 24 lines, legible from a step away.

use consort_pages::{DeskPage, DeskString, Question};
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Color, Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Wrap};

/// The lines of the large name, of the bow, and of the harp.
const LARGE: u16 = 7;
const BOW: u16 = 11;

/// Letters and digits of string names, five columns wide, one bit a column.
const LETTERS: [(char, [u8; 7]); 17] = [
    ('A', [0b01110, 0b10001, 0b10001, 0b11111, 0b10001, 0b10001, 0b10001]),
    ('B', [0b11110, 0b10001, 0b10001, 0b11110, 0b10001, 0b10001, 0b11110]),
    ('C', [0b01111, 0b10000, 0b10000, 0b10000, 0b10000, 0b10000, 0b01111]),
    ('D', [0b11110, 0b10001, 0b10001, 0b10001, 0b10001, 0b10001, 0b11110]),
    ('E', [0b11111, 0b10000, 0b10000, 0b11110, 0b10000, 0b10000, 0b11111]),
    ('F', [0b11111, 0b10000, 0b10000, 0b11110, 0b10000, 0b10000, 0b10000]),
    ('G', [0b01111, 0b10000, 0b10000, 0b10111, 0b10001, 0b10001, 0b01111]),
    ('0', [0b01110, 0b10001, 0b10011, 0b10101, 0b11001, 0b10001, 0b01110]),
    ('1', [0b00100, 0b01100, 0b00100, 0b00100, 0b00100, 0b00100, 0b01110]),
    ('2', [0b01110, 0b10001, 0b00001, 0b00110, 0b01000, 0b10000, 0b11111]),
    ('3', [0b11110, 0b00001, 0b00001, 0b01110, 0b00001, 0b00001, 0b11110]),
    ('4', [0b10010, 0b10010, 0b10010, 0b11111, 0b00010, 0b00010, 0b00010]),
    ('5', [0b11111, 0b10000, 0b11110, 0b00001, 0b00001, 0b00001, 0b11110]),
    ('6', [0b01110, 0b10000, 0b11110, 0b10001, 0b10001, 0b10001, 0b01110]),
    ('7', [0b11111, 0b00001, 0b00010, 0b00100, 0b00100, 0b00100, 0b00100]),
    ('8', [0b01110, 0b10001, 0b10001, 0b01110, 0b10001, 0b10001, 0b01110]),
    ('9', [0b01110, 0b10001, 0b10001, 0b01111, 0b00001, 0b00001, 0b01110]),
];

/// Amber: something is needed.
const NEEDED: Style = Style::new().fg(Color::Yellow).add_modifier(Modifier::BOLD);
const STRONG: Style = Style::new().add_modifier(Modifier::BOLD);
const CALM: Style = Style::new().fg(Color::Gray);

/// Draws `page` over the whole of `frame`.
pub(super) fn desk(frame: &mut Frame<'_>, page: &DeskPage) {
    let area = frame.area();
    if page.dark {
        let middle = area.height / 2;
        let line = Rect {
            y: middle,
            height: 1.min(area.height),
            ..area
        };
        frame.render_widget(Paragraph::new(page.message.as_str()).style(CALM).centered(), line);
        return;
    }
    let [top, message, _, hand, harp, says, keys] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(2),
        Constraint::Length(1),
        Constraint::Min(BOW),
        Constraint::Length(4),
        Constraint::Length(if page.questions.is_empty() { 2 } else { 4 }),
        Constraint::Length(1),
    ])
    .areas(area);
    let times = page.start.clone().unwrap_or_default();
    let [left, right] =
        Layout::horizontal([Constraint::Fill(1), Constraint::Length(times.chars().count() as u16)]).areas(top);
    frame.render_widget(Paragraph::new(page.tuning.as_str()).style(STRONG), left);
    frame.render_widget(Paragraph::new(times).style(STRONG), right);
    let style = if page.urgent { NEEDED } else { CALM };
    frame.render_widget(
        Paragraph::new(page.message.as_str())
            .style(style)
            .wrap(Wrap { trim: true }),
        message,
    );
    let [name, bow, action] =
        Layout::horizontal([Constraint::Length(24), Constraint::Length(21), Constraint::Fill(1)]).areas(hand);
    if let Some(string) = &page.string {
        let mut lines = large(&string.name, colour(&string.letter));
        lines.push(Line::default());
        lines.push(Line::from(page.place.clone().unwrap_or_default()));
        frame.render_widget(Paragraph::new(lines).wrap(Wrap { trim: false }), name);
        frame.render_widget(Paragraph::new(drawn(string.cents, string.within, &string.letter)), bow);
    }
    frame.render_widget(Paragraph::new(told(page)).wrap(Wrap { trim: true }), action);
    frame.render_widget(Paragraph::new(strings(page)).centered(), harp);
    let next = page
        .next
        .as_ref()
        .map(|next| format!("next {next} · "))
        .unwrap_or_default();
    let mut below = vec![Line::from(format!("{next}{}", page.says)).style(STRONG)];
    // One question at a time takes the place of what is merely said.
    match page.questions.first() {
        Some(question) => below.extend(asked(question)),
        None => below.extend(
            page.notices
                .last()
                .map(|notice| Line::from(notice.as_str()).style(CALM)),
        ),
    }
    frame.render_widget(Paragraph::new(below).wrap(Wrap { trim: true }), says);
    let space = if page.may_go_on || page.may_see {
        "Space: I have looked   "
    } else {
        ""
    };
    let keys_line = format!("{space}N new  M missing  0 no mark  L last check  W wrong  H help  U undo  Q end");
    frame.render_widget(Paragraph::new(keys_line).style(CALM), keys);
}

/// A question, and its answers by the keys that give them.
fn asked(question: &Question) -> Vec<Line<'_>> {
    let answers = question.answers.iter().zip(1..);
    let answers: Vec<String> = answers.map(|(answer, key)| format!("{key} {}", answer.says)).collect();
    vec![
        Line::from(question.says.as_str()).style(NEEDED),
        Line::from(answers.join("   ")).style(STRONG),
    ]
}

/// The large word, how far, and why.
fn told(page: &DeskPage) -> Vec<Line<'_>> {
    let style = if page.doubt.is_some() { NEEDED } else { STRONG };
    let mut lines = vec![Line::from(page.word.to_uppercase()).style(style), Line::default()];
    let off = page
        .string
        .as_ref()
        .and_then(|string| string.cents.filter(|cents| cents.abs() > string.within));
    if let Some(cents) = off {
        let side = if cents < 0.0 { "flat" } else { "sharp" };
        lines.push(Line::from(format!("{:.1} cents {side}", cents.abs())).style(STRONG));
    }
    lines.extend(page.far.as_deref().map(|far| Line::from(far).style(STRONG)));
    lines.push(Line::from(page.why.as_str()));
    lines
}

/// A name in large letters.
fn large(name: &str, style: Style) -> Vec<Line<'static>> {
    let glyphs = name
        .chars()
        .filter_map(|c| LETTERS.iter().find(|(letter, _)| *letter == c));
    let glyphs: Vec<&[u8; 7]> = glyphs.map(|(_, rows)| rows).collect();
    (0..usize::from(LARGE))
        .map(|row| {
            let cells = glyphs.iter().flat_map(|rows| {
                let columns = (0..5).rev().map(move |bit| rows[row] >> bit & 1 == 1);
                columns.map(|full| if full { "██" } else { "  " }).chain([" "])
            });
            Line::from(cells.collect::<String>()).style(style)
        })
        .collect()
}

/// The string: straight is in tune, to the left is flat, to the right is sharp; dotted where it is in doubt.
fn drawn(cents: Option<f64>, within: f64, letter: &str) -> Vec<Line<'static>> {
    let (middle, reach) = (10.0, 9.0);
    let line = match cents {
        None => "·",
        Some(cents) if cents.abs() <= within => "┃",
        Some(_) => "█",
    };
    let belly = cents.map_or(0.0, |cents| {
        cents.signum() * reach * (cents.abs() / 50.0).powf(0.6).min(1.0)
    });
    let rows = f64::from(BOW - 3);
    let mut lines = vec![Line::from("        ──▢──")];
    for row in 0..BOW - 2 {
        let bend = belly * (std::f64::consts::PI * f64::from(row) / rows).sin();
        let at = (middle + bend).round() as usize;
        let rest = middle as usize;
        let mut cells = vec![Span::raw(" "); 21];
        if at != rest {
            let (from, to) = if at < rest { (at, rest) } else { (rest, at) };
            for cell in &mut cells[from..to] {
                *cell = Span::styled("░", NEEDED);
            }
            cells[rest] = Span::raw("│");
        }
        cells[at] = Span::styled(line, colour(letter));
        lines.push(Line::from(cells));
    }
    lines.push(Line::from("        ─────"));
    lines
}

/// The whole harp, the longest string on the left, one column each.
fn strings(page: &DeskPage) -> Vec<Line<'static>> {
    let hand = page.string.as_ref().map(|string| string.string);
    let row = |cell: &dyn Fn(&DeskString) -> Span<'static>| {
        Line::from(page.strings.iter().rev().map(cell).collect::<Vec<_>>())
    };
    let state = |string: &DeskString| {
        let sign = match string.standing {
            "holds" => "┃",
            "set-once" => "│",
            "moved" => "○",
            "will-not-hold" => "◆",
            "new" => "n",
            "missing" => " ",
            "off" if string.cents.is_some_and(|cents| cents < 0.0) => "(",
            "off" => ")",
            _ => "┊",
        };
        let needed = matches!(string.standing, "off" | "moved" | "will-not-hold");
        Span::styled(sign, if needed { NEEDED } else { colour(&string.letter) })
    };
    vec![
        row(&|string| Span::styled(if Some(string.string) == hand { "▼" } else { " " }, NEEDED)),
        row(&state),
        row(&state),
        row(&|string| match string.letter.as_str() {
            "C" | "F" => Span::styled(string.letter.clone(), colour(&string.letter)),
            _ => Span::raw(" "),
        }),
    ]
}

/// The colours of a harp's strings: C red, F blue.
fn colour(letter: &str) -> Style {
    match letter {
        "C" => Style::new().fg(Color::LightRed),
        "F" => Style::new().fg(Color::LightBlue),
        _ => Style::new(),
    }
}

#[cfg(test)]
mod tests {
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
        terminal.draw(|frame| desk(frame, page)).expect("drawn");
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
}
