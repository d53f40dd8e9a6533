//! The desk in a terminal: the same picture as the page's, drawn in letters, obeyed by the same keys.

mod draw;
mod feet;

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
        // Whether letters move pedals, or levers, just now.
        let mut feet = false;
        images.mark_changed();
        // The station's end closes the images.
        while let Ok(changed) = images.has_changed() {
            let redraws = match next_key() {
                Some(Pressed::Key(key)) => {
                    let image = images.borrow().clone();
                    let moves = feet;
                    match meant(key, &image, &words, &mut feet) {
                        Some(Meant::Quit) => quit.notify_one(),
                        // A loop that is behind by hundreds of wishes has other worries than one more.
                        Some(Meant::Wish(wish)) => drop(wishes.try_send(wish)),
                        None => {}
                    }
                    moves != feet
                }
                Some(Pressed::Resized) => true,
                None => false,
            };
            if changed || redraws {
                let page = picture::of(&images.borrow_and_update().clone(), &words);
                if terminal.draw(|frame| draw::desk(frame, &page, feet)).is_err() {
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

/// Whether the key was pressed together with one that makes another of it.
const fn has_modifier(key: KeyEvent) -> bool {
    key.modifiers.intersects(KeyModifiers::CONTROL.union(KeyModifiers::ALT))
}

/// The string so many further on from the one that is shown; without one, the longest or the shortest.
fn beside(shown: Option<StringNumber>, by: i32, image: &Image) -> Option<StringNumber> {
    let count = i32::try_from(image.harp.len()).ok()?;
    let number = match shown {
        Some(string) => i32::from(string.get()) + by,
        None if by > 0 => count,
        None => 1,
    };
    StringNumber::new(u32::try_from(number.clamp(1, count)).ok()?).ok()
}

/// What the answer of that digit to the question that is shown wishes.
fn answer(digit: char, image: &Image, words: &Words) -> Option<Wish> {
    let place = digit.to_digit(10)?.checked_sub(1)?;
    let question = question::all(image, words).into_iter().next()?;
    let answer = question.answers.into_iter().nth(place as usize)?;
    desk::wish_of(answer.body, &image.harp)
}

/// The keys are the page's; a digit answers a question, which the page has buttons for, and letters move pedals while
/// there are `feet` to move them.
fn meant(key: KeyEvent, image: &Image, words: &Words, feet: &mut bool) -> Option<Meant> {
    let course = &image.course;
    if let (KeyCode::Char('p'), false) = (key.code, course.dark) {
        *feet = !*feet && feet::can_move(image, words);
        return None;
    }
    if let (KeyCode::Char(letter @ 'a'..='g'), true, false) = (key.code, *feet, has_modifier(key)) {
        return feet::moved(letter, image, words).map(Meant::Wish);
    }
    let shown: Option<StringNumber> = image.advice.string;
    let mark = |mark| shown.map(|string| Wish::Mark { string, mark });
    let wish = match key.code {
        KeyCode::Char('c') if key.modifiers.contains(KeyModifiers::CONTROL) => return Some(Meant::Quit),
        KeyCode::Char('q') => return Some(Meant::Quit),
        KeyCode::Char(' ') if course.dark => Some(Wish::Wake),
        KeyCode::Char(' ') if image.advice.can_be_overruled() => shown.map(Wish::LookedAt),
        KeyCode::Char(' ') => course.changed.is_some().then_some(Wish::Seen),
        KeyCode::Char('f') => match course.chosen {
            Some(_) => Some(Wish::Choose(None)),
            None => shown.map(|string| Wish::Choose(Some(string))),
        },
        // Left is towards the long strings, as on the drawing.
        KeyCode::Left => beside(shown, 1, image).map(|string| Wish::Choose(Some(string))),
        KeyCode::Right => beside(shown, -1, image).map(|string| Wish::Choose(Some(string))),
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
