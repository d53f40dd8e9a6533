//! Tunings and readings: written one by one as they are heard, read by string or by harp.

use std::collections::BTreeMap;

use consort_proto::{Cents, Hz, Reading, StringNumber, Tolerance, Tuning};
use consort_record::{Heard, Life, Moment, Place, Visit};
use rusqlite::{Connection, Row, params};

use crate::error::RecordError;
use crate::form::{TimbreForm, TuningForm, temperament_text};
use crate::harps::{HarpId, Kept, json};
use crate::store::{Store, told};

/// A tuning in this file.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd)]
pub struct TuningId(pub(crate) i64);

/// One point of a string's history.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// When the string was heard.
    pub at: Moment,
    /// In which tuning.
    pub tuning: TuningId,
    /// When that tuning began: another may have begun before the string was heard.
    pub begun: Moment,
    /// What was heard of the open string.
    pub reading: Reading,
}

/// Tunings by their numbers in the file.
type Visits = BTreeMap<i64, Visit>;

fn in_order(visits: Visits) -> Vec<Visit> {
    let mut visits: Vec<Visit> = visits.into_values().collect();
    visits.sort_by_key(|visit| visit.at);
    visits
}

impl Store {
    /// Begins a tuning of `harp`, or goes on with the one that began at the same moment.
    pub fn begin_tuning(
        &mut self,
        harp: HarpId,
        at: Moment,
        place: &Place,
        tuning: &Tuning,
        tolerance: &Tolerance,
    ) -> Result<TuningId, RecordError> {
        begin(self.writable()?, harp, at, place, tuning, tolerance)
    }

    /// Keeps a reading, heard `at_unix_ms` milliseconds after 1970; once this returns it outlasts a power cut.
    pub fn hear(&mut self, harp: HarpId, tuning: TuningId, at_unix_ms: i64, heard: &Heard) -> Result<(), RecordError> {
        insert(self.writable()?, harp, tuning, at_unix_ms, heard).map(drop)
    }

    /// Keeps several readings at once, each with its milliseconds after 1970; all of them or none.
    pub fn hear_all(&mut self, harp: HarpId, tuning: TuningId, heard: &[(i64, Heard)]) -> Result<(), RecordError> {
        let transaction = self.change()?;
        for (at_unix_ms, heard) in heard {
            insert(&transaction, harp, tuning, *at_unix_ms, heard)?;
        }
        transaction.commit()?;
        Ok(())
    }

    /// How many tunings `harp` has.
    pub fn tunings(&self, harp: HarpId) -> Result<usize, RecordError> {
        let count: i64 = self
            .connection
            .query_row("SELECT count(*) FROM tuning WHERE harp = ?1", [harp.0], |row| {
                row.get(0)
            })?;
        Ok(usize::try_from(count).unwrap_or(0))
    }

    /// Everything that is known of `kept`, with its newest `tunings` tunings; the whole of it without a number.
    pub fn life(&self, kept: &Kept, tunings: Option<usize>) -> Result<Life, RecordError> {
        let said = |cause| self.said(cause);
        let (mut life, mut visits) = self.read_outline(kept, tunings).map_err(said)?;
        self.read_heard(kept, &mut visits).map_err(said)?;
        // A tuning in which nothing was heard tells nothing, and must not stand for the newest one.
        visits.retain(|_, visit| !visit.strings.is_empty());
        life.visits = in_order(visits);
        Ok(life)
    }

    /// The same of all its tunings without what was heard in them: quick also after ten years.
    pub fn outline(&self, kept: &Kept) -> Result<Life, RecordError> {
        let (mut life, visits) = self.read_outline(kept, None).map_err(|cause| self.said(cause))?;
        life.visits = in_order(visits);
        Ok(life)
    }

    fn said(&self, cause: RecordError) -> RecordError {
        match cause {
            RecordError::Sqlite(cause) => told(self.path(), cause),
            other => other,
        }
    }

    fn read_outline(&self, kept: &Kept, tunings: Option<usize>) -> Result<(Life, Visits), RecordError> {
        let mut life = Life::new(kept.sheet.clone());
        let mut visits = Visits::new();
        let limit = tunings.map_or(-1, |count| i64::try_from(count).unwrap_or(-1));
        let mut statement = self
            .connection
            .prepare("SELECT * FROM tuning WHERE harp = ?1 ORDER BY begun_unix_s DESC LIMIT ?2")?;
        let mut rows = statement.query(params![kept.id.0, limit])?;
        while let Some(row) = rows.next()? {
            let form = tuning_form(row)?;
            let unreadable = |(field, why): (&str, String)| RecordError::Harp(format!("{field}: {why}"));
            let visit = Visit::new(
                form.begun().map_err(unreadable)?,
                form.place().map_err(unreadable)?,
                form.tuning().map_err(unreadable)?,
                form.tolerance().map_err(unreadable)?,
            );
            visits.insert(row.get("id")?, visit);
        }
        self.read_entries(kept.id, &mut life)?;
        Ok((life, visits))
    }

