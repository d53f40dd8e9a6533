//! Which harp this is, said in the terminal: one of the usual sizes and its open tuning; the page has the rest.

use consort_guide::Order;
use consort_pages::{DeskPage, HarpShape, StringShape};
use consort_proto::{Accidental, Harp, Mechanism, Naming, harp_file};
use consort_words::{Arg, Key};
use ratatui::Frame;
use ratatui::crossterm::event::{KeyCode, KeyEvent};
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Wrap};

use super::draw::{Beside, CALM, NEEDED, STRONG, colour};
use super::keys::{Meant, has_modifier};
use super::{Over, Own};
use crate::image::Image;
use crate::station::Wish;

/// A harp that is looked at and not played yet.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct SetUp {
    /// Its place among the usual sizes, if it is one of them.
    size: Option<usize>,
    shape: HarpShape,
}

/// Letters as they follow one another on the pedals.
const LETTERS: [&str; 7] = ["D", "C", "B", "E", "F", "G", "A"];
/// The usual sizes stand in so many columns.
const COLUMNS: usize = 2;

/// The usual sizes.
fn sizes() -> Vec<Harp> {
    harp_file::preset_names().filter_map(harp_file::preset).collect()
}

impl SetUp {
    /// The harp as it is played.
    pub(super) fn of(harp: &Harp) -> Self {
        Self {
            size: sizes().iter().position(|size| size.name() == harp.name()),
            shape: HarpShape::of(harp),
        }
    }

    /// Another size, so many further on.
    fn turn(&mut self, by: isize) {
        let sizes = sizes();
        let count = sizes.len().cast_signed();
        let next = match self.size {
            Some(size) => (size.cast_signed() + by).rem_euclid(count),
            None if by > 0 => 0,
            None => count - 1,
        };
        self.size = Some(next.cast_unsigned());
        if let Some(size) = sizes.get(next.cast_unsigned()) {
            self.shape = HarpShape::of(size);
        }
    }

    /// The open strings of `letter`, a semitone up, from sharp back to flat.
    fn retune(&mut self, letter: char) {
        let of_letter = |string: &&mut StringShape| {
            string.mechanism != Mechanism::Fixed && string.note.starts_with(letter.to_ascii_uppercase())
        };
        for string in self.shape.strings.iter_mut().filter(of_letter) {
            string.open = match string.open {
                Accidental::Flat => Accidental::Natural,
                Accidental::Natural => Accidental::Sharp,
                Accidental::Sharp => Accidental::Flat,
            };
        }
    }

    /// How the open strings stand, letter by letter.
    fn open(&self) -> String {
        let of = |letter: &&str| {
            let mut strings = self.shape.strings.iter();
            let string =
                strings.find(|string| string.mechanism != Mechanism::Fixed && string.note.starts_with(*letter))?;
            let sign = match string.open {
                Accidental::Flat => "♭",
                Accidental::Natural => "♮",
                Accidental::Sharp => "♯",
            };
            Some(format!("{letter}{sign}"))
        };
        LETTERS.iter().filter_map(of).collect::<Vec<_>>().join(" ")
    }
}

/// What `key` means while the set-up lies over the desk.
pub(super) fn meant(key: KeyEvent, image: &Image, own: &mut Own) -> Option<Meant> {
    let Over::SetUp(set_up) = &mut own.over else {
        return None;
    };
    let rows = sizes().len().div_ceil(COLUMNS).cast_signed();
    let wish = match key.code {
        KeyCode::Down => {
            set_up.turn(1);
            return None;
        }
        KeyCode::Up => {
            set_up.turn(-1);
            return None;
        }
        KeyCode::Left | KeyCode::Right => {
            set_up.turn(rows);
            return None;
        }
        KeyCode::Char(letter @ 'a'..='g') if !has_modifier(key) => {
            set_up.retune(letter);
            return None;
        }
        KeyCode::Char('q') => return Some(Meant::Quit),
        KeyCode::Char('o') => {
            let at = Order::ALL.iter().position(|order| *order == image.course.order);
            Wish::Order(Order::ALL[(at.unwrap_or_default() + 1) % Order::ALL.len()])
        }
        KeyCode::Char('n') => Wish::Naming(match image.course.naming {
            Naming::Harp => Naming::Scientific,
            Naming::Scientific => Naming::Harp,
        }),
        KeyCode::Char('u') => {
            own.over = Over::Nothing;
            Wish::Undo
        }
        KeyCode::Enter => match set_up.shape.file(&image.harp) {
            Ok(file) => {
                own.over = Over::Nothing;
                Wish::Harp(file)
            }
            Err(why) => {
                own.says = Some(why.to_string());
                return None;
            }
        },
        KeyCode::Esc | KeyCode::Char('s') => {
            own.over = Over::Nothing;
            return None;
        }
        _ => return None,
    };
    Some(Meant::Wish(wish))
}

