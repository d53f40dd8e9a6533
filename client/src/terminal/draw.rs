//! Drawing the desk in 80 columns and 24 lines, legible from a step away.

use consort_pages::{DeskPage, DeskString, Question};
use consort_words::{Arg, Key, Words};
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Color, Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Wrap};

use super::{Over, ear, feet, setup};

/// The lines of the large name, of the bow, and of the harp.
const LARGE: u16 = 7;
const BOW: u16 = 11;
/// So much of what is typed is shown, characters: its end.
const TYPED_SHOWN: usize = 48;

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
pub(super) const NEEDED: Style = Style::new().fg(Color::Yellow).add_modifier(Modifier::BOLD);
pub(super) const STRONG: Style = Style::new().add_modifier(Modifier::BOLD);
pub(super) const CALM: Style = Style::new().fg(Color::Gray);

/// What is drawn beside the desk's page.
pub(super) struct Beside<'a> {
    /// What lies over the desk.
    pub(super) over: &'a Over,
    /// The terminal's own sentence.
    pub(super) says: Option<&'a str>,
    /// Where the page is.
    pub(super) address: &'a str,
    /// What sentences are said in.
    pub(super) words: &'a Words,
}

/// Draws `page` over the whole of `frame`, and what lies over it.
pub(super) fn desk(frame: &mut Frame<'_>, page: &DeskPage, beside: &Beside<'_>) {
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
    let [top, message, rest] =
        Layout::vertical([Constraint::Length(1), Constraint::Length(2), Constraint::Fill(1)]).areas(area);
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
    match beside.over {
        Over::Ear(open) => ear::draw(frame, rest, page, (*open, beside)),
        Over::SetUp(open) => setup::draw(frame, rest, page, (open, beside)),
        Over::Nothing | Over::Feet | Over::Join(_) | Over::Caution => hand_and_harp(frame, rest, page, beside),
    }
}

/// The string in hand, the whole harp, what it has come to, and the keys.
fn hand_and_harp(frame: &mut Frame<'_>, area: Rect, page: &DeskPage, beside: &Beside<'_>) {
    // What this terminal says itself needs two lines, and a question with its answers three.
    let (blank, below) = match (page.questions.is_empty(), beside.says) {
        (true, None) => (1, 2),
        (true, Some(_)) => (1, 3),
        (false, _) => (0, 4),
    };
    let [_, hand, harp, foot, keys] = Layout::vertical([
        Constraint::Length(blank),
        Constraint::Min(BOW),
        Constraint::Length(4),
        Constraint::Length(below),
        Constraint::Length(2),
    ])
    .areas(area);
    let [name, bow, action] =
        Layout::horizontal([Constraint::Length(24), Constraint::Length(21), Constraint::Fill(1)]).areas(hand);
    if let Some(string) = &page.string {
        let mut lines = large(&string.name, colour(&string.letter));
        lines.push(Line::default());
        lines.push(Line::from(page.place.clone().unwrap_or_default()));
        frame.render_widget(Paragraph::new(lines).wrap(Wrap { trim: false }), name);
        frame.render_widget(Paragraph::new(drawn(string.cents, string.within, &string.letter)), bow);
    }
    frame.render_widget(
        Paragraph::new(told(page, beside.words)).wrap(Wrap { trim: true }),
        action,
    );
    frame.render_widget(Paragraph::new(strings(page)).centered(), harp);
    let says = match &page.next {
        Some(next) => {
            let says = [
                ("string", Arg::from(next.as_str())),
                ("says", Arg::from(page.says.as_str())),
            ];
            beside.words.say(Key::TerminalNext, &says)
        }
        None => page.says.clone(),
    };
    let mut below = vec![Line::from(says).style(STRONG)];
    // What she has just asked for comes first; one question at a time takes the place of what is merely said.
    match (page.questions.first(), beside.says) {
        (_, Some(says)) => below.push(Line::from(says).style(NEEDED)),
        (Some(question), None) => below.extend(asked(question)),
        (None, None) if page.telling.fresh && page.notices.is_empty() => {
            below.push(Line::from(beside.words.say(Key::TerminalFresh, &[])).style(NEEDED));
        }
        (None, None) => below.extend(
            page.notices
                .last()
                .map(|notice| Line::from(notice.as_str()).style(CALM)),
        ),
    }
    frame.render_widget(Paragraph::new(below).wrap(Wrap { trim: true }), foot);
    frame.render_widget(Paragraph::new(key_lines(page, beside)).style(CALM), keys);
}

