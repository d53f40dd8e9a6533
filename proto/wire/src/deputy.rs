//! What deputies and the coordinator say to each other, as frames: a family of its own, over a protocol of its own.

use std::time::Duration;

use bincode::{Decode, Encode};
use consort_proto::agreement::SEATS_MAX;
use consort_proto::deputy::{Change, FromDeputy, HarpPicture, Heard, Hindsight, Picture, ToDeputy};
use consort_proto::message::Refusal;
use consort_proto::{Age, Cents, Material, RoomMove, Standing, Tuning};

use crate::code::Coded;
use crate::codec;
use crate::document::{AgreementV1, milliseconds};
use crate::error::WireError;
use crate::frame::{self, MUST_UNDERSTAND, kind};
use crate::harp::{HarpV1, cents, millicents};
use crate::tuning::{
    called, called_numbers, millihertz, reference, setting, setting_numbers, temperament, temperament_numbers,
    tolerance, tolerance_numbers,
};

/// [`FromDeputy::Order`], version 1: the part that `change` names is meant, the rest is as in a session that nobody has
/// changed.
#[derive(Debug, Decode, Encode)]
struct OrderV1 {
    number: u32,
    change: u8,
    a4_mhz: u32,
    scheme: u8,
    offsets_mc: [i32; 12],
    setting: [u8; 7],
    tolerance_mc: [i32; 3],
    start_in_ms: Option<u64>,
    called: Option<(u8, i8)>,
}

const PITCH: u8 = 1;
const TEMPERAMENT: u8 = 2;
const SETTING: u8 = 3;
const TOLERANCE: u8 = 4;
const START: u8 = 5;
const NEW_ROUND: u8 = 6;
const UNDO: u8 = 7;
const CALL: u8 = 8;

/// [`HarpPicture`], version 1.
#[derive(Debug, Decode, Encode)]
struct HarpPictureV1 {
    seat: u32,
    name: String,
    harp: HarpV1,
    standings: Vec<StandingV1>,
    /// 0 here, 1 unsure, 2 silent, 3 away.
    heard: u8,
    /// For how long it has been silent; 0 if it is not.
    silent_ms: u64,
    help: bool,
}

/// What a string is, version 1: its number as in its conversions below, and how far it lies above its target.
#[derive(Debug, Decode, Encode)]
struct StandingV1 {
    standing: u8,
    cents_mc: Option<i32>,
}

/// [`Picture`], version 1.
#[derive(Debug, Decode, Encode)]
struct PictureV1 {
    agreement: AgreementV1,
    start_in_ms: Option<u64>,
    can_undo: bool,
    disk_trouble: bool,
    granted: bool,
    seats: Vec<u32>,
}

/// [`Hindsight`], since 1.1.
#[derive(Debug, Decode, Encode)]
struct HindsightV1 {
    ages: Vec<AgeV1>,
    room: Vec<RoomMoveV1>,
}

/// [`ToDeputy::Answers`], since 1.1.
#[derive(Debug, Decode, Encode)]
struct AnswersV1 {
    seats: Vec<u32>,
}

/// A seat and its [`Age`], in seconds.
#[derive(Debug, Decode, Encode)]
struct AgeV1 {
    seat: u32,
    confirmed_s: Option<u32>,
    to_confirm_s: Option<u32>,
}

/// [`RoomMove`].
#[derive(Debug, Decode, Encode)]
struct RoomMoveV1 {
    material: u8,
    moved_mc: i32,
    harps: u32,
    of: u32,
    since_s: u32,
}

/// [`ToDeputy::Done`], version 1.
#[derive(Debug, Decode, Encode)]
struct DoneV1 {
    number: u32,
    outcome: u8,
}

/// [`ToDeputy::Refused`], version 1.
#[derive(Debug, Decode, Encode)]
struct DeputyRefusedV1 {
    refusal: u8,
}

