//! The whole harp as SVG, the lowest string on the left: each bowed as far as it is usually found; straight is in tune.

use consort_proto::{Harp, Letter};
use consort_record::Life;
use consort_record::telling::string_name;
use consort_words::{Key, Words};

use super::{Drawn, Picture};
use crate::record::list;

/// Height of the drawing, and where the letters stand.
const HIGH: f64 = 330.0;
const LETTERS: f64 = 318.0;
/// The bow of 50 cents, where it ends.
const BOW_MOST: f64 = 12.0;
/// A string that is usually found so far off has its name above it, cents.
const NAMED_CENTS: f64 = 5.0;

/// All strings of the harp of `life`, which is `played` with what is allowed for.
pub(in crate::record) fn harp(life: &Life, played: &Harp, drawn: Drawn, words: &Words) -> String {
    let mut picture = Picture::begin(drawn, HIGH, &words.say(Key::PlotHarp, &[]));
    let usual = list::usual(life, played);
    let count = life.sheet.harp.len().max(2) as f64;
    for (number, string) in life.sheet.harp.numbered() {
        // 0 at the lowest string on the left, 1 at the top.
        let place = 1.0 - (f64::from(number.get()) - 1.0) / (count - 1.0);
        let x = 20.0 + (drawn.wide - 40.0) * place;
        let (top, bottom) = (24.0 + 150.0 * place.powf(1.15), 292.0 - 44.0 * place);
        let class = match string.open.letter {
            Letter::C => "c",
            Letter::F => "f",
            Letter::D | Letter::E | Letter::G | Letter::A | Letter::B => "gut",
        };
        match usual.get(&number) {
            Some(usual) => {
                // Flat bows to the lower strings, sharp to the higher ones.
                let bow = usual.found.signum() * BOW_MOST * (usual.found.abs() / 50.0).min(1.0).powf(0.6);
                picture.add(format_args!(
                    "<path class=\"{class}\" d=\"M{x:.1} {top:.1}Q{:.1} {:.1} {x:.1} {bottom:.1}\"/>",
                    x + 2.0 * bow,
                    f64::midpoint(top, bottom)
                ));
                // Who looks at it wants to know which string that is.
                if usual.found.abs() > NAMED_CENTS {
                    picture.text("said", x, top - 8.0, &string_name(number, &life.sheet), "middle");
                }
            }
            None => picture.add(format_args!(
                "<path class=\"{class}\" stroke-dasharray=\"2 6\" d=\"M{x:.1} {top:.1}V{bottom:.1}\"/>"
            )),
        }
        if string.open.letter == Letter::C {
            picture.text("", x, LETTERS, &string_name(number, &life.sheet), "middle");
        }
    }
    picture.end()
}
