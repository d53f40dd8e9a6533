//! Reports on the wire.

use std::time::Duration;

use bincode::{Decode, Encode};
use consort_proto::message::{Content, REPORTS_MAX};
use consort_proto::{Cents, Hz, Reading, Report, Round, Sequence, SessionId, StringNumber, Verdict};

use crate::code::Coded;
use crate::document::{milliseconds, tenure};
use crate::error::WireError;
use crate::harp::{cents, millicents};

/// [`consort_proto::ToCoordinator::Reports`], version 1.
#[derive(Debug, Decode, Encode)]
pub(crate) struct ReportsV1 {
    reports: Vec<ReportV1>,
}

/// One report, version 1.
#[derive(Debug, Decode, Encode)]
struct ReportV1 {
    sequence: u64,
    session: [u8; 16],
    round: u32,
    seat: u32,
    seat_epoch: u32,
    /// Since the onset of the pluck, or since the harpist's gesture.
    age_ms: u64,
    string: u8,
    /// [`READING`] or [`MARK`].
    content: u8,
    /// The reading in millionths of a hertz; 0 for a mark.
    uhz: u64,
    /// The reading's uncertainty in thousandths of a cent; 0 for a mark.
    sigma_mc: i32,
    /// The pluck's level in hundredths of a decibel below full scale; [`NO_LEVEL`] where it was not measured, and for a
    /// mark.
    level_cdb: i16,
    /// How the pluck was judged; 0 for a mark.
    verdict: u8,
    /// The mark; 0 for a reading.
    mark: u8,
}

/// The highest number of a report: what the coordinator's database holds as a whole number.
const SEQUENCE_MAX: u64 = i64::MAX as u64;
const READING: u8 = 0;
const MARK: u8 = 1;
const NO_LEVEL: i16 = i16::MIN;
/// Any other number is a verdict of a newer version: whatever it is, it does not settle anything here.
const SETTLED: u8 = 0;
const UNSURE: u8 = 1;

impl ReportsV1 {
    pub(crate) fn of(reports: &[Report]) -> Self {
        Self {
            reports: reports.iter().map(ReportV1::from).collect(),
        }
    }

    pub(crate) fn into_reports(self) -> Result<Vec<Report>, WireError> {
        if self.reports.len() > REPORTS_MAX {
            let why = format_args!("{} are too many", self.reports.len());
            return Err(WireError::range("a batch of reports", why));
        }
        self.reports.into_iter().map(Report::try_from).collect()
    }
}

impl From<&Report> for ReportV1 {
    fn from(report: &Report) -> Self {
        let of_mark = Self {
            sequence: report.sequence.0,
            session: report.session.0,
            round: report.round.0,
            seat: report.tenure.seat,
            seat_epoch: report.tenure.epoch,
            age_ms: milliseconds(report.age),
            string: report.content.string().get(),
            content: MARK,
            uhz: 0,
            sigma_mc: 0,
            level_cdb: NO_LEVEL,
            verdict: SETTLED,
            mark: 0,
        };
        match report.content {
            Content::Reading(reading) => Self {
                content: READING,
                uhz: (reading.hz.get() * 1e6).round() as u64,
                sigma_mc: millicents(reading.sigma),
                level_cdb: reading
                    .level_dbfs
                    .map_or(NO_LEVEL, |level| (level * 100.0).round() as i16),
                verdict: match reading.verdict {
                    Verdict::Settled => SETTLED,
                    Verdict::Unsure => UNSURE,
                },
                ..of_mark
            },
            Content::Mark { mark, .. } => Self {
                mark: mark.code(),
                ..of_mark
            },
        }
    }
}

impl TryFrom<ReportV1> for Report {
    type Error = WireError;

    fn try_from(report: ReportV1) -> Result<Self, WireError> {
        if !(1..=SEQUENCE_MAX).contains(&report.sequence) {
            let why = format_args!("{} is not within 1 and {SEQUENCE_MAX}", report.sequence);
            return Err(WireError::range("a report's number", why));
        }
        let string = StringNumber::new(report.string.into()).map_err(|why| WireError::range("a string number", why))?;
        let content = match report {
            ReportV1 {
                content: READING,
                mark: 0,
                ..
            } => Content::Reading(reading(string, &report)?),
            ReportV1 {
                content: MARK,
                uhz: 0,
                sigma_mc: 0,
                level_cdb: NO_LEVEL,
                verdict: SETTLED,
                mark,
                ..
            } => Content::Mark {
                string,
                mark: Coded::of(mark)?,
            },
            ReportV1 { content, .. } => {
                let why = format_args!("{content} is neither reading nor mark");
                return Err(WireError::range("a report", why));
            }
        };
        Ok(Self {
            sequence: Sequence(report.sequence),
            session: SessionId(report.session),
            round: Round(report.round),
            tenure: tenure(report.seat, report.seat_epoch)?,
            age: Duration::from_millis(report.age_ms),
            content,
        })
    }
}

fn reading(string: StringNumber, report: &ReportV1) -> Result<Reading, WireError> {
    let hz = Hz::new(report.uhz as f64 / 1e6).map_err(|why| WireError::range("a frequency", why))?;
    let sigma: Cents = cents(report.sigma_mc);
    let not_one = |why| WireError::range("a reading", why);
    let reading = Reading::new(string, hz, sigma).map_err(not_one)?;
    let reading = match report.level_cdb {
        NO_LEVEL => reading,
        level => reading.at_level(f64::from(level) / 100.0).map_err(not_one)?,
    };
    Ok(match report.verdict {
        SETTLED => reading,
        _ => reading.judged(Verdict::Unsure),
    })
}