/// The frame of what a deputy says.
pub fn encode_from_deputy(message: &FromDeputy) -> Vec<u8> {
    match message {
        FromDeputy::Watch => frame::join(kind::WATCH, &[]),
        FromDeputy::Beat => frame::join(kind::DEPUTY_BEAT, &[]),
        FromDeputy::Order { number, change } => codec::encode(kind::ORDER, OrderV1::of(*number, *change)),
    }
}

/// What a deputy says in `frame`; `None` for a frame that is unknown here and may be skipped.
pub fn decode_from_deputy(frame: &[u8]) -> Result<Option<FromDeputy>, WireError> {
    let (header, payload) = frame::split(frame)?;
    Ok(Some(match header.kind {
        kind::WATCH => codec::decode::<()>(header, payload).map(|()| FromDeputy::Watch)?,
        kind::DEPUTY_BEAT => codec::decode::<()>(header, payload).map(|()| FromDeputy::Beat)?,
        kind::ORDER => codec::decode::<OrderV1>(header, payload)?.try_into()?,
        unknown if header.flags & MUST_UNDERSTAND != 0 => return Err(WireError::Unknown(unknown)),
        _ => return Ok(None),
    }))
}

/// The frame of what the coordinator says to a deputy.
pub fn encode_to_deputy(message: &ToDeputy) -> Vec<u8> {
    match message {
        ToDeputy::Harp(picture) => codec::encode(kind::HARP_PICTURE, HarpPictureV1::from(picture)),
        ToDeputy::Picture(picture) => codec::encode(
            kind::PICTURE,
            PictureV1 {
                agreement: AgreementV1::from(&picture.agreement),
                start_in_ms: picture.start_in.map(milliseconds),
                can_undo: picture.can_undo,
                disk_trouble: picture.disk_trouble,
                granted: picture.granted,
                seats: picture.seats.clone(),
            },
        ),
        ToDeputy::Hindsight(hindsight) => codec::encode(kind::HINDSIGHT, HindsightV1::from(hindsight)),
        ToDeputy::Answers(seats) => codec::encode(kind::ANSWERS, AnswersV1 { seats: seats.clone() }),
        ToDeputy::Done { number, outcome } => codec::encode(
            kind::DONE,
            DoneV1 {
                number: *number,
                outcome: outcome.code(),
            },
        ),
        ToDeputy::Refused(why) => codec::encode(kind::DEPUTY_REFUSED, DeputyRefusedV1 { refusal: why.code() }),
    }
}

/// What the coordinator says to a deputy in `frame`; `None` for a frame that is unknown here and may be skipped.
pub fn decode_to_deputy(frame: &[u8]) -> Result<Option<ToDeputy>, WireError> {
    let (header, payload) = frame::split(frame)?;
    Ok(Some(match header.kind {
        kind::HARP_PICTURE => ToDeputy::Harp(codec::decode::<HarpPictureV1>(header, payload)?.try_into()?),
        kind::PICTURE => ToDeputy::Picture(codec::decode::<PictureV1>(header, payload)?.try_into()?),
        kind::HINDSIGHT => ToDeputy::Hindsight(codec::decode::<HindsightV1>(header, payload)?.try_into()?),
        kind::ANSWERS => {
            let AnswersV1 { seats } = codec::decode(header, payload)?;
            ToDeputy::Answers(checked_seats(seats)?)
        }
        kind::DONE => {
            let DoneV1 { number, outcome } = codec::decode(header, payload)?;
            ToDeputy::Done {
                number,
                outcome: Coded::of(outcome)?,
            }
        }
        kind::DEPUTY_REFUSED => {
            let DeputyRefusedV1 { refusal } = codec::decode(header, payload)?;
            ToDeputy::Refused(Coded::of(refusal).unwrap_or(Refusal::Misspoke))
        }
        unknown if header.flags & MUST_UNDERSTAND != 0 => return Err(WireError::Unknown(unknown)),
        _ => return Ok(None),
    }))
}

