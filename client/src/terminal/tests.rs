//! What the keys of the terminal mean, one after another.

use std::sync::Arc;

use consort_guide::{Action, Advice, listening};
use consort_link::{Config, Link};
use consort_proto::Uptime;
use consort_proto::harp_file::{parse, preset};
use ratatui::crossterm::event::{KeyCode, KeyModifiers};

use super::*;
use crate::course::Course;
use crate::image::Image;

/// A harp tuned alone, with middle C in hand, and what its terminal knows.
struct Desk {
    image: Image,
    own: Own,
    words: Words,
}

impl Desk {
    fn new() -> Self {
        let harp = preset("pedal-47").expect("a preset");
        let name = "Runa".parse().expect("a name");
        let link = Link::new(
            Uptime::default(),
            Config::first("Runa".parse().expect("a name"), harp.clone()),
        );
        let advice = Advice {
            string: StringNumber::new(26).ok(),
            action: Action::Pluck,
            ..Advice::rest()
        };
        let drawn = (advice, Course::default());
        Self {
            image: Image::of(&link, &Arc::new(harp), (&name, "tag"), drawn, Uptime::default()),
            own: Own::default(),
            words: Words::english(),
        }
    }

    fn press(&mut self, code: KeyCode) -> Option<Meant> {
        self.own.says = None;
        let key = KeyEvent::new(code, KeyModifiers::NONE);
        keys::meant(key, &self.image, &self.words, &mut self.own)
    }

    /// Presses the keys and returns what the last one means.
    fn type_in(&mut self, keys: &str) -> Option<Meant> {
        keys.chars().map(|key| self.press(KeyCode::Char(key))).last().flatten()
    }

    /// Whether not one of the keys means anything.
    fn all_mean_nothing(&mut self, keys: &str) -> bool {
        keys.chars().all(|key| self.press(KeyCode::Char(key)).is_none())
    }

    /// Which check is asked for by what the last key means.
    #[track_caller]
    fn expect_check(&mut self, code: KeyCode, expected: Option<(listening::Kind, u32)>) {
        let meant = self.press(code);
        let Some(Meant::Wish(Wish::Listen(asked))) = meant else {
            panic!("{code:?} means {meant:?}")
        };
        assert_eq!(asked.map(|(kind, string)| (kind, u32::from(string.get()))), expected);
    }
}

#[test]
fn a_check_by_ear_is_opened_changed_and_closed_by_single_keys() {
    use listening::Kind;
    let mut desk = Desk::new();
    desk.expect_check(KeyCode::Char('e'), Some((Kind::Octave, 26)));
    desk.expect_check(KeyCode::Down, Some((Kind::Fifth, 26)));
    desk.expect_check(KeyCode::Char('6'), Some((Kind::Scale, 26)));
    desk.expect_check(KeyCode::Left, Some((Kind::Scale, 27)));
    desk.expect_check(KeyCode::Down, Some((Kind::Octave, 27)));
    desk.expect_check(KeyCode::Up, Some((Kind::Scale, 27)));
    // The desk's other keys mean nothing here: a string that is plucked is no reading, and none is marked.
    assert!(desk.all_mean_nothing("nm0lfu"));
    desk.expect_check(KeyCode::Esc, None);
    assert_eq!(desk.own.over, Over::Nothing);
}

#[test]
fn the_first_tone_is_cautioned_about_and_another_key_is_none() {
    let mut desk = Desk::new();
    assert!(desk.type_in("r").is_none());
    let says = desk.own.says(&desk.image, &desk.words).expect("a caution");
    assert!(
        says.contains("earphones") && says.contains("turn the volume down"),
        "{says}"
    );
    let meant = desk.type_in("l");
    assert!(matches!(meant, Some(Meant::Wish(Wish::LastCheck(true)))), "{meant:?}");
    // Another key has put it away unread; the second time it is accepted.
    assert!(desk.type_in("r").is_none());
    let meant = desk.type_in("R");
    assert!(
        matches!(meant, Some(Meant::Tone(string)) if string.get() == 26),
        "{meant:?}"
    );
    desk.image.link.silenced = true;
    assert!(desk.type_in("r").is_none());
    assert!(
        desk.own
            .says
            .as_ref()
            .is_some_and(|says| says.contains("silenced the tones"))
    );
}

