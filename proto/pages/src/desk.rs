//! The harpist's desk as data.

use consort_proto::{
    Accidental, Cents, Harp, HarpString, Kind, Letter, Mechanism, Naming, Setting, Standing, StringNumber, Tuning,
};
use consort_words::{Arg, Key, Words};
use serde::Serialize;

use crate::board::tenths;
use crate::listening::ListeningPage;
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
    /// What a clock would say: how long until the start; null where no start is set.
    pub start: Option<String>,
    /// Whether she performs: the page is dark but for a clock.
    pub dark: bool,
    /// Whether there is a link: `joined`, `alone` or `lost`.
    pub link: &'static str,
    /// What is to be said of the input.
    pub health: String,
    /// Whether she may say that she has seen what the message says.
    pub may_see: bool,
    /// What else is chosen and under way.
    pub telling: Telling,
    /// Whether a code may be typed or a join link pasted.
    pub may_join: bool,
    /// What the harpist is asked.
    pub questions: Vec<Question>,
    /// Whether she wants help; null while nobody could come.
    pub help: Option<bool>,
    /// That the leader has silenced the reference tones, in words; null while they may sound.
    pub no_tone: Option<String>,
    /// The pedals or levers as she says they stand; null on a harp that has none.
    pub pedals: Option<DeskPedals>,
    /// What has to be said besides, newest last.
    pub notices: Vec<String>,
    /// The string that the advice is about; null when all is set.
    pub string: Option<StringInHand>,
    /// What to do, in one large word.
    pub word: String,
    /// How far to turn; null where there is nothing to turn.
    pub far: Option<String>,
    /// The same as a turn of the key's handle, to be drawn.
    pub turn: Option<KeyTurn>,
    /// What has to be looked at first: `pedal`, `lever`, `pin`, `harp`, `tuning`, `pitch` or `limit`; null in no doubt.
    pub doubt: Option<&'static str>,
    /// Whether she may go on once she has looked; without a doubt, whether she may say that what was too soft was hers.
    pub may_go_on: bool,
    /// The string that comes next.
    pub next: Option<String>,
    /// Why.
    pub why: String,
    /// Where the pin is.
    pub place: Option<String>,
    /// The advice as one whole sentence, for those who hear the page.
    pub sentence: String,
    /// The check by listening that is under way.
    pub listening: Option<ListeningPage>,
    /// The strings from the top.
    pub strings: Vec<DeskString>,
}

/// The pedals, or levers by their letters, as the harpist says they stand.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DeskPedals {
    /// Whether it is levers.
    pub levers: bool,
    /// That they are not all open, in words; null while they are.
    pub says: Option<String>,
    /// Each letter, in the order of the pedals.
    pub letters: Vec<DeskPedal>,
}

/// One pedal, or the levers of one letter.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DeskPedal {
    /// The letter.
    pub letter: String,
    /// Where it can stand, the open strings first.
    pub may: Vec<Accidental>,
    /// Where it stands.
    pub stands: Accidental,
}

/// How the key turns.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct KeyTurn {
    /// By how many degrees; above zero tightens.
    pub degrees: f64,
    /// Where the handle goes: `away` or `towards`; null until the harpist has said how it is on this harp.
    pub way: Option<&'static str>,
}

/// What the harpist has chosen and what is under way.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Telling {
    /// The order of strings, as a word for programs.
    pub order: &'static str,
    /// Whether octaves are named as in acoustics.
    pub scientific: bool,
    /// Which way the key goes to tighten, as a word for programs.
    pub key: Option<&'static str>,
    /// Whether the quick pass is under way.
    pub quick: bool,
    /// Whether a last check is under way.
    pub last_check: bool,
    /// The string that she has chosen by hand; null while all are listened for.
    pub chosen: Option<StringNumber>,
    /// Whether she plays: nothing moves.
    pub plays: bool,
    /// Whether something can be taken back.
    pub can_undo: bool,
    /// Whether nobody has said yet which harp this is.
    pub fresh: bool,
    /// The input that she has chosen; null for the one that the system prefers.
    pub input: Option<String>,
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
    /// How it is tuned open: `flat`, `natural` or `sharp`.
    pub accidental: Accidental,
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
    /// The pitch to which it is tuned, in hertz.
    pub target_hz: f64,
    /// Whether it has neither discs nor lever, and is tuned to what the piece wants.
    pub fixed: bool,
    /// How it is tuned open: `flat`, `natural` or `sharp`.
    pub accidental: Accidental,
}

impl DeskPedals {
    /// The pedals or levers of `harp` in the `declared` setting, or all open; `None` on a harp that has none.
    pub fn of(harp: &Harp, declared: Option<Setting>, words: &Words) -> Option<Self> {
        let movable = |string: &&HarpString| string.mechanism != Mechanism::Fixed;
        let of_letter = |letter: Letter| {
            harp.strings()
                .iter()
                .filter(movable)
                .find(|string| string.open.letter == letter)
        };
        let letters = Letter::PEDALS.into_iter().filter_map(|letter| {
            let string = of_letter(letter)?;
            let open = string.open.accidental.semitones();
            let standing = |position: u8| Accidental::from_semitones(open + i32::from(position));
            Some(DeskPedal {
                letter: letter.to_string(),
                may: (0..=string.mechanism.positions()).filter_map(standing).collect(),
                stands: standing(declared.map_or(0, |setting| string.position_in(setting)))?,
            })
        });
        let letters: Vec<DeskPedal> = letters.collect();
        let levers = harp.kind() != Kind::Pedal;
        let key = if levers { Key::DeskLevers } else { Key::DeskPedals };
        let signs = |setting| words.setting(setting).replace('b', "♭").replace('#', "♯");
        let says = declared.map(|setting| words.say(key, &[("setting", Arg::from(signs(setting)))]));
        (!letters.is_empty()).then_some(Self { levers, says, letters })
    }
}

impl StringInHand {
    /// String `number`, heard `cents` above its target; `None` hides the bow, as it must in any doubt.
    pub fn of(
        number: StringNumber,
        string: &HarpString,
        standing: Standing,
        cents: Option<Cents>,
        within: Cents,
        naming: Naming,
    ) -> Self {
        Self {
            string: number.get(),
            name: naming.of(string.open),
            letter: string.open.letter.to_string(),
            accidental: string.open.accidental,
            cents: cents.map(tenths),
            within: within.0,
            standing: standing.word(),
        }
    }
}

impl DeskString {
    /// String `number`, said in `words`.
    pub fn of(
        number: StringNumber,
        string: &HarpString,
        standing: Standing,
        tuning: &Tuning,
        naming: Naming,
        words: &Words,
    ) -> Self {
        Self {
            string: number.get(),
            name: naming.of(string.open),
            target_hz: (tuning.open_target(string).get() * 1e3).round() / 1e3,
            fixed: string.mechanism == Mechanism::Fixed,
            accidental: string.open.accidental,
            letter: string.open.letter.to_string(),
            standing: standing.word(),
            cents: standing.cents().map(tenths),
            says: words.standing(standing),
        }
    }
}
