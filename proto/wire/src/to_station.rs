//! What the coordinator says, as frames.

use std::time::Duration;

use bincode::{Decode, Encode};
use consort_proto::agreement::SEATS_MAX;
use consort_proto::message::{NEWEST, Refusal};
use consort_proto::{Fingerprint, Name, Proof, Revision, Sequence, SessionId, Share, ToStation};

use crate::code::Coded;
use crate::codec;
use crate::document::{DocumentV1, tenure};
use crate::error::WireError;
use crate::frame::{self, MUST_UNDERSTAND, kind};

/// [`ToStation::Welcome`], version 1.
#[derive(Debug, Decode, Encode)]
struct WelcomeV1 {
    session: [u8; 16],
    epoch: u32,
    acked: u64,
    seat: u32,
    seat_epoch: u32,
    /// [`NEWEST`], which no message of a station depends on yet.
    newest: u16,
}

/// [`ToStation::Acked`], version 1.
#[derive(Debug, Decode, Encode)]
struct AckedV1 {
    acked: u64,
}

/// [`ToStation::Beat`], version 1.
#[derive(Debug, Decode, Encode)]
struct BeatV1 {
    epoch: u32,
    revision: u64,
}

/// [`ToStation::Refused`], version 1.
#[derive(Debug, Decode, Encode)]
struct RefusedV1 {
    refusal: u8,
}

/// [`ToStation::Refused`] with a time, version 1.
#[derive(Debug, Decode, Encode)]
struct RestingV1 {
    left_ms: u32,
}

/// [`ToStation::PairReply`], version 1.
#[derive(Debug, Decode, Encode)]
struct PairReplyV1 {
    session: [u8; 16],
    share: [u8; 33],
}

/// [`ToStation::PairAccept`], version 1.
#[derive(Debug, Decode, Encode)]
struct PairAcceptV1 {
    ensemble: String,
    proof: [u8; 32],
}

/// [`ToStation::Admitted`], version 1.
#[derive(Debug, Decode, Encode)]
struct AdmittedV1 {
    ensemble: String,
}

/// [`ToStation::TakeOverAsked`], version 1.
#[derive(Debug, Decode, Encode)]
struct TakeOverAskedV1 {
    seat: u32,
    name: String,
    by: [u8; 32],
}

/// [`ToStation::TakeOverDenied`], version 1.
#[derive(Debug, Decode, Encode)]
struct TakeOverDeniedV1 {
    seat: u32,
}

/// [`ToStation::Tones`], since the messages of number 1.
#[derive(Debug, Decode, Encode)]
struct TonesV1 {
    allowed: bool,
}

/// [`ToStation::Places`], since the messages of number 1.
#[derive(Debug, Decode, Encode)]
struct PlacesV1 {
    places: Vec<(u32, u32)>,
}

/// The frame of `message`.
pub fn encode(message: &ToStation) -> Vec<u8> {
    match message {
        ToStation::Welcome {
            session,
            epoch,
            acked,
            tenure,
        } => codec::encode(
            kind::WELCOME,
            WelcomeV1 {
                session: session.0,
                epoch: *epoch,
                acked: acked.0,
                seat: tenure.seat,
                seat_epoch: tenure.epoch,
                newest: NEWEST,
            },
        ),
        ToStation::Agreement(document) => codec::encode(kind::AGREEMENT, DocumentV1::from(&**document)),
        ToStation::Acked(acked) => codec::encode(kind::ACKED, AckedV1 { acked: acked.0 }),
        ToStation::Beat { epoch, revision } => codec::encode(
            kind::COORDINATOR_BEAT,
            BeatV1 {
                epoch: *epoch,
                revision: revision.0,
            },
        ),
        ToStation::Refused(why) => encode_refusal(*why),
        ToStation::PairReply { session, share } => codec::encode(
            kind::PAIR_REPLY,
            PairReplyV1 {
                session: session.0,
                share: share.0,
            },
        ),
        ToStation::PairAccept { ensemble, proof } => codec::encode(
            kind::PAIR_ACCEPT,
            PairAcceptV1 {
                ensemble: ensemble.to_string(),
                proof: proof.0,
            },
        ),
        ToStation::Admitted { ensemble } => codec::encode(
            kind::ADMITTED,
            AdmittedV1 {
                ensemble: ensemble.to_string(),
            },
        ),
        ToStation::TakeOverAsked { seat, name, by } => codec::encode(
            kind::TAKE_OVER_ASKED,
            TakeOverAskedV1 {
                seat: *seat,
                name: name.to_string(),
                by: by.0,
            },
        ),
        &ToStation::TakeOverDenied { seat } => codec::encode(kind::TAKE_OVER_DENIED, TakeOverDeniedV1 { seat }),
        ToStation::Places(places) => codec::encode(kind::PLACES, PlacesV1 { places: places.clone() }),
        &ToStation::Tones { allowed } => codec::encode(kind::TONES, TonesV1 { allowed }),
    }
}