#[test]
fn another_size_and_open_tuning_are_chosen_and_played() {
    let mut desk = Desk::new();
    assert!(desk.type_in("s").is_none());
    let meant = desk.press(KeyCode::Enter);
    let Some(Meant::Wish(Wish::Harp(file))) = meant else {
        panic!("{meant:?}")
    };
    assert_eq!(parse(&file).expect("a harp").len(), 47, "the harp as it is");
    desk.type_in("s");
    for _ in 0..6 {
        desk.press(KeyCode::Down);
    }
    // A lever harp of 36 strings in E flat; its E becomes natural.
    desk.type_in("e");
    let meant = desk.press(KeyCode::Enter);
    let Some(Meant::Wish(Wish::Harp(file))) = meant else {
        panic!("{meant:?}")
    };
    let harp = parse(&file).expect("a harp");
    let preset = preset("lever-36").expect("a preset");
    assert_eq!(harp.len(), preset.len());
    let changed = harp
        .strings()
        .iter()
        .zip(preset.strings())
        .filter(|(one, other)| one.open != other.open);
    assert!(changed.clone().count() >= 4, "every octave has its E");
    assert!(
        changed
            .map(|(one, _)| one.open.to_string())
            .all(|name| name.starts_with('E') && !name.contains('b'))
    );
}

#[test]
fn a_code_is_typed_and_a_slip_of_the_finger_stays_to_be_mended() {
    let mut desk = Desk::new();
    desk.type_in("j4829 1373");
    assert!(desk.press(KeyCode::Enter).is_none());
    assert!(
        desk.own
            .says
            .as_ref()
            .is_some_and(|says| says.contains("one digit of the code")),
        "{:?}",
        desk.own.says
    );
    desk.press(KeyCode::Backspace);
    desk.type_in("2");
    let meant = desk.press(KeyCode::Enter);
    assert!(matches!(meant, Some(Meant::Wish(Wish::Join(_)))), "{meant:?}");
    desk.type_in("jq");
    assert_eq!(
        desk.own.over,
        Over::Join("q".to_owned()),
        "a letter that is typed ends nothing"
    );
    desk.press(KeyCode::Esc);
    assert!(matches!(desk.type_in("q"), Some(Meant::Quit)));
}

#[test]
fn a_key_pressed_twice_says_nothing_of_what_comes_next_and_none_reaches_through_the_dark() {
    let mut desk = Desk::new();
    assert!(desk.type_in(" ").is_none(), "there is nothing to look at");
    desk.image.advice.action = Action::WhichPin;
    let meant = desk.type_in(" ");
    assert!(
        matches!(meant, Some(Meant::Wish(Wish::LookedAt(string))) if string.get() == 26),
        "{meant:?}"
    );
    desk.type_in("e");
    desk.image.course.dark = true;
    assert!(desk.all_mean_nothing("nmlwuhrse1"));
    assert!(matches!(desk.type_in(" "), Some(Meant::Wish(Wish::Wake))));
    assert_eq!(desk.own.over, Over::Nothing);
}

#[test]
fn a_mark_that_is_typed_twice_is_meant_for_one_string_unless_another_one_is_chosen() {
    let mut desk = Desk::new();
    let marks = |desk: &mut Desk, key: KeyCode| match desk.press(key) {
        Some(Meant::Wish(Wish::Mark { string, .. })) => string.get(),
        meant => panic!("{meant:?}"),
    };
    assert_eq!(marks(&mut desk, KeyCode::Char('n')), 26);
    // The desk has gone on to the next string.
    desk.image.advice.string = StringNumber::new(27).ok();
    assert_eq!(marks(&mut desk, KeyCode::Char('n')), 26);
    desk.press(KeyCode::Left);
    desk.image.advice.string = StringNumber::new(28).ok();
    assert_eq!(marks(&mut desk, KeyCode::Char('m')), 28);
}