impl OrderV1 {
    fn of(number: u32, change: Change) -> Self {
        let usual = Tuning::default();
        let (scheme, offsets_mc) = temperament_numbers(&usual.temperament);
        let nothing = Self {
            number,
            change: NEW_ROUND,
            a4_mhz: millihertz(usual.a4),
            scheme,
            offsets_mc,
            setting: setting_numbers(usual.setting),
            tolerance_mc: tolerance_numbers(&consort_proto::Tolerance::default()),
            start_in_ms: None,
            called: None,
        };
        match change {
            Change::Pitch(a4) => Self {
                change: PITCH,
                a4_mhz: millihertz(a4),
                ..nothing
            },
            Change::Temperament(temperament) => {
                let (scheme, offsets_mc) = temperament_numbers(&temperament);
                Self {
                    change: TEMPERAMENT,
                    scheme,
                    offsets_mc,
                    ..nothing
                }
            }
            Change::Setting(setting) => Self {
                change: SETTING,
                setting: setting_numbers(setting),
                ..nothing
            },
            Change::Tolerance(tolerance) => Self {
                change: TOLERANCE,
                tolerance_mc: tolerance_numbers(&tolerance),
                ..nothing
            },
            Change::Start(start_in) => Self {
                change: START,
                start_in_ms: start_in.map(milliseconds),
                ..nothing
            },
            Change::NewRound => nothing,
            Change::Undo => Self {
                change: UNDO,
                ..nothing
            },
            Change::Call(note) => Self {
                change: CALL,
                called: called_numbers(note),
                ..nothing
            },
        }
    }
}

impl TryFrom<OrderV1> for FromDeputy {
    type Error = WireError;

    fn try_from(wire: OrderV1) -> Result<Self, WireError> {
        let change = match wire.change {
            PITCH => Change::Pitch(reference(wire.a4_mhz)?),
            TEMPERAMENT => Change::Temperament(temperament(wire.scheme, wire.offsets_mc)?),
            SETTING => Change::Setting(setting(wire.setting)?),
            TOLERANCE => Change::Tolerance(tolerance(wire.tolerance_mc)?),
            START => Change::Start(wire.start_in_ms.map(Duration::from_millis)),
            NEW_ROUND => Change::NewRound,
            UNDO => Change::Undo,
            CALL => Change::Call(called(wire.called)?),
            unknown => {
                let why = format_args!("{unknown} is not known here: update the older program");
                return Err(WireError::range("an order", why));
            }
        };
        Ok(Self::Order {
            number: wire.number,
            change,
        })
    }
}

impl From<&HarpPicture> for HarpPictureV1 {
    fn from(picture: &HarpPicture) -> Self {
        let (heard, silent_ms) = match picture.heard {
            Heard::Here => (0, 0),
            Heard::Unsure => (1, 0),
            Heard::Silent(silent) => (2, milliseconds(silent)),
            Heard::Away => (3, 0),
        };
        Self {
            seat: picture.seat,
            name: picture.name.to_string(),
            harp: HarpV1::from(&picture.harp),
            standings: picture.standings.iter().copied().map(StandingV1::from).collect(),
            heard,
            silent_ms,
            help: picture.help,
        }
    }
}

impl TryFrom<HarpPictureV1> for HarpPicture {
    type Error = WireError;

    fn try_from(wire: HarpPictureV1) -> Result<Self, WireError> {
        let harp: consort_proto::Harp = wire.harp.try_into()?;
        if wire.standings.len() != harp.len() {
            let why = format_args!("{} for {} strings", wire.standings.len(), harp.len());
            return Err(WireError::range("standings", why));
        }
        let heard = match (wire.heard, wire.silent_ms) {
            (0, 0) => Heard::Here,
            (1, 0) => Heard::Unsure,
            (2, silent) => Heard::Silent(Duration::from_millis(silent)),
            (3, 0) => Heard::Away,
            (heard, _) => return Err(WireError::range("a presence", format_args!("{heard} is none"))),
        };
        Ok(Self {
            seat: wire.seat,
            name: wire.name.parse().map_err(|why| WireError::range("a name", why))?,
            harp,
            standings: wire
                .standings
                .into_iter()
                .map(Standing::try_from)
                .collect::<Result<_, _>>()?,
            heard,
            help: wire.help,
        })
    }
}

