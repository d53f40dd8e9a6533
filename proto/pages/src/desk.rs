//! The harpist's desk as data.

use consort_proto::{Cents, HarpString, Standing, StringNumber};
use consort_words::Words;
use serde::Serialize;

use crate::board::tenths;
use crate::question::Question;

/// Everything that the desk shows.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DeskPage {
    /// The harpist.
    pub name: String,
    /// What people call the harp.
    pub harp: String,
    /// What is tuned to, in one line.
    pub tuning: String,
    /// What the harp has come to, in words.
    pub says: String,
    /// The one message that matters most now.
    pub message: String,
    /// Whether the message asks for something.
    pub urgent: bool,
    /// Whether a code may be typed or a join link pasted.
    pub may_join: bool,
    /// What the harpist is asked.
    pub questions: Vec<Question>,
    /// Whether she wants help; null while nobody could come.
    pub help: Option<bool>,
    /// What has to be said besides, newest last.
    pub notices: Vec<String>,
    /// The string that the advice is about; null when all is set.
    pub string: Option<StringInHand>,
    /// What to do, in one large word.
    pub word: String,
    /// How far to turn; null where there is nothing to turn.
    pub far: Option<String>,
    /// Why.
    pub why: String,
    /// Where the pin is.
    pub place: Option<String>,
    /// The advice as one whole sentence, for those who hear the page.
    pub sentence: String,
    /// The strings from the top.
    pub strings: Vec<DeskString>,
}

/// The string that the advice is about.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StringInHand {
    /// Its number from the top.
    pub string: u8,
    /// The harpist's name, as in `4C`.
    pub name: String,
    /// The letter alone, which decides the colour.
    pub letter: String,
    /// How far it is above its target, to a tenth of a cent; null where that is in doubt, so that nothing drawn can be
    /// taken for advice.
    pub cents: Option<f64>,
    /// Half the width of the tolerance, in cents.
    pub within: f64,
    /// What it is, as a word for programs.
    pub standing: &'static str,
}

/// One string of the harp.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DeskString {
    /// Its number from the top.
    pub string: u8,
    /// The harpist's name, as in `4C`.
    pub name: String,
    /// The letter alone.
    pub letter: String,
    /// What it is, as a word for programs.
    pub standing: &'static str,
    /// How far the newest reading lies above the target, to a tenth of a cent, if there is one.
    pub cents: Option<f64>,
    /// What it is, in words.
    pub says: String,
}

impl StringInHand {
    /// String `number`, heard `cents` above its target; `None` hides the bow, as it must in any doubt.
    pub fn of(
        number: StringNumber,
        string: &HarpString,
        standing: Standing,
        cents: Option<Cents>,
        within: Cents,
    ) -> Self {
        Self {
            string: number.get(),
            name: string.open.harp_name(),
            letter: string.open.letter.to_string(),
            cents: cents.map(tenths),
            within: within.0,
            standing: standing.word(),
        }
    }
}

impl DeskString {
    /// String `number`, said in `words`.
    pub fn of(number: StringNumber, string: &HarpString, standing: Standing, words: &Words) -> Self {
        Self {
            string: number.get(),
            name: string.open.harp_name(),
            letter: string.open.letter.to_string(),
            standing: standing.word(),
            cents: standing.cents().map(tenths),
            says: words.standing(standing),
        }
    }
}
