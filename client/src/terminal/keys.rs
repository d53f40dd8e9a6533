//! What a key means: the keys are the page's; a digit answers a question, which the page has buttons for.

use consort_link::Event as LinkEvent;
use consort_proto::{Mark, StringNumber, order};
use consort_words::{Key, Words};
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

use super::{Over, Own, ear, feet, join, setup};
use crate::image::Image;
use crate::station::Wish;
use crate::{desk, question};

/// What a key means to whoever hears it.
#[derive(Debug)]
pub(super) enum Meant {
    /// The station is to do something.
    Wish(Wish),
    /// The tone of this string is to sound.
    Tone(StringNumber),
    /// The program is to end.
    Quit,
}

/// Whether the key was pressed together with one that makes another of it.
pub(super) const fn has_modifier(key: KeyEvent) -> bool {
    key.modifiers.intersects(KeyModifiers::CONTROL.union(KeyModifiers::ALT))
}

/// The string so many further on from the one that is shown; without one, the longest or the shortest.
pub(super) fn beside(shown: Option<StringNumber>, by: i32, image: &Image) -> Option<StringNumber> {
    let count = i32::try_from(image.harp.len()).ok()?;
    let number = match shown {
        Some(string) => i32::from(string.get()) + by,
        None if by > 0 => count,
        None => 1,
    };
    StringNumber::new(u32::try_from(number.clamp(1, count)).ok()?).ok()
}

/// The string that is meant where none is named: the one that is shown, else the first one of the usual order.
pub(super) fn meant_string(image: &Image) -> Option<StringNumber> {
    let shown = image.course.chosen.or(image.advice.string);
    shown.or_else(|| order::usual_order(&image.harp).first().copied())
}

/// What the answer of that digit to the question that is shown wishes.
fn answer(digit: char, image: &Image, words: &Words) -> Option<Wish> {
    let place = digit.to_digit(10)?.checked_sub(1)?;
    let question = question::all(image, words).into_iter().next()?;
    let answer = question.answers.into_iter().nth(place as usize)?;
    desk::wish_of(answer.body, &image.harp)
}

/// What `key` means while `image` is shown, and what lies over the desk then.
pub(super) fn meant(mut key: KeyEvent, image: &Image, words: &Words, own: &mut Own) -> Option<Meant> {
    // The hints name capitals, and a locked shift is no other key; what is typed to join with stays as it is.
    if let (KeyCode::Char(letter), false) = (key.code, matches!(own.over, Over::Join(_))) {
        key.code = KeyCode::Char(letter.to_ascii_lowercase());
    }
    let ends = matches!(key.code, KeyCode::Char('c')) && key.modifiers.contains(KeyModifiers::CONTROL);
    if ends {
        return Some(Meant::Quit);
    }
    if has_modifier(key) && !matches!(own.over, Over::Join(_)) {
        return None;
    }
    if image.course.dark {
        own.over = Over::Nothing;
    }
    match &mut own.over {
        Over::Ear(_) => return ear::meant(key, image, own),
        Over::SetUp(_) => return setup::meant(key, image, own),
        Over::Join(_) => return join::meant(key, own),
        Over::Caution if key.code == KeyCode::Char('r') => own.cautioned = true,
        Over::Caution => own.over = Over::Nothing,
        Over::Feet => {
            if let (KeyCode::Char(letter @ 'a'..='g'), false) = (key.code, has_modifier(key)) {
                return feet::moved(letter, image, words).map(Meant::Wish);
            }
        }
        Over::Nothing => {}
    }
    at_the_desk(key, image, words, own)
}

fn at_the_desk(key: KeyEvent, image: &Image, words: &Words, own: &mut Own) -> Option<Meant> {
    let course = &image.course;
    let shown: Option<StringNumber> = image.advice.string;
    if course.dark {
        return match key.code {
            KeyCode::Char('q') => Some(Meant::Quit),
            KeyCode::Char(' ') => Some(Meant::Wish(Wish::Wake)),
            _ => None,
        };
    }
    let wish = match key.code {
        KeyCode::Char('q') => return Some(Meant::Quit),
        KeyCode::Char('r') => return tone(image, words, own),
        KeyCode::Char('p') => {
            let opens = own.over != Over::Feet && feet::can_move(image, words);
            own.over = if opens { Over::Feet } else { Over::Nothing };
            None
        }
        KeyCode::Char('e') => {
            own.tone = None;
            return ear::open(image, own);
        }
        KeyCode::Char('s') => {
            own.tone = None;
            own.over = Over::SetUp(setup::SetUp::of(&image.harp));
            None
        }
        KeyCode::Char('j') if join::may(image) => {
            own.tone = None;
            own.over = Over::Join(String::new());
            None
        }
        KeyCode::Char(' ') if image.advice.can_be_overruled() => shown.map(Wish::LookedAt),
        KeyCode::Char(' ') => course.changed.is_some().then_some(Wish::Seen),
        KeyCode::Char('f') => match course.chosen {
            Some(_) => Some(Wish::Choose(None)),
            None => shown.map(|string| Wish::Choose(Some(string))),
        },
        // Left is towards the long strings, as on the drawing.
        KeyCode::Left | KeyCode::Right => {
            own.marked = None;
            let by = if key.code == KeyCode::Left { 1 } else { -1 };
            beside(shown, by, image).map(|string| Wish::Choose(Some(string)))
        }
        KeyCode::Char('l') => Some(Wish::LastCheck(!course.last_check)),
        KeyCode::Char('w') => Some(Wish::Wrong),
        KeyCode::Char('u') => Some(Wish::Undo),
        KeyCode::Char('h') => Some(Wish::Link(LinkEvent::Help(!image.link.help))),
        KeyCode::Char('n') => mark(own.marks(shown), Some(Mark::New)),
        KeyCode::Char('m') => mark(own.marks(shown), Some(Mark::Missing)),
        KeyCode::Char('0') => mark(own.marks(shown), None),
        KeyCode::Char(digit @ '1'..='9') => answer(digit, image, words),
        _ => None,
    };
    wish.map(Meant::Wish)
}

fn mark(string: Option<StringNumber>, mark: Option<Mark>) -> Option<Wish> {
    string.map(|string| Wish::Mark { string, mark })
}

/// A tone begins or ends; before the first one, the caution.
fn tone(image: &Image, words: &Words, own: &mut Own) -> Option<Meant> {
    own.over = Over::Nothing;
    if own.tone.take().is_some() {
        return None;
    }
    if image.link.silenced {
        own.says = Some(words.say(Key::DeskNoTone, &[]));
        return None;
    }
    if !own.cautioned {
        own.over = Over::Caution;
        return None;
    }
    meant_string(image).map(Meant::Tone)
}
