//! The session as one object for other programs.

use std::time::Duration;

use consort_pages::{Remaining, remaining};
use consort_proto::{Material, Standing};
use consort_session::call::Called;
use consort_session::cheapest::Cost;
use consort_session::room::RoomMove;
use consort_session::{CodeView, Presence, StationView, View};
use consort_words::{Arg, Key, Words};
use serde::Serialize;

use crate::image;
use crate::lines::line;

/// The session as machine-readable JSON; notes are scientific ASCII, times are seconds, frequencies hertz.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Status {
    /// What the ensemble calls itself.
    pub ensemble: String,
    /// The session's short name.
    pub session: String,
    /// How often the session has been opened.
    pub epoch: u32,
    /// How often the agreement has changed.
    pub revision: u64,
    /// The round that is being tuned.
    pub round: u32,
    /// A4 in hertz.
    pub pitch_hz: f64,
    /// The temperament's word; null for offsets of one's own.
    pub temperament: Option<&'static str>,
    /// Deviations from equal temperament in cents, C to B.
    pub offsets_cents: [f64; 12],
    /// The pedal setting that the temperament serves.
    pub setting: String,
    /// Seconds left until the start; null when none is set.
    pub start_in_s: Option<u64>,
    /// Whether the start has passed and no round was called since, so that nothing is judged.
    pub playing: bool,
    /// Whether unknown stations may join.
    pub joining: bool,
    /// The joining code as people read it; null while none is shown.
    pub code: Option<String>,
    /// Whether the disk refuses to keep what is reported.
    pub disk_trouble: bool,
    /// The string that everyone is asked for, as in `4C`; null for none.
    pub called: Option<String>,
    /// The string that is called, on each harp that is heard and has it; null while none is called.
    pub side_by_side: Option<SideBySide>,
    /// What would remain out of tune if it began now, and in three minutes where that is foretold of any harp; empty when
    /// nobody is left to tune.
    pub remains: Vec<Remaining>,
    /// What the room did to the strings of most harps since they were set.
    pub room: Vec<RoomStatus>,
    /// The reference pitch at which fewest strings would have to be turned; null while hardly any string was heard.
    pub cheapest: Option<CheapestStatus>,
    /// Who asks to be let in without a code.
    pub knocking: Vec<Knocking>,
    /// Who looks at the board over a link of its own.
    pub watching: Vec<Watching>,
    /// The reference pitch that somebody has measured, in hertz; null while none waits for the leader.
    pub proposed_hz: Option<f64>,
    /// A4 from the next round on, in hertz; null while none was decided.
    pub next_pitch_hz: Option<f64>,
    /// Whether the reference tones of all desks are silenced.
    pub silenced: bool,
    /// Harps that are ready.
    pub ready: usize,
    /// The session in one line for people.
    pub line: String,
    /// The stations in the order of their seats.
    pub stations: Vec<StationStatus>,
}

/// A string that everyone was asked for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SideBySide {
    /// The string, as in `4C`.
    pub string: String,
    /// How far apart the harps stand; null with fewer than two plucks since the call.
    pub apart_cents: Option<f64>,
    /// The harps in the order of their seats.
    pub harps: Vec<BesideStatus>,
}

/// One harp in a [`SideBySide`].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BesideStatus {
    /// Its seat.
    pub seat: u32,
    /// The string's number from the top.
    pub string: u8,
    /// How far it lies above its target; null until it is plucked.
    pub cents: Option<f64>,
}

/// What the strings of one material did on most harps.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RoomStatus {
    /// `gut`, `nylon`, `fluorocarbon` or `wire`.
    pub material: Material,
    /// How far they moved; negative when they fell.
    pub cents: f64,
    /// Harps on which they did.
    pub harps: usize,
    /// Harps on which they were heard again.
    pub of: usize,
    /// Seconds since they had been left.
    pub since_s: u64,
}

/// The reference pitch that costs least.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CheapestStatus {
    /// The pitch.
    pub a4_hz: f64,
    /// Strings that would have to be turned.
    pub strings: usize,
    /// Seconds that the harp with most of them takes.
    pub takes_s: u64,
}

