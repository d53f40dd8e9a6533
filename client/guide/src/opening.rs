//! The opening check: what a few plucks say of pedals, levers, open tuning and pitch, before any pin is turned.

mod check;
mod odds;
#[cfg(test)]
mod tests;

use consort_proto::{Cents, Harp, HarpString, Hz, Letter, Mechanism, StringNumber, Tuning};

pub use check::{Check, Doubt};
use odds::{Guess, Odds};

/// Plucks that the check is made from: an octave from middle C down, so that every letter is heard once.
pub const PLUCKS: usize = 7;

/// A string that was asked for and plucked, and what sounded: perhaps not as its open string should, perhaps another one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plucked {
    /// The string that was asked for.
    pub string: StringNumber,
    /// What sounded.
    pub hz: Hz,
}

/// What the plucks say.
#[derive(Clone, Debug, PartialEq)]
pub struct Opening {
    /// How far the harp as a whole stands above its targets.
    pub mean: Cents,
    /// What has to be looked at before any pin is turned, likeliest first.
    pub observations: Vec<Observation>,
}

/// Something that is probably not as it should be for tuning.
#[derive(Clone, Debug, PartialEq)]
pub struct Observation {
    /// What it is.
    pub what: What,
    /// How likely it is, given the plucks: from 0.5 to 1.
    pub probability: f64,
    /// How far its strings stand above the rest of the harp: the evidence.
    pub above: Cents,
}

/// What may not be as it should be.
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum What {
    /// The pedal of a letter stands in natural, or in sharp.
    Pedal {
        /// The letter.
        letter: Letter,
        /// Semitones by which it raises its strings: 1 or 2.
        semitones: u8,
    },
    /// All pedals stand in natural.
    AllPedals,
    /// The lever of a string is up.
    Lever(StringNumber),
    /// The open strings of these letters stand a semitone lower or higher: another open tuning.
    OpenTuning {
        /// Letters that stand lower.
        lower: Vec<Letter>,
        /// Letters that stand higher.
        higher: Vec<Letter>,
    },
    /// A string sounds where none of these puts it: another string was plucked, or it is far off.
    Elsewhere(StringNumber),
    /// Nothing fits: this is another harp than the one that is set.
    AnotherHarp,
    /// The whole harp stands so far below that it must not be brought up in one go.
    FarBelow,
}

/// From this probability on something is worth a look; below, silence is better.
const WORTH_A_LOOK: f64 = 0.5;
/// Of this share of the strings elsewhere, the harp itself is doubted.
const ANOTHER_HARP_FROM: f64 = 0.4;

/// Weighs what `plucks` say of a harp that is to be tuned to `tuning`.
///
/// Every string is raised by its pedal or lever by whole semitones, all strings share the harp's own offset, each lies
/// some cents beside, and now and then another string is plucked.
/// The probabilities of all that are weighed exactly; strings without discs and levers take no part.
pub fn observe(harp: &Harp, tuning: &Tuning, plucks: &[Plucked]) -> Opening {
    let heard: Vec<(StringNumber, HarpString, Cents)> = plucks
        .iter()
        .filter_map(|plucked| {
            let string = harp.string(plucked.string)?;
            let above = plucked.hz.cents_above(tuning.open_target(string));
            (string.mechanism != Mechanism::Fixed).then_some((plucked.string, *string, above))
        })
        .collect();
    let odds = Odds::weigh(&heard);
    let mut observations = Vec::new();
    let elsewhere = heard
        .iter()
        .enumerate()
        .filter(|(at, _)| odds.elsewhere[*at] >= WORTH_A_LOOK)
        .count();
    if heard.len() >= PLUCKS && elsewhere as f64 >= ANOTHER_HARP_FROM * heard.len() as f64 {
        return Opening {
            mean: Cents(0.0),
            observations: vec![Observation {
                what: What::AnotherHarp,
                probability: odds.elsewhere.iter().sum::<f64>() / heard.len() as f64,
                above: Cents(0.0),
            }],
        };
    }
    if odds.guess_probability >= WORTH_A_LOOK
        && let Some(what) = told(&odds.guess)
    {
        let (sum, count) = heard.iter().fold((0.0, 0_u32), |(sum, count), (_, string, above)| {
            let raised = odds.guess.semitones(string.open.letter);
            let takes_part = u32::from(raised != 0);
            (
                sum + f64::from(takes_part) * (above.0 - odds.mean.0),
                count + takes_part,
            )
        });
        observations.push(Observation {
            what,
            probability: odds.guess_probability,
            above: Cents(if count == 0 { 0.0 } else { sum / f64::from(count) }),
        });
    }
    for (at, (number, string, above)) in heard.iter().enumerate() {
        let above = Cents(above.0 - odds.mean.0);
        if odds.elsewhere[at] >= WORTH_A_LOOK {
            observations.push(Observation {
                what: What::Elsewhere(*number),
                probability: odds.elsewhere[at],
                above,
            });
            continue;
        }
        let (semitones, probability) = odds.raised[at];
        let what = match string.mechanism {
            Mechanism::Discs => What::Pedal {
                letter: string.open.letter,
                semitones,
            },
            Mechanism::Lever | Mechanism::Fixed => What::Lever(*number),
        };
        let told = observations
            .iter()
            .any(|told| told.what == what || told.what == What::AllPedals);
        if semitones > 0 && probability >= WORTH_A_LOOK && !told {
            observations.push(Observation {
                what,
                probability,
                above,
            });
        }
    }
    observations.sort_by(|one, other| other.probability.total_cmp(&one.probability));
    Opening {
        mean: odds.mean,
        observations,
    }
}

/// The string whose pluck would tell most, where the first octave leaves a doubt: the same letter an octave higher or lower.
///
/// A string that sounds high or low by itself may have moved; its letter's other strings share its pedal and its open
/// tuning, but not its lever.
pub fn one_more(harp: &Harp, opening: &Opening) -> Option<StringNumber> {
    let doubted = opening
        .observations
        .iter()
        .find_map(|observation| match observation.what {
            What::Lever(number) | What::Elsewhere(number) => harp.string(number),
            _ => None,
        })?;
    let letter = doubted.open.letter;
    [1, -1]
        .into_iter()
        .filter_map(|octaves| harp.find(letter, doubted.open.octave + octaves))
        .find(|number| {
            harp.string(*number)
                .is_some_and(|string| string.mechanism != Mechanism::Fixed)
        })
}

/// What a guess about the whole harp means to the harpist; nothing, if it is the harp as it was set.
fn told(guess: &Guess) -> Option<What> {
    match guess {
        Guess::AsSet => None,
        Guess::AllPedals => Some(What::AllPedals),
        Guess::OpenTuning(_) => {
            let letters = |sign: i32| {
                Letter::PEDALS
                    .into_iter()
                    .filter(|letter| guess.semitones(*letter) == sign)
                    .collect()
            };
            Some(What::OpenTuning {
                lower: letters(-1),
                higher: letters(1),
            })
        }
    }
}
