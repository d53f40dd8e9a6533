//! The leader's control as data.

use consort_proto::{Letter, ReferencePitch, Scheme, Setting, Temperament};
use consort_words::{Arg, Key, Words};
use qrcode::{Color, QrCode};
use serde::Serialize;
use serde_json::json;

use crate::board::{BoardPage, presence, tenths};
use crate::image::{CodeImage, SeatImage, SessionImage};
use crate::question::Question;

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
    /// How many harps the agreement goes to at once.
    pub heard: usize,
    /// How to join and where to look.
    pub links: Links,
    /// All stations, also those that were turned away, in the order of their seats.
    pub stations: Vec<Station>,
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
    /// Its place in the order of joining, from 1.
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

/// How to join and where to look, each also as a picture for a camera.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Links {
    /// Where the coordinator is, for a station that does not find it by itself.
    pub address: String,
    /// The tag of the coordinator's key, which a station names when a code does not match.
    pub tag: String,
    /// The join link.
    pub join: String,
    /// The join link as a QR code; null when it is too long for one.
    pub join_qr: Option<Qr>,
    /// The board's address.
    pub board: String,
    /// The board's address as a QR code; null when it is too long for one.
    pub board_qr: Option<Qr>,
}

/// A QR code (ISO/IEC 18004) as an SVG path of dark squares, one unit each.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Qr {
    /// Squares along one side, without the quiet zone of four that has to stay light around them.
    pub side: usize,
    /// The path data of the dark squares.
    pub path: String,
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

impl Links {
    /// The coordinator's `address` and the `tag` of its key, the `join` link and the address of the `board`, the last two
    /// with their pictures.
    pub fn new(address: String, tag: String, join: String, board: String) -> Self {
        Self {
            address,
            tag,
            join_qr: Qr::of(&join),
            board_qr: Qr::of(&board),
            join,
            board,
        }
    }
}

impl Qr {
    /// `text` as a QR code; `None` when it is longer than the largest code holds.
    pub fn of(text: &str) -> Option<Self> {
        let code = QrCode::new(text).ok()?;
        let side = code.width();
        let colors = code.to_colors();
        let mut path = String::new();
        for (y, row) in colors.chunks(side).enumerate() {
            let mut x = 0;
            while x < side {
                let dark = row[x..].iter().take_while(|color| **color == Color::Dark).count();
                if dark > 0 {
                    path.push_str(&format!("M{x} {y}h{dark}v1h-{dark}z"));
                }
                x += dark.max(1);
            }
        }
        Some(Self { side, path })
    }
}

fn questions(session: &SessionImage<'_>, words: &Words) -> Vec<Question> {
    let say = |key| words.say(key, &[]);
    let knocking = session.knocking.iter().map(|(name, key)| {
        let args = [("name", Arg::from(name.as_str())), ("tag", Arg::from(key.tag()))];
        let station = key.to_string();
        Question::new(
            words.say(Key::JoiningKnocking, &args),
            [
                (
                    say(Key::JoiningKnockingYes),
                    json!({"order": "admit", "station": station}),
                ),
                (
                    say(Key::JoiningKnockingNo),
                    json!({"order": "decline", "station": station}),
                ),
            ],
        )
    });
    let wanted = session.seats.iter().filter_map(|seat| {
        let (name, key) = seat.wanted_by?;
        let args = [
            ("name", Arg::from(name.as_str())),
            ("tag", Arg::from(key.tag())),
            ("seat", Arg::from(seat.seat.to_string())),
            ("holder", Arg::from(seat.name.as_str())),
        ];
        let answer = |yes: bool| json!({"order": "give-up", "seat": seat.seat, "yes": yes});
        Some(Question::new(
            words.say(Key::SeatWanted, &args),
            [
                (say(Key::SeatWantedYes), answer(true)),
                (say(Key::SeatWantedNo), answer(false)),
            ],
        ))
    });
    let proposed = session.proposal.iter().map(|(name, proposal)| {
        let hz = (proposal.a4.hz().get() * 10.0).round() / 10.0;
        let args = [
            ("name", Arg::from(name.as_str())),
            ("pitch", Arg::from(hz.to_string())),
            ("cents", Arg::from(tenths(proposal.sigma).to_string())),
        ];
        Question::new(
            words.say(Key::ProposalSays, &args),
            [
                (say(Key::ProposalYes), json!({"order": "pitch", "hz": hz})),
                (say(Key::ProposalNo), json!({"order": "drop-proposal"})),
            ],
        )
    });
    let watching = session.watching.iter().map(|&(key, granted)| {
        let tag = [("tag", Arg::from(key.tag()))];
        let (says, answer) = match granted {
            true => (Key::WatchingMay, Key::WatchingRevoke),
            false => (Key::WatchingSays, Key::WatchingGrant),
        };
        let order = json!({"order": "deputy", "station": key.to_string(), "granted": !granted});
        Question::new(words.say(says, &tag), [(say(answer), order)])
    });
    knocking.chain(wanted).chain(proposed).chain(watching).collect()
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