/// Somebody who asks to be let in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Knocking {
    /// The harpist.
    pub name: String,
    /// The tag of its key.
    pub tag: String,
}

/// A laptop that looks at the board.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Watching {
    /// The tag of its key.
    pub tag: String,
    /// Whether it may change the agreement.
    pub deputy: bool,
}

/// One station in a [`Status`].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StationStatus {
    /// The number under which its seat is shown.
    pub seat: u32,
    /// The harpist.
    pub name: String,
    /// The tag of its key.
    pub tag: String,
    /// What people call the harp.
    pub harp: String,
    /// `here`, `unsure`, `silent` or `away`.
    pub presence: &'static str,
    /// For how many seconds it was not heard, if it is silent.
    pub silent_s: Option<u64>,
    /// Whether the leader turned it away.
    pub removed: bool,
    /// Whether the harpist wants help.
    pub help: bool,
    /// Whether two laptops show its key, so that neither is let in.
    pub copied: bool,
    /// Whether it may change the agreement as a deputy.
    pub deputy: bool,
    /// The tag of the laptop that wants to take this seat over; null while none does.
    pub wanted_by: Option<String>,
    /// Seconds since the oldest of the strings that hold was plucked; null where that is not known.
    pub confirmed_s: Option<u64>,
    /// Seconds since the harp was ready, when that has to be confirmed in this round; else null.
    pub to_confirm_s: Option<u64>,
    /// The seat of the harp that it seems to hear in place of its own; else null.
    pub overhears: Option<u32>,
    /// Whether the harp counts as ready.
    pub ready: bool,
    /// What the harp is, for people.
    pub says: String,
    /// What its link is, for people.
    pub presence_says: String,
    /// Strings that hold.
    pub holding: usize,
    /// Strings left to tune.
    pub left: usize,
    /// The strings from the top.
    pub strings: Vec<StringStatus>,
}

/// One string in a [`StationStatus`].
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StringStatus {
    /// Its number from the top.
    pub string: u8,
    /// The note of the open string.
    pub note: String,
    /// `not-heard`, `off`, `set-once`, `holds`, `moved`, `will-not-hold`, `new` or `missing`.
    pub standing: &'static str,
    /// How far the newest reading lies above the target, if there is one.
    pub cents: Option<f64>,
}

impl Status {
    /// The status of `view`, with what people read in `words`.
    pub fn of(view: &View, words: &Words) -> Self {
        let agreement = &view.agreement;
        let tuning = &agreement.tuning;
        Self {
            ensemble: agreement.ensemble.to_string(),
            session: agreement.session.to_string(),
            epoch: view.epoch,
            revision: agreement.revision.0,
            round: agreement.round.0,
            pitch_hz: tuning.a4.hz().get(),
            temperament: tuning.temperament.scheme().map(consort_proto::Scheme::word),
            offsets_cents: tuning.temperament.offsets().map(|offset| rounded(offset.0)),
            setting: tuning.setting.to_string(),
            start_in_s: view.start_in.map(|left| left.as_secs()),
            playing: view.playing,
            joining: view.joining,
            code: code(view),
            side_by_side: view.called.as_ref().map(SideBySide::of),
            remains: remaining(&image::of(view)),
            room: view.room.iter().map(RoomStatus::of).collect(),
            cheapest: view.cheapest().as_ref().map(CheapestStatus::of),
            disk_trouble: view.disk_trouble,
            called: agreement.called.map(consort_proto::Note::harp_name),
            knocking: view
                .knocking
                .iter()
                .map(|who| Knocking {
                    name: who.name.to_string(),
                    tag: who.peer.tag(),
                })
                .collect(),
            watching: view
                .watching
                .iter()
                .map(|(peer, deputy)| Watching {
                    tag: peer.tag(),
                    deputy: *deputy,
                })
                .collect(),
            proposed_hz: view.proposal.as_ref().map(|(_, proposal)| proposal.a4.hz().get()),
            next_pitch_hz: view.next_pitch.map(|a4| a4.hz().get()),
            silenced: view.silenced,
            ready: view.stations.iter().filter(|station| station.is_ready()).count(),
            line: line(view, words),
            stations: view
                .stations
                .iter()
                .map(|station| StationStatus::of(station, words))
                .collect(),
        }
    }
}

