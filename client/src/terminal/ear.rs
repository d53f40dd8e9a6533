//! Checks by listening in the terminal: which one, on which string, what was heard and what it means.

use consort_guide::listening::Kind;
use consort_pages::{DeskPage, ListeningPage, ListeningSound};
use consort_proto::StringNumber;
use consort_words::{Arg, Key, Words};
use ratatui::Frame;
use ratatui::crossterm::event::{KeyCode, KeyEvent};
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Wrap};

use super::draw::{Beside, CALM, NEEDED, STRONG, colour};
use super::keys::{Meant, beside, meant_string};
use super::{Over, Own};
use crate::image::Image;
use crate::station::Wish;

/// Which check lies over the desk, and on which string it begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Ear {
    kind: Kind,
    string: StringNumber,
}

/// Two strings together are drawn in so many columns, which are this high, eighths of a line.
const COLUMNS: usize = 72;
const EIGHTHS: f64 = 16.0;

/// Opens the check that is usual, or takes up the one that is under way.
pub(super) fn open(image: &Image, own: &mut Own) -> Option<Meant> {
    let under_way = image.listening.as_ref().map(|listening| listening.check().kind());
    let ear = Ear {
        kind: under_way.unwrap_or(Kind::Octave),
        string: meant_string(image)?,
    };
    own.over = Over::Ear(ear);
    under_way.is_none().then(|| ear.begins())
}

/// What `key` means while a check lies over the desk.
pub(super) fn meant(key: KeyEvent, image: &Image, own: &mut Own) -> Option<Meant> {
    let Over::Ear(mut ear) = own.over else { return None };
    let at = Kind::ALL.iter().position(|kind| *kind == ear.kind).unwrap_or_default();
    match key.code {
        KeyCode::Esc | KeyCode::Char('e') => {
            own.over = Over::Nothing;
            return Some(Meant::Wish(Wish::Listen(None)));
        }
        KeyCode::Char('q') => return Some(Meant::Quit),
        KeyCode::Char('w') => return Some(Meant::Wish(Wish::Wrong)),
        KeyCode::Char(digit @ '1'..='6') => ear.kind = Kind::ALL[digit as usize - '1' as usize],
        KeyCode::Down => ear.kind = Kind::ALL[(at + 1) % Kind::ALL.len()],
        KeyCode::Up => ear.kind = Kind::ALL[(at + Kind::ALL.len() - 1) % Kind::ALL.len()],
        KeyCode::Left => ear.string = beside(Some(ear.string), 1, image)?,
        KeyCode::Right => ear.string = beside(Some(ear.string), -1, image)?,
        KeyCode::Enter => {}
        _ => return None,
    }
    own.over = Over::Ear(ear);
    Some(ear.begins())
}

impl Ear {
    /// An octave from this string.
    #[cfg(test)]
    pub(super) const fn on(string: StringNumber) -> Self {
        Self {
            kind: Kind::Octave,
            string,
        }
    }

    const fn begins(self) -> Meant {
        Meant::Wish(Wish::Listen(Some((self.kind, self.string))))
    }
}

/// Draws the check over `area`.
pub(super) fn draw(frame: &mut Frame<'_>, area: Rect, page: &DeskPage, (ear, own): (Ear, &Beside<'_>)) {
    let [kinds, _, ask, listens, _, drawn, found, means, caution, keys] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(1),
        Constraint::Length(2),
        Constraint::Length(2),
        Constraint::Length(1),
        Constraint::Min(6),
        Constraint::Length(2),
        Constraint::Length(3),
        Constraint::Length(2),
        Constraint::Length(1),
    ])
    .areas(area);
    let text = |text: &str, style: Style| Paragraph::new(text.to_owned()).style(style).wrap(Wrap { trim: true });
    frame.render_widget(Paragraph::new(names(ear.kind, own.words)), kinds);
    let string = page.strings.get(ear.string.index());
    let from = string.map_or("", |string| string.name.as_str());
    match &page.listening {
        Some(listening) => {
            frame.render_widget(text(&listening.ask, STRONG), ask);
            frame.render_widget(text(&listening.listen_for, CALM), listens);
            let lines = if listening.together {
                together(listening, own.words)
            } else {
                in_turn(&listening.sounds)
            };
            frame.render_widget(Paragraph::new(lines), drawn);
            let trouble = listening.trouble.as_deref();
            let told = trouble.or(listening.found.as_deref()).unwrap_or_default();
            frame.render_widget(text(told, STRONG), found);
            let style = if listening.right { STRONG } else { NEEDED };
            let meaning = listening.means.as_deref().filter(|_| trouble.is_none());
            frame.render_widget(text(meaning.unwrap_or_default(), style), means);
        }
        // The check that was chosen is none on this string, and the newest notice says why.
        None => {
            let why = page.notices.last().map_or("", String::as_str);
            frame.render_widget(text(why, NEEDED), ask);
        }
    }
    frame.render_widget(text(&own.words.say(Key::TerminalEarCaution, &[]), CALM), caution);
    let says = own.words.say(Key::TerminalKeysEar, &[("string", Arg::from(from))]);
    frame.render_widget(Paragraph::new(says).style(CALM), keys);
}

