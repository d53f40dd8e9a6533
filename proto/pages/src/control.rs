//! The leader's control as data.

use consort_proto::{Letter, Note, ReferencePitch, Scheme, Setting, Temperament};
use consort_words::{Arg, Key, Words};
use serde::Serialize;

use crate::board::{BoardPage, tenths};
use crate::image::{CodeImage, SeatImage, SessionImage};
use crate::links::Links;
use crate::proposal::pedals_cost;
use crate::question::Question;
use crate::questions::questions;
use crate::seat::presence;

/// Everything that the leader's control shows.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ControlPage {
    /// The board as everyone sees it.
    pub board: BoardPage,
    /// A4 in hertz.
    pub pitch_hz: f64,
    /// The lowest and the highest A4 that can be agreed, in hertz.
    pub pitch_range_hz: [f64; 2],
    /// The temperament's word; `own` for offsets of one's own.
    pub temperament: &'static str,
    /// Its deviations from equal temperament in cents, C to B.
    pub offsets: [f64; 12],
    /// All temperaments that have a name.
    pub temperaments: Vec<TemperamentChoice>,
    /// The pedal setting that the temperament serves, as orders carry it: a major key, or all seven pedals.
    pub setting: String,
    /// The same as people call it.
    pub setting_says: String,
    /// What a pedal that is moved from the setting costs, in words.
    pub pedals_say: String,
    /// All settings that are a major key.
    pub settings: Vec<SettingChoice>,
    /// How far off a string may be.
    pub tolerance: Tolerances,
    /// Whether unknown stations may join.
    pub joining: bool,
    /// The same in a sentence.
    pub joining_says: String,
    /// The joining code as people read it, as in `4829 1372`; null while none is shown.
    pub code: Option<String>,
    /// What the code is good for, or why there is none.
    pub code_says: String,
    /// Who joined last; null when nobody has since the coordinator started.
    pub newcomer: Option<String>,
    /// What the leader is asked: who may come in, whose seat may change hands, which pitch is proposed.
    pub questions: Vec<Question>,
    /// Whether the last change can be taken back.
    pub can_undo: bool,
    /// The A that would cost least, where that is not the one that is agreed; null otherwise.
    pub cheapest: Option<Cheapest>,
    /// Whether the reference tones of all desks are silenced.
    pub silenced: bool,
    /// The strings that can be called, as in `4C`: those of the largest harp, from the top.
    pub callable: Vec<String>,
    /// The one that is called; null for none.
    pub called: Option<String>,
    /// How many harps the agreement goes to at once.
    pub heard: usize,
    /// How to join and where to look.
    pub links: Links,
    /// All stations, also those that were turned away, in the order of their seats.
    pub stations: Vec<Station>,
}

/// A pitch that would cost the ensemble little.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cheapest {
    /// What it would cost, in words.
    pub says: String,
    /// A4 in hertz.
    pub hz: f64,
}

/// A temperament that can be chosen.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TemperamentChoice {
    /// The word that an order carries.
    pub word: &'static str,
    /// What people call it.
    pub name: String,
    /// Deviations from equal temperament in cents, C to B, to a tenth.
    pub offsets: [f64; 12],
}

/// A pedal setting that can be chosen.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SettingChoice {
    /// The word that an order carries.
    pub key: String,
    /// What people call it.
    pub name: String,
    /// All seven pedals, in their order.
    pub pedals: String,
}

/// How far off a string may be, in cents.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Tolerances {
    /// Gut, nylon and fluorocarbon below the top octave and a half.
    pub middle: f64,
    /// Wires.
    pub wires: f64,
    /// The top octave and a half.
    pub top: f64,
}

/// A station as the leader may turn it away or let it back in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Station {
    /// The fingerprint of its key, as orders carry it.
    pub station: String,
    /// The number of its seat, from 1.
    pub seat: u32,
    /// The harpist.
    pub name: String,
    /// The tag of its key, which the harpist can compare.
    pub tag: String,
    /// Whether it was turned away.
    pub removed: bool,
    /// Whether it may change the agreement as a deputy.
    pub deputy: bool,
    /// Why it is not heard, in words; null while it is heard.
    pub presence_says: Option<String>,
}