/// The message in `frame`; `None` for a frame that is unknown here and may be skipped.
pub fn decode(frame: &[u8]) -> Result<Option<ToStation>, WireError> {
    let (header, payload) = frame::split(frame)?;
    Ok(Some(match header.kind {
        kind::WELCOME => {
            // A station says nothing that came after the freeze, so that what the coordinator knows makes no difference yet.
            let WelcomeV1 {
                session,
                epoch,
                acked,
                seat,
                seat_epoch,
                newest: _,
            } = codec::decode(header, payload)?;
            ToStation::Welcome {
                session: SessionId(session),
                epoch,
                acked: Sequence(acked),
                tenure: tenure(seat, seat_epoch)?,
            }
        }
        kind::AGREEMENT => ToStation::Agreement(Box::new(codec::decode::<DocumentV1>(header, payload)?.try_into()?)),
        kind::ACKED => ToStation::Acked(Sequence(codec::decode::<AckedV1>(header, payload)?.acked)),
        kind::COORDINATOR_BEAT => {
            let BeatV1 { epoch, revision } = codec::decode(header, payload)?;
            ToStation::Beat {
                epoch,
                revision: Revision(revision),
            }
        }
        kind::REFUSED => ToStation::Refused(refusal(codec::decode::<RefusedV1>(header, payload)?.refusal)),
        kind::RESTING => ToStation::Refused(Refusal::Resting {
            left: Duration::from_millis(codec::decode::<RestingV1>(header, payload)?.left_ms.into()),
        }),
        kind::PAIR_REPLY => {
            let PairReplyV1 { session, share } = codec::decode(header, payload)?;
            ToStation::PairReply {
                session: SessionId(session),
                share: Share(share),
            }
        }
        kind::PAIR_ACCEPT => {
            let PairAcceptV1 { ensemble, proof } = codec::decode(header, payload)?;
            ToStation::PairAccept {
                ensemble: parsed(&ensemble)?,
                proof: Proof(proof),
            }
        }
        kind::ADMITTED => ToStation::Admitted {
            ensemble: parsed(&codec::decode::<AdmittedV1>(header, payload)?.ensemble)?,
        },
        kind::TAKE_OVER_ASKED => {
            let TakeOverAskedV1 { seat, name, by } = codec::decode(header, payload)?;
            ToStation::TakeOverAsked {
                seat,
                name: parsed(&name)?,
                by: Fingerprint(by),
            }
        }
        kind::TAKE_OVER_DENIED => {
            let TakeOverDeniedV1 { seat } = codec::decode(header, payload)?;
            ToStation::TakeOverDenied { seat }
        }
        kind::TONES => {
            let TonesV1 { allowed } = codec::decode(header, payload)?;
            ToStation::Tones { allowed }
        }
        kind::PLACES => ToStation::Places(places(codec::decode(header, payload)?)?),
        unknown if header.flags & MUST_UNDERSTAND != 0 => return Err(WireError::Unknown(unknown)),
        _ => return Ok(None),
    }))
}

/// The numbers of so many seats as one message may hold.
fn places(PlacesV1 { places }: PlacesV1) -> Result<Vec<(u32, u32)>, WireError> {
    if places.len() > SEATS_MAX {
        let why = format_args!("{} are more than {SEATS_MAX}", places.len());
        return Err(WireError::range("the places of seats", why));
    }
    Ok(places)
}

/// The frame of a refusal: one of its own for the one that says for how long.
pub(crate) fn encode_refusal(why: Refusal) -> Vec<u8> {
    match why {
        Refusal::Resting { left } => codec::encode(
            kind::RESTING,
            RestingV1 {
                left_ms: u32::try_from(left.as_millis()).unwrap_or(u32::MAX),
            },
        ),
        why => codec::encode(kind::REFUSED, RefusedV1 { refusal: why.code() }),
    }
}

/// The refusal of that number; one of a newer version is still a no, and says that the older program wants updating.
fn refusal(code: u8) -> Refusal {
    Coded::of(code).unwrap_or(Refusal::Misspoke)
}

fn parsed(name: &str) -> Result<Name, WireError> {
    name.parse().map_err(|why| WireError::range("a name", why))
}
