//! The agreement on the wire, whole with its seats.

use std::time::Duration;

use bincode::{Decode, Encode};
use consort_proto::agreement::SEATS_MAX;
use consort_proto::{Agreement, Document, Revision, Round, Seat, SessionId, Tenure, Tuning};

use crate::error::WireError;
use crate::tuning::{
    called, called_numbers, millihertz, reference, setting, setting_numbers, temperament, temperament_numbers,
    tolerance, tolerance_numbers,
};

/// What everyone tunes to, version 1.
#[derive(Debug, Decode, Encode)]
pub(crate) struct AgreementV1 {
    session: [u8; 16],
    revision: u64,
    ensemble: String,
    /// A4 in thousandths of a hertz.
    a4_mhz: u32,
    /// The number of the temperament's name, or 0 for own offsets.
    scheme: u8,
    /// C to B, in thousandths of a cent; a receiver that knows the name computes them.
    offsets_mc: [i32; 12],
    /// Accidentals, C to B.
    setting: [u8; 7],
    /// Middle, wires, top, in thousandths of a cent.
    tolerance_mc: [i32; 3],
    round: u32,
    /// Letter and octave of the string that everyone is asked for.
    called: Option<(u8, i8)>,
}

/// [`consort_proto::ToStation::Agreement`], version 1.
#[derive(Debug, Decode, Encode)]
pub(crate) struct DocumentV1 {
    agreement: AgreementV1,
    epoch: u32,
    start_in_ms: Option<u64>,
    beat_every_ms: u16,
    seats: Vec<SeatV1>,
}

/// One seat, version 1.
#[derive(Debug, Decode, Encode)]
struct SeatV1 {
    seat: u32,
    epoch: u32,
    name: String,
}

/// The pauses between heartbeats that make sense: more often is a flood, more seldom is silence.
const BEAT_EVERY_MS: std::ops::RangeInclusive<u16> = 50..=2_000;

impl From<&Agreement> for AgreementV1 {
    fn from(agreement: &Agreement) -> Self {
        let (scheme, offsets_mc) = temperament_numbers(&agreement.tuning.temperament);
        Self {
            session: agreement.session.0,
            revision: agreement.revision.0,
            ensemble: agreement.ensemble.to_string(),
            a4_mhz: millihertz(agreement.tuning.a4),
            scheme,
            offsets_mc,
            setting: setting_numbers(agreement.tuning.setting),
            tolerance_mc: tolerance_numbers(&agreement.tolerance),
            round: agreement.round.0,
            called: called_numbers(agreement.called),
        }
    }
}

impl TryFrom<AgreementV1> for Agreement {
    type Error = WireError;

    fn try_from(wire: AgreementV1) -> Result<Self, WireError> {
        let ensemble = wire.ensemble.parse();
        Ok(Self {
            session: SessionId(wire.session),
            revision: Revision(wire.revision),
            ensemble: ensemble.map_err(|why| WireError::range("an ensemble's name", why))?,
            tuning: Tuning {
                a4: reference(wire.a4_mhz)?,
                temperament: temperament(wire.scheme, wire.offsets_mc)?,
                setting: setting(wire.setting)?,
            },
            tolerance: tolerance(wire.tolerance_mc)?,
            round: Round(wire.round),
            called: called(wire.called)?,
        })
    }
}

impl From<&Document> for DocumentV1 {
    fn from(document: &Document) -> Self {
        let seats = document.seats.iter().map(|Seat { tenure, name }| SeatV1 {
            seat: tenure.seat,
            epoch: tenure.epoch,
            name: name.to_string(),
        });
        Self {
            agreement: AgreementV1::from(&document.agreement),
            epoch: document.epoch,
            start_in_ms: document.start_in.map(milliseconds),
            beat_every_ms: u16::try_from(document.beat_every.as_millis()).unwrap_or(u16::MAX),
            seats: seats.collect(),
        }
    }
}

impl TryFrom<DocumentV1> for Document {
    type Error = WireError;

    fn try_from(wire: DocumentV1) -> Result<Self, WireError> {
        if !BEAT_EVERY_MS.contains(&wire.beat_every_ms) {
            let why = format_args!("{} ms is not within {BEAT_EVERY_MS:?}", wire.beat_every_ms);
            return Err(WireError::range("the pause between heartbeats", why));
        }
        if wire.seats.len() > SEATS_MAX {
            let why = format_args!("{} are more than {SEATS_MAX}", wire.seats.len());
            return Err(WireError::range("the seats", why));
        }
        let seats = wire.seats.into_iter().map(|seat| {
            Ok(Seat {
                tenure: tenure(seat.seat, seat.epoch)?,
                name: seat.name.parse().map_err(|why| WireError::range("a name", why))?,
            })
        });
        Ok(Self {
            seats: seats.collect::<Result<_, WireError>>()?,
            agreement: wire.agreement.try_into()?,
            epoch: wire.epoch,
            start_in: wire.start_in_ms.map(Duration::from_millis),
            beat_every: Duration::from_millis(wire.beat_every_ms.into()),
        })
    }
}

/// A duration in whole milliseconds.
pub(crate) fn milliseconds(duration: Duration) -> u64 {
    u64::try_from(duration.as_millis()).unwrap_or(u64::MAX)
}

/// A seat that is held, or none: then both numbers are 0.
pub(crate) fn tenure(seat: u32, epoch: u32) -> Result<Tenure, WireError> {
    if (seat == 0) == (epoch == 0) {
        Ok(Tenure { seat, epoch })
    } else {
        Err(WireError::range(
            "a seat",
            format_args!("seat {seat}, holder {epoch} is none"),
        ))
    }
}