impl From<Standing> for StandingV1 {
    fn from(standing: Standing) -> Self {
        Self {
            standing: match standing {
                Standing::NotHeard => 0,
                Standing::Off(_) => 1,
                Standing::SetOnce(_) => 2,
                Standing::Holds(_) => 3,
                Standing::Moved(_) => 4,
                Standing::WillNotHold(_) => 5,
                Standing::New(_) => 6,
                Standing::Missing => 7,
            },
            cents_mc: standing.cents().map(millicents),
        }
    }
}

impl TryFrom<StandingV1> for Standing {
    type Error = WireError;

    fn try_from(wire: StandingV1) -> Result<Self, WireError> {
        let above: Option<Cents> = wire.cents_mc.map(cents);
        Ok(match (wire.standing, above) {
            (0, None) => Self::NotHeard,
            (1, Some(cents)) => Self::Off(cents),
            (2, Some(cents)) => Self::SetOnce(cents),
            (3, Some(cents)) => Self::Holds(cents),
            (4, Some(cents)) => Self::Moved(cents),
            (5, Some(cents)) => Self::WillNotHold(cents),
            (6, cents) => Self::New(cents),
            (7, None) => Self::Missing,
            (standing, _) => return Err(WireError::range("a standing", format_args!("{standing} is none"))),
        })
    }
}

impl From<&Hindsight> for HindsightV1 {
    fn from(hindsight: &Hindsight) -> Self {
        let seconds = |time: Duration| u32::try_from(time.as_secs()).unwrap_or(u32::MAX);
        let number = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
        let ages = hindsight.ages.iter().map(|&(seat, age)| AgeV1 {
            seat,
            confirmed_s: age.confirmed.map(seconds),
            to_confirm_s: age.to_confirm.map(seconds),
        });
        let room = hindsight.room.iter().map(|moved| RoomMoveV1 {
            material: moved.material.code(),
            moved_mc: millicents(moved.cents),
            harps: number(moved.harps),
            of: number(moved.of),
            since_s: seconds(moved.since),
        });
        Self {
            ages: ages.collect(),
            room: room.collect(),
        }
    }
}

impl TryFrom<HindsightV1> for Hindsight {
    type Error = WireError;

    fn try_from(wire: HindsightV1) -> Result<Self, WireError> {
        let seconds = |seconds: u32| Duration::from_secs(u64::from(seconds));
        for (field, count, most) in [
            ("the ages", wire.ages.len(), SEATS_MAX),
            ("what the room did", wire.room.len(), Material::CODES.len()),
        ] {
            if count > most {
                return Err(WireError::range(field, format_args!("{count} are more than {most}")));
            }
        }
        let ages = wire.ages.into_iter().map(|wire| {
            let age = Age {
                confirmed: wire.confirmed_s.map(seconds),
                to_confirm: wire.to_confirm_s.map(seconds),
            };
            (wire.seat, age)
        });
        let room = wire.room.into_iter().map(|wire| {
            Ok(RoomMove {
                material: Coded::of(wire.material)?,
                cents: cents(wire.moved_mc),
                harps: wire.harps as usize,
                of: wire.of as usize,
                since: seconds(wire.since_s),
            })
        });
        Ok(Self {
            ages: ages.collect(),
            room: room.collect::<Result<_, WireError>>()?,
        })
    }
}

impl TryFrom<PictureV1> for Picture {
    type Error = WireError;

    fn try_from(wire: PictureV1) -> Result<Self, WireError> {
        Ok(Self {
            agreement: wire.agreement.try_into()?,
            start_in: wire.start_in_ms.map(Duration::from_millis),
            can_undo: wire.can_undo,
            disk_trouble: wire.disk_trouble,
            granted: wire.granted,
            seats: checked_seats(wire.seats)?,
        })
    }
}

/// No more seats than a board shows.
fn checked_seats(seats: Vec<u32>) -> Result<Vec<u32>, WireError> {
    if seats.len() > SEATS_MAX {
        let why = format_args!("{} are more than {SEATS_MAX}", seats.len());
        return Err(WireError::range("the seats", why));
    }
    Ok(seats)
}
