//! What a station says, as frames.

use std::time::Duration;

use bincode::{Decode, Encode};
use consort_proto::message::{Content, REPORTS_MAX};
use consort_proto::pairing::PAKE;
use consort_proto::{
    Cents, Hello, Hz, JoinToken, Proof, Reading, Report, Round, Sequence, SessionId, Share, StringNumber, ToCoordinator,
};

use crate::code::Coded;
use crate::codec;
use crate::error::WireError;
use crate::frame::{self, MUST_UNDERSTAND, kind};
use crate::harp::{HarpV1, cents, millicents};

/// [`ToCoordinator::Hello`], version 1.
#[derive(Debug, Decode, Encode)]
struct HelloV1 {
    name: String,
    harp: HarpV1,
    token: Option<[u8; 16]>,
    process: u64,
}

/// [`ToCoordinator::Reports`], version 1.
#[derive(Debug, Decode, Encode)]
struct ReportsV1 {
    reports: Vec<ReportV1>,
}

/// One report, version 1.
#[derive(Debug, Decode, Encode)]
struct ReportV1 {
    sequence: u64,
    session: [u8; 16],
    round: u32,
    age_ms: u64,
    string: u8,
    /// [`READING`] or [`MARK`].
    content: u8,
    /// The reading in millionths of a hertz; 0 for a mark.
    uhz: u64,
    /// The reading's uncertainty in thousandths of a cent; 0 for a mark.
    sigma_mc: i32,
    /// The mark; 0 for a reading.
    mark: u8,
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

/// The highest number of a report: what the coordinator's database holds as a whole number.
const SEQUENCE_MAX: u64 = i64::MAX as u64;
const READING: u8 = 0;
const MARK: u8 = 1;

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
            },
        ),
        ToCoordinator::Reports(reports) => codec::encode(
            kind::REPORTS,
            ReportsV1 {
                reports: reports.iter().map(ReportV1::from).collect(),
            },
        ),
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
    }
}

/// The message in `frame`; `None` for a frame that is unknown here and may be skipped.
pub fn decode(frame: &[u8]) -> Result<Option<ToCoordinator>, WireError> {
    let (header, payload) = frame::split(frame)?;
    Ok(Some(match header.kind {
        kind::HELLO => ToCoordinator::Hello(codec::decode::<HelloV1>(header, payload)?.try_into()?),
        kind::REPORTS => {
            let ReportsV1 { reports } = codec::decode(header, payload)?;
            if reports.len() > REPORTS_MAX {
                return Err(WireError::range(
                    "a batch of reports",
                    format_args!("{} are too many", reports.len()),
                ));
            }
            ToCoordinator::Reports(reports.into_iter().map(Report::try_from).collect::<Result<_, _>>()?)
        }
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
                name: name.parse().map_err(|why| WireError::range("a name", why))?,
                proof: Proof(proof),
            }
        }
        unknown if header.flags & MUST_UNDERSTAND != 0 => return Err(WireError::Unknown(unknown)),
        _ => return Ok(None),
    }))
}

impl TryFrom<HelloV1> for Hello {
    type Error = WireError;

    fn try_from(hello: HelloV1) -> Result<Self, WireError> {
        Ok(Self {
            name: hello.name.parse().map_err(|why| WireError::range("a name", why))?,
            harp: hello.harp.try_into()?,
            token: hello.token.map(JoinToken),
            process: hello.process,
        })
    }
}

impl From<&Report> for ReportV1 {
    fn from(report: &Report) -> Self {
        let (content, uhz, sigma_mc, mark) = match report.content {
            Content::Reading(reading) => (READING, microhertz(reading.hz), millicents(reading.sigma), 0),
            Content::Mark { mark, .. } => (MARK, 0, 0, mark.code()),
        };
        Self {
            sequence: report.sequence.0,
            session: report.session.0,
            round: report.round.0,
            age_ms: u64::try_from(report.age.as_millis()).unwrap_or(u64::MAX),
            string: report.content.string().get(),
            content,
            uhz,
            sigma_mc,
            mark,
        }
    }
}

impl TryFrom<ReportV1> for Report {
    type Error = WireError;

    fn try_from(report: ReportV1) -> Result<Self, WireError> {
        if !(1..=SEQUENCE_MAX).contains(&report.sequence) {
            return Err(WireError::range(
                "a report's number",
                format_args!("{} is not within 1 and {SEQUENCE_MAX}", report.sequence),
            ));
        }
        let string =
            StringNumber::new(u32::from(report.string)).map_err(|why| WireError::range("a string number", why))?;
        let content = match (report.content, report.uhz, report.sigma_mc, report.mark) {
            (READING, uhz, sigma_mc, 0) => Content::Reading(reading(string, uhz, cents(sigma_mc))?),
            (MARK, 0, 0, mark) => Content::Mark {
                string,
                mark: Coded::of(mark)?,
            },
            (content, ..) => {
                return Err(WireError::range(
                    "a report",
                    format_args!("{content} is neither reading nor mark"),
                ));
            }
        };
        Ok(Self {
            sequence: Sequence(report.sequence),
            session: SessionId(report.session),
            round: Round(report.round),
            age: Duration::from_millis(report.age_ms),
            content,
        })
    }
}

fn reading(string: StringNumber, uhz: u64, sigma: Cents) -> Result<Reading, WireError> {
    let hz = Hz::new(uhz as f64 / 1e6).map_err(|why| WireError::range("a frequency", why))?;
    Reading::new(string, hz, sigma).map_err(|why| WireError::range("a reading", why))
}

fn microhertz(hz: Hz) -> u64 {
    (hz.get() * 1e6).round() as u64
}
