//! Keys that are held down: most terminals tell of no key that is let go, and send a held one again and again.

use std::time::{Duration, Instant};

use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

/// Tells a key that is pressed from one that is held.
#[derive(Debug, Default)]
pub(super) struct Held {
    /// The key that came last, and when.
    last: Option<(KeyCode, KeyModifiers, Instant)>,
    /// Whether this terminal tells when a key is let go: then every press is one.
    tells: bool,
}

/// A held key comes again after a quarter to two thirds of a second, and then faster: the same one within this time is the
/// same press (usual settings of keyboards, no source).
const AGAIN_WITHIN: Duration = Duration::from_millis(700);

impl Held {
    /// Whether `key`, which comes at `now`, is a press of its own. Keys that walk or are `typed` may be held.
    pub(super) fn is_press(&mut self, key: KeyEvent, now: Instant, typed: bool) -> bool {
        if key.kind != KeyEventKind::Press {
            self.tells = true;
            return false;
        }
        let before = self.last.replace((key.code, key.modifiers, now));
        let is_same = before.is_some_and(|(code, modifiers, at)| {
            (code, modifiers) == (key.code, key.modifiers) && now.saturating_duration_since(at) < AGAIN_WITHIN
        });
        let types = typed && !matches!(key.code, KeyCode::Enter | KeyCode::Esc);
        self.tells || types || walks(key.code) || !is_same
    }
}

/// Whether the key goes from one thing to the next and back by another one.
const fn walks(code: KeyCode) -> bool {
    matches!(code, KeyCode::Left | KeyCode::Right | KeyCode::Up | KeyCode::Down)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Keys, each so many milliseconds after the first, and how many of them are presses of their own.
    #[track_caller]
    fn check(typed: bool, keys: impl IntoIterator<Item = (u64, KeyCode)>, expected: usize) {
        let (mut held, begun) = (Held::default(), Instant::now());
        let presses = keys.into_iter().filter(|(millis, code)| {
            let key = KeyEvent::new(*code, KeyModifiers::NONE);
            held.is_press(key, begun + Duration::from_millis(*millis), typed)
        });
        assert_eq!(presses.count(), expected);
    }

    /// A key that is held for two seconds, as terminals repeat it.
    fn hold(code: KeyCode) -> impl Iterator<Item = (u64, KeyCode)> {
        let repeats = (0..50).map(|repeat| 660 + 30 * repeat);
        [0].into_iter().chain(repeats).map(move |millis| (millis, code))
    }

    #[test]
    fn a_held_key_is_one_press_whatever_it_does() {
        for key in ['b', 'u', 'l', 'h', 'f', 'n', '1', ' '] {
            check(false, hold(KeyCode::Char(key)), 1);
        }
        check(false, hold(KeyCode::Enter), 1);
        check(true, hold(KeyCode::Enter), 1);
    }

    #[test]
    fn arrows_and_what_is_typed_may_be_held() {
        check(false, hold(KeyCode::Left), 51);
        check(true, hold(KeyCode::Backspace), 51);
        check(true, [(0, KeyCode::Char('3')), (90, KeyCode::Char('3'))], 2);
    }

    #[test]
    fn another_key_and_the_same_one_a_little_later_are_presses() {
        let key = KeyCode::Char;
        check(false, [(0, key('b')), (80, key('c')), (160, key('b'))], 3);
        check(false, [(0, key('b')), (750, key('b')), (1500, key('b'))], 3);
    }

    #[test]
    fn where_keys_are_told_to_be_let_go_every_press_is_one() {
        let (mut held, now) = (Held::default(), Instant::now());
        let kind = |kind| KeyEvent::new_with_kind(KeyCode::Char('b'), KeyModifiers::NONE, kind);
        assert!(held.is_press(kind(KeyEventKind::Press), now, false));
        assert!(!held.is_press(kind(KeyEventKind::Repeat), now, false));
        assert!(!held.is_press(kind(KeyEventKind::Release), now, false));
        assert!(held.is_press(kind(KeyEventKind::Press), now, false));
    }
}