/// Draws the set-up over `area`.
pub(super) fn draw(frame: &mut Frame<'_>, area: Rect, page: &DeskPage, (set_up, own): (&SetUp, &Beside<'_>)) {
    let sizes = sizes();
    let rows = sizes.len().div_ceil(COLUMNS);
    let [list, _, harp, open, ways, _, elsewhere, caution, keys] = Layout::vertical([
        Constraint::Length(rows as u16),
        Constraint::Length(1),
        Constraint::Length(2),
        Constraint::Length(1),
        Constraint::Length(1),
        Constraint::Fill(1),
        Constraint::Length(2),
        Constraint::Length(2),
        Constraint::Length(2),
    ])
    .areas(area);
    let line = |row: usize| {
        let cells = (0..COLUMNS).filter_map(|column| {
            let at = column * rows + row;
            let name = sizes.get(at)?.name();
            let chosen = set_up.size == Some(at);
            let mark = if chosen { "▶" } else { " " };
            Some(Span::styled(
                format!("{mark} {name:<38}"),
                if chosen { STRONG } else { CALM },
            ))
        });
        Line::from(cells.collect::<Vec<_>>())
    };
    frame.render_widget(Paragraph::new((0..rows).map(line).collect::<Vec<_>>()), list);
    frame.render_widget(Paragraph::new(drawn(&set_up.shape.strings)).centered(), harp);
    let count = Arg::from(set_up.shape.strings.len());
    let open_strings = [("count", count), ("open", Arg::from(set_up.open()))];
    let opened = own.words.say(Key::TerminalSetUpHarp, &open_strings);
    frame.render_widget(Paragraph::new(opened).style(STRONG).centered(), open);
    let naming = if page.telling.scientific { "scientific" } else { "harp" };
    let chosen = [("order", Arg::from(page.telling.order)), ("naming", Arg::from(naming))];
    let told = own.words.say(Key::TerminalSetUpWays, &chosen);
    frame.render_widget(Paragraph::new(told).style(CALM).centered(), ways);
    let text = |text: String| Paragraph::new(text).style(CALM).wrap(Wrap { trim: true });
    let page_has = own.words.say(Key::TerminalSetUpPage, &[]);
    let where_it_is = vec![Line::from(page_has), Line::from(own.address.to_owned())];
    frame.render_widget(Paragraph::new(where_it_is).style(CALM), elsewhere);
    match own.says {
        Some(says) => frame.render_widget(text(says.to_owned()).style(NEEDED), caution),
        None => frame.render_widget(text(own.words.say(Key::TerminalSetUpCaution, &[])), caution),
    }
    let says = [Key::TerminalKeysHarp, Key::TerminalKeysWays].map(|key| Line::from(own.words.say(key, &[])));
    frame.render_widget(Paragraph::new(says.to_vec()).style(CALM), keys);
}

/// The harp that is looked at, the longest string on the left; wire is drawn broad.
fn drawn(strings: &[StringShape]) -> Vec<Line<'static>> {
    let row =
        |cell: &dyn Fn(&StringShape) -> Span<'static>| Line::from(strings.iter().rev().map(cell).collect::<Vec<_>>());
    let letter = |string: &StringShape| string.note.chars().take(1).collect::<String>();
    vec![
        row(&|string| {
            let sign = if string.material == consort_proto::Material::Wire {
                "┃"
            } else {
                "│"
            };
            Span::styled(sign, colour(&letter(string)))
        }),
        row(&|string| match letter(string).as_str() {
            name @ ("C" | "F") => Span::styled(name.to_owned(), colour(name)),
            _ => Span::raw(" "),
        }),
    ]
}