    fn read_heard(&self, kept: &Kept, visits: &mut Visits) -> Result<(), RecordError> {
        // A reading belongs to a tuning that began at most a few days before it; older pages are not touched.
        let Some(first) = visits.values().map(|visit| visit.at.0 * 1_000).min() else {
            return Ok(());
        };
        let mut statement = self.connection.prepare(
            "SELECT * FROM reading WHERE harp = ?1 AND string = ?2 AND at_unix_ms >= ?3 ORDER BY at_unix_ms, position",
        )?;
        for (number, _) in kept.sheet.harp.numbered() {
            let mut rows = statement.query(params![kept.id.0, number.get(), first])?;
            while let Some(row) = rows.next()? {
                if let Some(visit) = visits.get_mut(&row.get("tuning")?)
                    && let Some(heard) = heard(row)?
                {
                    visit.hear(&heard);
                }
            }
        }
        Ok(())
    }

    /// The open string's readings of all times, oldest first.
    pub fn history(&self, harp: HarpId, string: StringNumber) -> Result<Vec<Point>, RecordError> {
        let begun = self.begun(harp)?;
        let mut statement = self.connection.prepare(
            "SELECT at_unix_ms, tuning, hz, sigma_cents FROM reading \
             WHERE harp = ?1 AND string = ?2 AND position = 0 ORDER BY at_unix_ms",
        )?;
        let mut rows = statement.query(params![harp.0, string.get()])?;
        let mut points = Vec::new();
        while let Some(row) = rows.next()? {
            let (hz, sigma): (f64, f64) = (row.get(2)?, row.get(3)?);
            let reading = Hz::new(hz)
                .ok()
                .and_then(|hz| Reading::new(string, hz, Cents(sigma)).ok());
            if let Some(reading) = reading {
                let (at_unix_ms, tuning): (i64, i64) = (row.get(0)?, row.get(1)?);
                let at = Moment(at_unix_ms.div_euclid(1_000));
                points.push(Point {
                    at,
                    tuning: TuningId(tuning),
                    begun: begun.get(&tuning).copied().unwrap_or(at),
                    reading,
                });
            }
        }
        Ok(points)
    }

    /// When each tuning of `harp` began.
    fn begun(&self, harp: HarpId) -> Result<BTreeMap<i64, Moment>, RecordError> {
        let mut statement = self
            .connection
            .prepare("SELECT id, begun_unix_s FROM tuning WHERE harp = ?1")?;
        let rows = statement.query_map([harp.0], |row| Ok((row.get(0)?, Moment(row.get(1)?))))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}

pub(crate) fn begin(
    connection: &Connection,
    harp: HarpId,
    at: Moment,
    place: &Place,
    tuning: &Tuning,
    tolerance: &Tolerance,
) -> Result<TuningId, RecordError> {
    connection.execute(
        "INSERT OR IGNORE INTO tuning (harp, begun_unix_s, place, a4_hz, temperament, setting, tolerance_cents) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        params![
            harp.0,
            at.0,
            place.as_str(),
            tuning.a4.hz().get(),
            temperament_text(&tuning.temperament),
            tuning.setting.to_string(),
            json(&[tolerance.middle.0, tolerance.wires.0, tolerance.top.0])?,
        ],
    )?;
    let id = connection.query_row(
        "SELECT id FROM tuning WHERE harp = ?1 AND begun_unix_s = ?2",
        params![harp.0, at.0],
        |row| row.get(0),
    )?;
    Ok(TuningId(id))
}

/// Writes a reading unless it is there; says whether it was new.
pub(crate) fn insert(
    connection: &Connection,
    harp: HarpId,
    tuning: TuningId,
    at_unix_ms: i64,
    heard: &Heard,
) -> Result<bool, RecordError> {
    let timbre = heard
        .timbre
        .as_ref()
        .map(|timbre| json(&TimbreForm::of(timbre)))
        .transpose()?;
    let mut statement =
        connection.prepare_cached("INSERT OR IGNORE INTO reading VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)")?;
    let added = statement.execute(params![
        harp.0,
        heard.reading.string.get(),
        at_unix_ms,
        heard.position,
        tuning.0,
        heard.reading.hz.get(),
        heard.reading.sigma.0,
        timbre,
    ])?;
    Ok(added > 0)
}

/// A tuning's row without its readings.
pub(crate) fn tuning_form(row: &Row<'_>) -> Result<TuningForm, RecordError> {
    let tolerance: String = row.get("tolerance_cents")?;
    Ok(TuningForm {
        begun: Moment(row.get("begun_unix_s")?).to_string(),
        place: row.get("place")?,
        a4_hz: row.get("a4_hz")?,
        temperament: row.get("temperament")?,
        setting: row.get("setting")?,
        tolerance_cents: serde_json::from_str(&tolerance).map_err(|why| RecordError::Harp(why.to_string()))?,
        readings: Vec::new(),
    })
}

/// A reading's row; what no harp can sound is left out.
fn heard(row: &Row<'_>) -> rusqlite::Result<Option<Heard>> {
    let timbre: Option<String> = row.get("timbre")?;
    let at_unix_ms: i64 = row.get("at_unix_ms")?;
    let (string, hz, sigma): (u32, f64, f64) = (row.get("string")?, row.get("hz")?, row.get("sigma_cents")?);
    let reading = StringNumber::new(string)
        .ok()
        .zip(Hz::new(hz).ok())
        .and_then(|(string, hz)| Reading::new(string, hz, Cents(sigma)).ok());
    Ok(reading.map(|reading| Heard {
        at: Moment(at_unix_ms.div_euclid(1_000)),
        position: row.get("position").unwrap_or(0),
        reading,
        timbre: timbre
            .and_then(|text| serde_json::from_str::<TimbreForm>(&text).ok())
            .map(|form| form.timbre()),
    }))
}
