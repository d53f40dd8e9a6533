//! Pedals and levers in the terminal: each letter moves its own, as its button does on the page.

use consort_guide::Pedals;
use consort_pages::DeskPedals;
use consort_proto::{Accidental, Setting};
use consort_words::Words;

use crate::image::Image;
use crate::station::Wish;

/// Whether this harp has anything to move.
pub(super) fn can_move(image: &Image, words: &Words) -> bool {
    of(image, words).is_some()
}

/// The wish that moves the pedal of `letter` on by one, from sharp back to flat.
pub(super) fn moved(letter: char, image: &Image, words: &Words) -> Option<Wish> {
    next(letter, &of(image, words)?).map(Wish::Pedals)
}

/// Where each stands, by letters alone, in the order of the feet.
pub(super) fn stand(pedals: &DeskPedals) -> String {
    let stands = pedals.letters.iter().map(|pedal| {
        let sign = match pedal.stands {
            Accidental::Flat => "♭",
            Accidental::Natural => "♮",
            Accidental::Sharp => "♯",
        };
        // The left foot has D C B, the right one the rest.
        let foot = if pedal.letter == "E" && !pedals.levers {
            "| "
        } else {
            ""
        };
        format!("{foot}{}{sign}", pedal.letter)
    });
    stands.collect::<Vec<_>>().join(" ")
}

fn of(image: &Image, words: &Words) -> Option<DeskPedals> {
    DeskPedals::of(&image.harp, image.course.pedals.as_ref().map(Pedals::setting), words)
}

fn next(letter: char, pedals: &DeskPedals) -> Option<Setting> {
    let typed = letter.to_ascii_uppercase().to_string();
    pedals.letters.iter().find(|pedal| pedal.letter == typed)?;
    let letters = pedals.letters.iter().map(|pedal| {
        let at = pedal.may.iter().position(|may| *may == pedal.stands).unwrap_or(0);
        let moves = usize::from(pedal.letter == typed);
        let stands = pedal.may.get((at + moves) % pedal.may.len().max(1));
        let sign = match stands.unwrap_or(&pedal.stands) {
            Accidental::Flat => "b",
            Accidental::Natural => "",
            Accidental::Sharp => "#",
        };
        format!("{}{sign}", pedal.letter)
    });
    letters.collect::<Vec<_>>().join(" ").parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use consort_proto::harp_file::preset;

    #[track_caller]
    fn check(harp: &str, keys: &str, expected: &str) {
        let harp = preset(harp).expect("a preset");
        let words = Words::english();
        let mut pedals = DeskPedals::of(&harp, None, &words).expect("something to move");
        for key in keys.chars() {
            let setting = next(key, &pedals).expect("a pedal");
            pedals = DeskPedals::of(&harp, Some(setting), &words).expect("the same");
        }
        assert_eq!(stand(&pedals), expected, "{keys}");
    }

    #[test]
    fn each_letter_moves_its_own_pedal_and_comes_round() {
        check("pedal-47", "", "D♭ C♭ B♭ | E♭ F♭ G♭ A♭");
        check("pedal-47", "b", "D♭ C♭ B♮ | E♭ F♭ G♭ A♭");
        check("pedal-47", "bffa", "D♭ C♭ B♮ | E♭ F♯ G♭ A♮");
        check("pedal-47", "bbb", "D♭ C♭ B♭ | E♭ F♭ G♭ A♭");
    }

    #[test]
    fn levers_are_up_or_down() {
        let harp = preset("lever-34").expect("a preset");
        let words = Words::english();
        let down = DeskPedals::of(&harp, None, &words).expect("levers");
        let up = DeskPedals::of(&harp, next('b', &down), &words).expect("levers");
        assert_ne!(stand(&down), stand(&up));
        let again = DeskPedals::of(&harp, next('b', &up), &words).expect("levers");
        assert_eq!(stand(&down), stand(&again));
    }
}