impl ControlPage {
    /// The control of `session`, said in `words`.
    pub fn of(session: &SessionImage<'_>, links: &Links, words: &Words) -> Self {
        let tuning = &session.agreement.tuning;
        let tolerance = &session.agreement.tolerance;
        let joining = if session.joining {
            Key::JoiningOpen
        } else {
            Key::JoiningClosed
        };
        let heard = |seat: &&SeatImage<'_>| seat.presence.counts() && !seat.removed;
        Self {
            board: BoardPage::of(session, words),
            pitch_hz: tuning.a4.hz().get(),
            pitch_range_hz: [ReferencePitch::MIN_HZ, ReferencePitch::MAX_HZ],
            temperament: tuning.temperament.scheme().map_or("own", Scheme::word),
            offsets: tuning.temperament.offsets().map(tenths),
            temperaments: temperaments(words),
            setting: setting_key(tuning.setting),
            setting_says: words.setting(tuning.setting),
            pedals_say: pedals_cost(tuning, words),
            settings: settings(words),
            tolerance: Tolerances {
                middle: tolerance.middle.0,
                wires: tolerance.wires.0,
                top: tolerance.top.0,
            },
            joining: session.joining,
            joining_says: words.say(joining, &[]),
            code: match session.code {
                CodeImage::Open { code, .. } => Some(code.to_string()),
                CodeImage::Closed | CodeImage::Resting { .. } => None,
            },
            code_says: code_says(session.code, words),
            newcomer: session.newcomer.map(|(name, key)| {
                let args = [("name", Arg::from(name.as_str())), ("tag", Arg::from(key.tag()))];
                words.say(Key::JoiningNewcomer, &args)
            }),
            questions: questions(session, words),
            can_undo: session.can_undo,
            cheapest: session
                .cheapest
                .filter(|cheapest| cheapest.a4 != tuning.a4)
                .map(|cheapest| Cheapest {
                    says: cheapest.says(words),
                    hz: cheapest.a4.hz().get(),
                }),
            silenced: session.silenced,
            callable: callable(session),
            called: session.agreement.called.map(Note::harp_name),
            heard: session.seats.iter().filter(heard).count(),
            links: links.clone(),
            stations: session.seats.iter().map(|seat| Station::of(seat, words)).collect(),
        }
    }
}

impl Station {
    fn of(seat: &SeatImage<'_>, words: &Words) -> Self {
        Self {
            station: seat.station.to_string(),
            seat: seat.seat,
            name: seat.name.to_string(),
            tag: seat.station.tag(),
            removed: seat.removed,
            deputy: seat.deputy,
            presence_says: presence(seat, words),
        }
    }
}

fn code_says(code: CodeImage, words: &Words) -> String {
    match code {
        CodeImage::Closed => words.say(Key::CodeClosed, &[]),
        CodeImage::Open { wrong: 0, .. } => words.say(Key::CodeOpen, &[]),
        CodeImage::Open { wrong, .. } => {
            let tried = words.say(Key::CodeTried, &[("count", Arg::from(wrong))]);
            format!("{} {tried}", words.say(Key::CodeOpen, &[]))
        }
        CodeImage::Resting { left } => words.say(Key::CodeResting, &[("time", Arg::from(words.time(left)))]),
    }
}

/// Every string that some harp may have: those of the largest one, since what it has others mostly have as well.
fn callable(session: &SessionImage<'_>) -> Vec<String> {
    let seated = session.seats.iter().filter(|seat| !seat.removed);
    let largest = seated.map(|seat| seat.harp).max_by_key(|harp| harp.len());
    let strings = largest.map_or(&[][..], |harp| harp.strings());
    strings.iter().map(|string| string.open.harp_name()).collect()
}

fn temperaments(words: &Words) -> Vec<TemperamentChoice> {
    let choice = |scheme: Scheme| {
        let temperament = Temperament::named(scheme);
        TemperamentChoice {
            word: scheme.word(),
            name: words.temperament(&temperament),
            offsets: temperament.offsets().map(tenths),
        }
    };
    Scheme::ALL.into_iter().map(choice).collect()
}

fn settings(words: &Words) -> Vec<SettingChoice> {
    let choice = |setting: Setting| SettingChoice {
        key: setting_key(setting),
        name: words.setting(setting),
        pedals: setting.to_string(),
    };
    (-7..=7).filter_map(Setting::major).map(choice).collect()
}

/// A setting as orders carry it: the key that [`Setting`] reads back, else all seven pedals.
fn setting_key(setting: Setting) -> String {
    let tonic = |letter: Letter| ["b", "", "#"].map(|accidental| format!("{letter}{accidental}"));
    Letter::ALL
        .into_iter()
        .flat_map(tonic)
        .find(|key| key.parse() == Ok(setting))
        .unwrap_or_else(|| setting.to_string())
}
