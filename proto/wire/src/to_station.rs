//! What the coordinator says, as frames.

use std::time::Duration;

use bincode::{Decode, Encode};
use consort_proto::message::Refusal;
use consort_proto::{
    Accidental, Agreement, Cents, Proof, ReferencePitch, Revision, Round, Scheme, Sequence, SessionId, Setting, Share,
    Temperament, ToStation, Tolerance, Tuning,
};

use crate::code::Coded;
use crate::codec;
use crate::error::WireError;
use crate::frame::{self, MUST_UNDERSTAND, kind};
use crate::harp::{cents, millicents};

/// [`ToStation::Welcome`], version 1.
#[derive(Debug, Decode, Encode)]
struct WelcomeV1 {
    session: [u8; 16],
    epoch: u32,
    acked: u64,
}

/// [`ToStation::Agreement`], version 1.
#[derive(Debug, Decode, Encode)]
struct AgreementV1 {
    session: [u8; 16],
    revision: u64,
    ensemble: String,
    /// A4 in thousandths of a hertz.
    a4_mhz: u32,
    /// The named temperament, or 0 for own offsets.
    scheme: u8,
    /// Own offsets, C to B, in thousandths of a cent; all 0 for a named temperament, which both sides compute.
    offsets_mc: [i32; 12],
    /// Accidentals, C to B.
    setting: [u8; 7],
    /// Middle, wires, top, in thousandths of a cent.
    tolerance_mc: [i32; 3],
    round: u32,
    start_in_ms: Option<u64>,
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

/// The frame of `message`.
pub fn encode(message: &ToStation) -> Vec<u8> {
    match message {
        ToStation::Welcome { session, epoch, acked } => codec::encode(
            kind::WELCOME,
            WelcomeV1 {
                session: session.0,
                epoch: *epoch,
                acked: acked.0,
            },
        ),
        ToStation::Agreement { agreement, start_in } => {
            codec::encode(kind::AGREEMENT, AgreementV1::new(agreement, *start_in))
        }
        ToStation::Acked(acked) => codec::encode(kind::ACKED, AckedV1 { acked: acked.0 }),
        ToStation::Beat { epoch, revision } => codec::encode(
            kind::COORDINATOR_BEAT,
            BeatV1 {
                epoch: *epoch,
                revision: revision.0,
            },
        ),
        ToStation::Refused(Refusal::Resting { left }) => codec::encode(
            kind::RESTING,
            RestingV1 {
                left_ms: u32::try_from(left.as_millis()).unwrap_or(u32::MAX),
            },
        ),
        ToStation::Refused(refusal) => codec::encode(
            kind::REFUSED,
            RefusedV1 {
                refusal: refusal.code(),
            },
        ),
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
    }
}

/// The message in `frame`; `None` for a frame that is unknown here and may be skipped.
pub fn decode(frame: &[u8]) -> Result<Option<ToStation>, WireError> {
    let (header, payload) = frame::split(frame)?;
    Ok(Some(match header.kind {
        kind::WELCOME => {
            let WelcomeV1 { session, epoch, acked } = codec::decode(header, payload)?;
            ToStation::Welcome {
                session: SessionId(session),
                epoch,
                acked: Sequence(acked),
            }
        }
        kind::AGREEMENT => {
            let wire: AgreementV1 = codec::decode(header, payload)?;
            let start_in = wire.start_in_ms.map(Duration::from_millis);
            ToStation::Agreement {
                agreement: wire.try_into()?,
                start_in,
            }
        }
        kind::ACKED => ToStation::Acked(Sequence(codec::decode::<AckedV1>(header, payload)?.acked)),
        kind::COORDINATOR_BEAT => {
            let BeatV1 { epoch, revision } = codec::decode(header, payload)?;
            ToStation::Beat {
                epoch,
                revision: Revision(revision),
            }
        }
        kind::REFUSED => ToStation::Refused(Coded::of(codec::decode::<RefusedV1>(header, payload)?.refusal)?),
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
                ensemble: ensemble
                    .parse()
                    .map_err(|why| WireError::range("an ensemble's name", why))?,
                proof: Proof(proof),
            }
        }
        unknown if header.flags & MUST_UNDERSTAND != 0 => return Err(WireError::Unknown(unknown)),
        _ => return Ok(None),
    }))
}

impl AgreementV1 {
    fn new(agreement: &Agreement, start_in: Option<Duration>) -> Self {
        let Tuning {
            a4,
            temperament,
            setting,
        } = agreement.tuning;
        let Tolerance { middle, wires, top } = agreement.tolerance;
        let own = temperament.scheme().is_none();
        Self {
            session: agreement.session.0,
            revision: agreement.revision.0,
            ensemble: agreement.ensemble.to_string(),
            a4_mhz: (a4.hz().get() * 1000.0).round() as u32,
            scheme: temperament.scheme().code(),
            offsets_mc: if own {
                temperament.offsets().map(millicents)
            } else {
                [0; 12]
            },
            setting: consort_proto::Letter::ALL.map(|letter| setting.of(letter).code()),
            tolerance_mc: [middle, wires, top].map(millicents),
            round: agreement.round.0,
            start_in_ms: start_in.map(|left| u64::try_from(left.as_millis()).unwrap_or(u64::MAX)),
        }
    }
}

impl TryFrom<AgreementV1> for Agreement {
    type Error = WireError;

    fn try_from(wire: AgreementV1) -> Result<Self, WireError> {
        let a4 = ReferencePitch::new(f64::from(wire.a4_mhz) / 1000.0).map_err(|why| WireError::range("A4", why))?;
        let temperament = match (Option::<Scheme>::of(wire.scheme)?, wire.offsets_mc) {
            (Some(scheme), offsets) if offsets == [0; 12] => Temperament::named(scheme),
            (Some(_), _) => return Err(WireError::range("a temperament", "a named one carries no offsets")),
            (None, offsets) => Temperament::own(&offsets.map(|offset| cents(offset).0))
                .map_err(|why| WireError::range("a temperament", why))?,
        };
        let mut accidentals = [Accidental::Natural; 7];
        for (accidental, code) in accidentals.iter_mut().zip(wire.setting) {
            *accidental = Coded::of(code)?;
        }
        let [middle, wires, top] = wire.tolerance_mc.map(cents);
        if let Some(bad) = [middle, wires, top]
            .into_iter()
            .find(|c| !(Cents(0.1)..=Cents(50.0)).contains(c))
        {
            return Err(WireError::range(
                "a tolerance",
                format_args!("{} cents, where 0.1 to 50 can be meant", bad.0),
            ));
        }
        Ok(Self {
            session: SessionId(wire.session),
            revision: Revision(wire.revision),
            ensemble: wire
                .ensemble
                .parse()
                .map_err(|why| WireError::range("an ensemble's name", why))?,
            tuning: Tuning {
                a4,
                temperament,
                setting: Setting::from_accidentals(accidentals),
            },
            tolerance: Tolerance { middle, wires, top },
            round: Round(wire.round),
        })
    }
}