impl SideBySide {
    fn of(called: &Called) -> Self {
        let beside = called.harps.iter().map(|beside| BesideStatus {
            seat: beside.seat,
            string: beside.string.get(),
            cents: beside.cents.map(|cents| rounded(cents.0)),
        });
        Self {
            string: called.note.harp_name(),
            apart_cents: called.apart.map(|cents| rounded(cents.0)),
            harps: beside.collect(),
        }
    }
}

impl RoomStatus {
    fn of(moved: &RoomMove) -> Self {
        Self {
            material: moved.material,
            cents: rounded(moved.cents.0),
            harps: moved.harps,
            of: moved.of,
            since_s: moved.since.as_secs(),
        }
    }
}

impl CheapestStatus {
    fn of(cost: &Cost) -> Self {
        Self {
            a4_hz: cost.a4.hz().get(),
            strings: cost.strings,
            takes_s: cost.takes.as_secs(),
        }
    }
}

impl StationStatus {
    fn of(station: &StationView, words: &Words) -> Self {
        let (word, silent) = match station.presence {
            Presence::Here => ("here", None),
            Presence::Unsure => ("unsure", None),
            Presence::Silent(silent) => ("silent", Some(silent)),
            Presence::Away => ("away", None),
        };
        let strings = station.harp.numbered().zip(station.readiness.standings());
        Self {
            seat: station.place,
            name: station.name.to_string(),
            tag: station.peer.tag(),
            harp: station.harp.name().to_owned(),
            presence: word,
            silent_s: silent.map(|silent: Duration| silent.as_secs()),
            removed: station.removed,
            help: station.help,
            copied: station.copied,
            deputy: station.deputy,
            wanted_by: station.wanted_by.as_ref().map(|who| who.peer.tag()),
            confirmed_s: station.confirmed_ago.map(|ago| ago.as_secs()),
            to_confirm_s: station.to_confirm.map(|ago| ago.as_secs()),
            overhears: station.overhears,
            ready: station.is_ready(),
            says: words.readiness(&station.harp, &station.readiness),
            presence_says: presence(station, words),
            holding: station.readiness.holding(),
            left: station.readiness.left(),
            strings: strings
                .map(|((number, string), standing)| StringStatus {
                    string: number.get(),
                    note: string.open.to_string(),
                    standing: standing_word(*standing),
                    cents: standing.cents().map(|cents| rounded(cents.0)),
                })
                .collect(),
        }
    }
}

/// What the link of `station` is, for people.
pub(crate) fn presence(station: &StationView, words: &Words) -> String {
    if station.removed {
        return words.say(Key::PresenceRemoved, &[]);
    }
    match station.presence {
        Presence::Here => words.say(Key::PresenceHere, &[]),
        Presence::Unsure => words.say(Key::PresenceUnsure, &[]),
        Presence::Silent(silent) => words.say(Key::PresenceSilent, &[("time", Arg::from(words.time(silent)))]),
        Presence::Away => words.say(Key::PresenceAway, &[]),
    }
}

/// The joining code as people read it, if one is shown.
pub fn code(view: &View) -> Option<String> {
    match view.code {
        CodeView::Open { code, .. } => Some(code.to_string()),
        CodeView::Closed | CodeView::Resting { .. } => None,
    }
}

/// The word of a standing in machine output.
const fn standing_word(standing: Standing) -> &'static str {
    match standing {
        Standing::NotHeard => "not-heard",
        Standing::Off(_) => "off",
        Standing::SetOnce(_) => "set-once",
        Standing::Holds(_) => "holds",
        Standing::Moved(_) => "moved",
        Standing::WillNotHold(_) => "will-not-hold",
        Standing::New(_) => "new",
        Standing::Missing => "missing",
    }
}

/// Thousandths of a cent: finer is nobody's business.
fn rounded(cents: f64) -> f64 {
    (cents * 1000.0).round() / 1000.0
}