/// What the keys do, the strings' own first; while pedals are moved, where they stand, and what is typed.
fn key_lines(page: &DeskPage, beside: &Beside<'_>) -> Vec<Line<'static>> {
    let say = |key, args: &[(&str, Arg)]| beside.words.say(key, args);
    if let Over::Join(typed) = beside.over {
        let end: String = typed.chars().rev().take(TYPED_SHOWN).collect();
        let end: String = end.chars().rev().chain(['_']).collect();
        return vec![
            Line::from(say(Key::TerminalJoin, &[("typed", Arg::from(end))])).style(STRONG),
            Line::from(say(Key::TerminalKeysJoin, &[])),
        ];
    }
    let strings = match page.pedals.as_ref().filter(|_| *beside.over == Over::Feet) {
        Some(pedals) => {
            let stand = ("stand", Arg::from(feet::stand(pedals)));
            Line::from(say(Key::TerminalKeysFeet, &[stand])).style(STRONG)
        }
        None => {
            let moves = match &page.pedals {
                None => "nothing",
                Some(pedals) if pedals.levers => "levers",
                Some(_) => "pedals",
            };
            let chosen = if page.telling.chosen.is_some() { "yes" } else { "no" };
            let may = [("chosen", Arg::from(chosen)), ("moves", Arg::from(moves))];
            Line::from(say(Key::TerminalKeysString, &may))
        }
    };
    let may = if page.may_join { "join" } else { "nothing" };
    let others = say(Key::TerminalKeysOthers, &[("may", Arg::from(may))]);
    vec![strings, Line::from(others)]
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
fn told<'a>(page: &'a DeskPage, words: &Words) -> Vec<Line<'a>> {
    let style = if page.doubt.is_some() { NEEDED } else { STRONG };
    let mut lines = vec![Line::from(page.word.to_uppercase()).style(style), Line::default()];
    let off = page
        .string
        .as_ref()
        .and_then(|string| string.cents.filter(|cents| cents.abs() > string.within));
    if let Some(cents) = off {
        let side = if cents < 0.0 {
            Key::TerminalFlat
        } else {
            Key::TerminalSharp
        };
        let far = ("cents", Arg::from(format!("{:.1}", cents.abs())));
        lines.push(Line::from(words.say(side, &[far])).style(STRONG));
    }
    lines.extend(page.far.as_deref().map(|far| Line::from(far).style(STRONG)));
    lines.push(Line::from(page.why.as_str()));
    let space = match (page.may_go_on, page.may_see) {
        (true, _) if page.doubt.is_none() => Some(Key::TerminalHers),
        (true, _) => Some(Key::TerminalLooked),
        (false, true) => Some(Key::TerminalSeen),
        (false, false) => None,
    };
    lines.extend(space.map(|space| Line::from(words.say(space, &[])).style(STRONG)));
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
    // What is doubted is drawn as if it had not been heard: its side would look like advice.
    let doubted = |string: &DeskString| match page.doubt {
        None | Some("pitch") => false,
        Some("harp" | "tuning") => string.standing != "missing",
        Some(_) => Some(string.string) == hand,
    };
    let state = |string: &DeskString| {
        if doubted(string) {
            return Span::styled("┊", colour(&string.letter));
        }
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
pub(super) fn colour(letter: &str) -> Style {
    match letter {
        "C" => Style::new().fg(Color::LightRed),
        "F" => Style::new().fg(Color::LightBlue),
        _ => Style::new(),
    }
}

#[cfg(test)]
mod tests;
