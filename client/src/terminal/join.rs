//! Joining from the terminal: code, address or join link, typed into one line.

use consort_link::LinkState;
use ratatui::crossterm::event::{KeyCode, KeyEvent};

use super::keys::{Meant, has_modifier};
use super::{Over, Own};
use crate::image::Image;
use crate::invitation::NotAnInvitation;
use crate::station::Wish;

/// More than any join link has, characters.
const LONGEST: usize = 600;

/// Whether there is anything to join.
pub(super) const fn may(image: &Image) -> bool {
    !matches!(image.link.state, LinkState::Joined | LinkState::Reaching)
}

/// What `key` means while something is typed to join with.
pub(super) fn meant(key: KeyEvent, own: &mut Own) -> Option<Meant> {
    let Over::Join(typed) = &mut own.over else { return None };
    match key.code {
        KeyCode::Esc => own.over = Over::Nothing,
        KeyCode::Backspace => drop(typed.pop()),
        KeyCode::Char(letter) if !has_modifier(key) && typed.chars().count() < LONGEST => typed.push(letter),
        KeyCode::Enter => match typed.trim().parse() {
            Ok(invitation) => {
                own.over = Over::Nothing;
                return Some(Meant::Wish(Wish::Join(invitation)));
            }
            // What was typed stays, so that a slip of the finger is one key.
            Err(why) => {
                let why: NotAnInvitation = why;
                own.says = Some(why.to_string());
            }
        },
        _ => {}
    }
    None
}
