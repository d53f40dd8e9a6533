//! What a station says, as frames.

use bincode::{Decode, Encode};
use consort_proto::message::Proposal;
use consort_proto::pairing::PAKE;
use consort_proto::{Cents, Hello, JoinToken, Name, Proof, Reading, Share, ToCoordinator};

use crate::codec;
use crate::error::WireError;
use crate::frame::{self, MUST_UNDERSTAND, kind};
use crate::harp::{HarpV1, cents, millicents};
use crate::report::ReportsV1;
use crate::tuning::{millihertz, reference};

/// [`ToCoordinator::Hello`], version 1.
#[derive(Debug, Decode, Encode)]
struct HelloV1 {
    name: String,
    harp: HarpV1,
    token: Option<[u8; 16]>,
    process: u64,
    /// The newest of the messages that the station knows: the other side says nothing newer.
    newest: u16,
}

/// [`ToCoordinator::PairStart`], version 1.
#[derive(Debug, Decode, Encode)]
struct PairStartV1 {
    /// [`PAKE`]: which exchange the share is of.
    pake: u8,
    share: [u8; 33],
}

/// [`ToCoordinator::PairConfirm`], version 1.
#[derive(Debug, Decode, Encode)]
struct PairConfirmV1 {
    name: String,
    proof: [u8; 32],
}

/// [`ToCoordinator::Knock`], version 1.
#[derive(Debug, Decode, Encode)]
struct KnockV1 {
    name: String,
}

/// [`ToCoordinator::TakeOver`], version 1.
#[derive(Debug, Decode, Encode)]
struct TakeOverV1 {
    seat: u32,
}

/// [`ToCoordinator::GiveUp`], version 1.
#[derive(Debug, Decode, Encode)]
struct GiveUpV1 {
    seat: u32,
    yes: bool,
}

/// [`ToCoordinator::Help`], version 1.
#[derive(Debug, Decode, Encode)]
struct HelpV1 {
    wanted: bool,
}

/// [`ToCoordinator::Propose`], version 1.
#[derive(Debug, Decode, Encode)]
struct ProposeV1 {
    a4_mhz: u32,
    sigma_mc: i32,
}

/// The frame of `message`.
pub fn encode(message: &ToCoordinator) -> Vec<u8> {
    match message {
        ToCoordinator::Hello(hello) => codec::encode(
            kind::HELLO,
            HelloV1 {
                name: hello.name.to_string(),
                harp: HarpV1::from(&hello.harp),
                token: hello.token.map(|token| token.0),
                process: hello.process,
                newest: hello.newest,
            },
        ),
        ToCoordinator::Reports(reports) => codec::encode(kind::REPORTS, ReportsV1::of(reports)),
        ToCoordinator::Beat => frame::join(kind::STATION_BEAT, &[]),
        ToCoordinator::Leave => frame::join(kind::LEAVE, &[]),
        ToCoordinator::PairStart(share) => codec::encode(
            kind::PAIR_START,
            PairStartV1 {
                pake: PAKE,
                share: share.0,
            },
        ),
        ToCoordinator::PairConfirm { name, proof } => codec::encode(
            kind::PAIR_CONFIRM,
            PairConfirmV1 {
                name: name.to_string(),
                proof: proof.0,
            },
        ),
        ToCoordinator::Knock(name) => codec::encode(kind::KNOCK, KnockV1 { name: name.to_string() }),
        &ToCoordinator::TakeOver { seat } => codec::encode(kind::TAKE_OVER, TakeOverV1 { seat }),
        &ToCoordinator::GiveUp { seat, yes } => codec::encode(kind::GIVE_UP, GiveUpV1 { seat, yes }),
        &ToCoordinator::Help(wanted) => codec::encode(kind::HELP, HelpV1 { wanted }),
        ToCoordinator::Propose(Proposal { a4, sigma }) => codec::encode(
            kind::PROPOSE,
            ProposeV1 {
                a4_mhz: millihertz(*a4),
                sigma_mc: millicents(*sigma),
            },
        ),
    }
}

/// The message in `frame`; `None` for a frame that is unknown here and may be skipped.
pub fn decode(frame: &[u8]) -> Result<Option<ToCoordinator>, WireError> {
    let (header, payload) = frame::split(frame)?;
    Ok(Some(match header.kind {
        kind::HELLO => ToCoordinator::Hello(codec::decode::<HelloV1>(header, payload)?.try_into()?),
        kind::REPORTS => ToCoordinator::Reports(codec::decode::<ReportsV1>(header, payload)?.into_reports()?),
        kind::STATION_BEAT => codec::decode::<()>(header, payload).map(|()| ToCoordinator::Beat)?,
        kind::LEAVE => codec::decode::<()>(header, payload).map(|()| ToCoordinator::Leave)?,
        kind::PAIR_START => {
            let PairStartV1 { pake, share } = codec::decode(header, payload)?;
            if pake != PAKE {
                let why = format_args!("{pake} is not known here: update the older program");
                return Err(WireError::range("a key exchange", why));
            }
            ToCoordinator::PairStart(Share(share))
        }
        kind::PAIR_CONFIRM => {
            let PairConfirmV1 { name, proof } = codec::decode(header, payload)?;
            ToCoordinator::PairConfirm {
                name: parsed(&name)?,
                proof: Proof(proof),
            }
        }
        kind::KNOCK => ToCoordinator::Knock(parsed(&codec::decode::<KnockV1>(header, payload)?.name)?),
        kind::TAKE_OVER => {
            let TakeOverV1 { seat } = codec::decode(header, payload)?;
            ToCoordinator::TakeOver { seat }
        }
        kind::GIVE_UP => {
            let GiveUpV1 { seat, yes } = codec::decode(header, payload)?;
            ToCoordinator::GiveUp { seat, yes }
        }
        kind::HELP => ToCoordinator::Help(codec::decode::<HelpV1>(header, payload)?.wanted),
        kind::PROPOSE => ToCoordinator::Propose(codec::decode::<ProposeV1>(header, payload)?.try_into()?),
        unknown if header.flags & MUST_UNDERSTAND != 0 => return Err(WireError::Unknown(unknown)),
        _ => return Ok(None),
    }))
}

impl TryFrom<HelloV1> for Hello {
    type Error = WireError;

    fn try_from(hello: HelloV1) -> Result<Self, WireError> {
        let HelloV1 {
            name,
            harp,
            token,
            process,
            newest,
        } = hello;
        Ok(Self {
            name: parsed(&name)?,
            harp: harp.try_into()?,
            token: token.map(JoinToken),
            process,
            newest,
        })
    }
}

impl TryFrom<ProposeV1> for Proposal {
    type Error = WireError;

    fn try_from(wire: ProposeV1) -> Result<Self, WireError> {
        let sigma = cents(wire.sigma_mc);
        if !(Cents(0.0)..=Reading::SIGMA_MAX).contains(&sigma) {
            let why = format_args!("{} cents is none", sigma.0);
            return Err(WireError::range("an uncertainty", why));
        }
        Ok(Self {
            a4: reference(wire.a4_mhz)?,
            sigma,
        })
    }
}

fn parsed(name: &str) -> Result<Name, WireError> {
    name.parse().map_err(|why| WireError::range("a name", why))
}
