//! The desk in a terminal: the same picture as the page's, drawn in letters, obeyed by the same keys.

mod draw;

use std::io::{self, IsTerminal};
use std::sync::Arc;
use std::thread::{self, JoinHandle};
use std::time::Duration;

use consort_link::Event as LinkEvent;
use consort_proto::{Mark, StringNumber};
use consort_words::Words;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use tokio::sync::{Notify, mpsc, watch};

use crate::image::Image;
use crate::station::Wish;
use crate::{desk, picture, question};

/// Keys are looked for this often; a picture is drawn as soon as there is a new one.
const LOOK_EVERY: Duration = Duration::from_millis(50);

/// Whether this program has a whole terminal to itself, with keys.
pub(crate) fn is_there() -> bool {
    io::stdout().is_terminal() && io::stdin().is_terminal()
}

/// Shows the desk until the station's images end; a wish to end the program goes to `quit`.
pub(crate) fn show(
    mut images: watch::Receiver<Arc<Image>>,
    wishes: mpsc::Sender<Wish>,
    quit: Arc<Notify>,
) -> io::Result<JoinHandle<()>> {
    thread::Builder::new().name("terminal".to_owned()).spawn(move || {
        let words = Words::english();
        let mut terminal = ratatui::init();
        images.mark_changed();
        // The station's end closes the images.
        while let Ok(changed) = images.has_changed() {
            let resized = match next_key() {
                Some(Pressed::Key(key)) => {
                    let image = images.borrow().clone();
                    match meant(key, &image, &words) {
                        Some(Meant::Quit) => quit.notify_one(),
                        // A loop that is behind by hundreds of wishes has other worries than one more.
                        Some(Meant::Wish(wish)) => drop(wishes.try_send(wish)),
                        None => {}
                    }
                    false
                }
                Some(Pressed::Resized) => true,
                None => false,
            };
            if changed || resized {
                let page = picture::of(&images.borrow_and_update().clone(), &words);
                if terminal.draw(|frame| draw::desk(frame, &page)).is_err() {
                    break;
                }
            }
        }
        ratatui::restore();
    })
}

enum Pressed {
    Key(KeyEvent),
    Resized,
}

/// What a key means.
enum Meant {
    Wish(Wish),
    Quit,
}

fn next_key() -> Option<Pressed> {
    if !event::poll(LOOK_EVERY).unwrap_or(false) {
        return None;
    }
    match event::read().ok()? {
        // A key that is held down is one key.
        Event::Key(key) if key.kind == KeyEventKind::Press => Some(Pressed::Key(key)),
        Event::Resize(..) => Some(Pressed::Resized),
        _ => None,
    }
}

/// What the answer of that digit to the question that is shown wishes.
fn answer(digit: char, image: &Image, words: &Words) -> Option<Wish> {
    let place = digit.to_digit(10)?.checked_sub(1)?;
    let question = question::all(image, words).into_iter().next()?;
    let answer = question.answers.into_iter().nth(place as usize)?;
    desk::wish_of(answer.body, &image.harp)
}

/// The keys are the page's; a digit answers a question, which the page has buttons for.
fn meant(key: KeyEvent, image: &Image, words: &Words) -> Option<Meant> {
    let course = &image.course;
    let shown: Option<StringNumber> = image.advice.string;
    let mark = |mark| shown.map(|string| Wish::Mark { string, mark });
    let wish = match key.code {
        KeyCode::Char('c') if key.modifiers.contains(KeyModifiers::CONTROL) => return Some(Meant::Quit),
        KeyCode::Char('q') => return Some(Meant::Quit),
        KeyCode::Char(' ') if course.dark => Some(Wish::Wake),
        KeyCode::Char(' ') if image.advice.can_be_overruled() => shown.map(Wish::LookedAt),
        KeyCode::Char(' ') => course.changed.is_some().then_some(Wish::Seen),
        KeyCode::Char('l') => Some(Wish::LastCheck(!course.last_check)),
        KeyCode::Char('w') => Some(Wish::Wrong),
        KeyCode::Char('u') => Some(Wish::Undo),
        KeyCode::Char('h') => Some(Wish::Link(LinkEvent::Help(!image.link.help))),
        KeyCode::Char('n') => mark(Some(Mark::New)),
        KeyCode::Char('m') => mark(Some(Mark::Missing)),
        KeyCode::Char('0') => mark(None),
        KeyCode::Char(digit @ '1'..='9') if !course.dark => answer(digit, image, words),
        _ => None,
    };
    wish.map(Meant::Wish)
}