/// The checks by their digits; the one that is chosen stands out by more than its colour.
fn names(chosen: Kind, words: &Words) -> Line<'static> {
    let all = Kind::ALL.into_iter().zip(1..).map(|(kind, digit)| {
        let key = match kind {
            Kind::Octave => Key::ListenNameOctave,
            Kind::Fifth => Key::ListenNameFifth,
            Kind::Fourth => Key::ListenNameFourth,
            Kind::Harmonic => Key::ListenNameHarmonic,
            Kind::Enharmonic => Key::ListenNameEnharmonic,
            Kind::Scale => Key::ListenNameScale,
        };
        let name = words.say(key, &[]);
        if kind == chosen {
            Span::styled(format!("[{digit} {name}] "), STRONG)
        } else {
            Span::styled(format!(" {digit} {name}  "), CALM)
        }
    });
    Line::from(all.collect::<Vec<_>>())
}

/// Two strings as they swell and fade: as they were heard, and below, as they do when all is in tune.
fn together(listening: &ListeningPage, words: &Words) -> Vec<Line<'static>> {
    let in_a_second = |key, beats: f64| words.say(key, &[("beats", Arg::from(format!("{beats:.1}")))]);
    let heard = match listening.beats {
        Some(beats) => in_a_second(Key::TerminalHeardBeats, beats),
        None => words.say(Key::TerminalHeard, &[]),
    };
    let in_tune = in_a_second(Key::TerminalInTune, listening.expected.unwrap_or_default());
    let mut lines = vec![Line::from(heard).style(CALM)];
    lines.extend(bars(&listening.swell));
    lines.push(Line::from(in_tune).style(CALM));
    lines.extend(bars(&listening.in_tune));
    lines
}

/// Two lines of bars, or a line of points where nothing was heard yet.
fn bars(sizes: &[f64]) -> Vec<Line<'static>> {
    if sizes.is_empty() {
        return vec![Line::default(), Line::from("·".repeat(COLUMNS)).style(CALM)];
    }
    let cells = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let row = |below: f64| {
        let size = |column: usize| sizes[column * sizes.len() / COLUMNS];
        let cell = |column: usize| cells[(size(column) * EIGHTHS - below).clamp(0.0, 8.0).round() as usize];
        Line::from((0..COLUMNS).map(cell).collect::<String>())
    };
    vec![row(8.0), row(0.0)]
}

/// Strings side by side: which is next, and how far each was heard from what is expected of it.
fn in_turn(sounds: &[ListeningSound]) -> Vec<Line<'static>> {
    let width = (COLUMNS / sounds.len().max(1)).min(14);
    let row = |cell: &dyn Fn(&ListeningSound) -> Span<'static>| Line::from(sounds.iter().map(cell).collect::<Vec<_>>());
    let told = |text: String, style: Style| Span::styled(format!("{text:^width$}"), style);
    vec![
        row(&|sound| told(if sound.now { "▼" } else { "" }.to_owned(), NEEDED)),
        row(&|sound| told(sound.name.clone(), colour(&sound.letter))),
        row(&|sound| match sound.cents {
            Some(cents) => told(format!("{cents:+.1}"), STRONG),
            None => told("·".to_owned(), CALM),
        }),
    ]
}
