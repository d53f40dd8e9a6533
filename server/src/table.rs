//! The tables of the session's file: what each record changes in them, and what they say when they are read again.

use std::time::{Duration, SystemTime};

use consort_proto::message::Content;
use consort_proto::{
    Agreement, Fingerprint, Harp, HarpString, Hz, JoinToken, Reading, ReferencePitch, Report, Revision, Round,
    Sequence, SessionId, StringNumber, StringStory, Tenure, Verdict, are_strung_alike,
};
use consort_session::{PAST_MAX, Past, Record, Ruled, Ruling, Saved, SavedStation};
use consort_store::column::{cents, meaningless, parsed};
use consort_store::{Unreadable, agreement};
use rusqlite::types::Value;
use rusqlite::{Connection, OptionalExtension, Result, Row, Transaction, params, params_from_iter};
use serde::Serialize;
use serde::de::DeserializeOwned;

/// The steps of the layout, oldest first; a shipped step is never edited.
pub(crate) const MIGRATIONS: &[&str] = &["
    CREATE TABLE session (
        only INTEGER PRIMARY KEY CHECK (only = 1),
        id BLOB NOT NULL,
        token BLOB NOT NULL,
        epoch INTEGER NOT NULL
    ) STRICT;
    -- Every agreement that was ever in force; the newest is the one that is.
    CREATE TABLE agreement (
        revision INTEGER PRIMARY KEY,
        ensemble TEXT NOT NULL,
        a4_hz REAL NOT NULL,
        -- The word of the temperament; null for offsets of one's own.
        temperament TEXT,
        -- Twelve offsets in cents, C to B.
        offsets TEXT NOT NULL,
        setting TEXT NOT NULL,
        tolerance_middle_cents REAL NOT NULL,
        tolerance_wires_cents REAL NOT NULL,
        tolerance_top_cents REAL NOT NULL,
        round INTEGER NOT NULL
    ) STRICT;
    -- Everyone who was ever let in, in that order.
    CREATE TABLE station (
        seat INTEGER PRIMARY KEY,
        fingerprint BLOB NOT NULL UNIQUE,
        name TEXT NOT NULL,
        harp TEXT NOT NULL,
        kind TEXT NOT NULL,
        acked INTEGER NOT NULL,
        removed INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE string (
        seat INTEGER NOT NULL REFERENCES station ON DELETE CASCADE,
        number INTEGER NOT NULL,
        note TEXT NOT NULL,
        material TEXT NOT NULL,
        mechanism TEXT NOT NULL,
        regulation_1_cents REAL NOT NULL,
        regulation_2_cents REAL NOT NULL,
        mark TEXT,
        PRIMARY KEY (seat, number)
    ) STRICT, WITHOUT ROWID;
    -- The readings of the round that is being tuned.
    CREATE TABLE reading (
        id INTEGER PRIMARY KEY,
        seat INTEGER NOT NULL,
        number INTEGER NOT NULL,
        hz REAL NOT NULL,
        sigma_cents REAL NOT NULL,
        FOREIGN KEY (seat, number) REFERENCES string ON DELETE CASCADE
    ) STRICT;
    CREATE INDEX reading_by_string ON reading (seat, number);
", "
    -- The start, in seconds since 1970: the clock on the wall is the only one that goes on while the program does not run.
    ALTER TABLE agreement ADD COLUMN start_unix_s INTEGER;
    -- The revision that an undo brings back; an undo of that one brings back what it names.
    ALTER TABLE agreement ADD COLUMN undo_to INTEGER;
", "
    -- Keys of stations that proved to know the joining code: they are let in without it from then on.
    CREATE TABLE pinned (fingerprint BLOB PRIMARY KEY) STRICT;
", "
    -- Letter and octave of the string that everyone is asked for, as a note; null for none.
    ALTER TABLE agreement ADD COLUMN called TEXT;
    -- How often the seat has had another holder, the first one included.
    ALTER TABLE station ADD COLUMN seat_epoch INTEGER NOT NULL DEFAULT 1;
    -- How loud the pluck was, full scale 0; null where it was not measured.
    ALTER TABLE reading ADD COLUMN level_dbfs REAL;
    -- Keys that the leader has granted to change the agreement.
    CREATE TABLE deputy (fingerprint BLOB PRIMARY KEY) STRICT;
", "
    -- A4 from the next round on, if another than now was decided.
    ALTER TABLE session ADD COLUMN next_a4_hz REAL;
", "
    -- Whether the reference tones of all desks are silenced.
    ALTER TABLE session ADD COLUMN silenced INTEGER NOT NULL DEFAULT 0;
", "
    -- The number under which the seat is shown, from 1.
    ALTER TABLE station ADD COLUMN place INTEGER NOT NULL DEFAULT 0;
    UPDATE station SET place = seat;
", "
    -- How often the leader has had the board's address made anew.
    ALTER TABLE session ADD COLUMN board INTEGER NOT NULL DEFAULT 0;
"];

/// A start that has passed this long before the opening belongs to another evening.
const START_FORGOTTEN_AFTER: Duration = Duration::from_secs(6 * 60 * 60);

/// Makes the record's changes.
///
/// `handed_over` is when the record came from the session: its times count from there.
pub(crate) fn write(transaction: &Transaction<'_>, record: &Record, handed_over: SystemTime) -> Result<()> {
    match record {
        Record::Agreement {
            agreement,
            start_in,
            undo_to,
        } => write_agreement(
            transaction,
            agreement,
            start_in.map(|left| handed_over + left),
            *undo_to,
        ),
        Record::Station { peer, name, harp } => write_station(transaction, *peer, name.as_str(), harp),
        Record::Pinned { peer } => transaction
            .execute("INSERT OR IGNORE INTO pinned VALUES (?1)", [peer.0])
            .map(drop),
        Record::Reports { peer, reports } => write_reports(transaction, *peer, reports),
        Record::Removed { peer, removed } => transaction
            .execute(
                "UPDATE station SET removed = ?2 WHERE fingerprint = ?1",
                params![peer.0, removed],
            )
            .map(drop),
        Record::TakenOver { from, to } => write_take_over(transaction, *from, *to),
        Record::Deputy { peer, granted } => {
            let change = match granted {
                true => "INSERT OR IGNORE INTO deputy VALUES (?1)",
                false => "DELETE FROM deputy WHERE fingerprint = ?1",
            };
            transaction.execute(change, [peer.0]).map(drop)
        }
        Record::Ruling(ruling) => write_ruling(transaction, ruling),
    }
}

/// Writes down that the session is open, with its epoch and agreement.
pub(crate) fn write_opening(transaction: &Transaction<'_>, saved: &Saved, now: SystemTime) -> Result<()> {
    transaction.execute(
        "INSERT INTO session (only, id, token, epoch) VALUES (1, ?1, ?2, ?3)
         ON CONFLICT DO UPDATE SET epoch = excluded.epoch",
        params![saved.agreement.session.0, saved.token.0, saved.epoch],
    )?;
    let start = saved.start_in.map(|left| now + left);
    write_agreement(
        transaction,
        &saved.agreement,
        start,
        saved.past.last().map(|past| past.revision),
    )
}

fn write_agreement(
    transaction: &Transaction<'_>,
    agreement: &Agreement,
    start: Option<SystemTime>,
    undo_to: Option<Revision>,
) -> Result<()> {
    // Only readings inside a round count; the marks stay with the strings.
    if round(transaction)?.is_some_and(|before| before != agreement.round) {
        transaction.execute("DELETE FROM reading", [])?;
        // The round for which it was decided has come.
        transaction.execute("UPDATE session SET next_a4_hz = NULL", [])?;
    }
    let start = start.map(unix_seconds).map_or(Value::Null, Value::Integer);
    let undo_to = undo_to.map_or(Value::Null, |revision| Value::Integer(revision.0.cast_signed()));
    let values = agreement::values(agreement).into_iter().chain([start, undo_to]);
    transaction
        .execute(
            &format!(
                "INSERT OR REPLACE INTO agreement ({}, start_unix_s, undo_to)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
                agreement::COLUMNS
            ),
            params_from_iter(values),
        )
        .map(drop)
}

fn write_ruling(transaction: &Transaction<'_>, ruling: &Ruling) -> Result<()> {
    match ruling {
        Ruling::NextPitch(a4) => {
            let hz = a4.map(|a4| a4.hz().get());
            transaction
                .execute("UPDATE session SET next_a4_hz = ?1", [hz])
                .map(drop)
        }
        Ruling::Order(order) => {
            let mut statement = transaction.prepare_cached("UPDATE station SET place = ?1 WHERE fingerprint = ?2")?;
            (1_u32..)
                .zip(order)
                .try_for_each(|(place, peer)| statement.execute(params![place, peer.0]).map(drop))
        }
        Ruling::Board(number) => transaction.execute("UPDATE session SET board = ?1", [number]).map(drop),
        Ruling::Tones { allowed } => transaction
            .execute("UPDATE session SET silenced = ?1", [!allowed])
            .map(drop),
    }
}

fn write_station(transaction: &Transaction<'_>, peer: Fingerprint, name: &str, harp: &Harp) -> Result<()> {
    transaction.execute(
        "INSERT INTO station (fingerprint, name, harp, kind, acked, removed, place)
         VALUES (?1, ?2, ?3, ?4, 0, 0, (SELECT COALESCE(MAX(place), 0) + 1 FROM station))
         ON CONFLICT (fingerprint) DO UPDATE SET name = excluded.name, harp = excluded.harp, kind = excluded.kind",
        params![peer.0, name, harp.name(), word(&harp.kind())],
    )?;
    let seat = seat_of(transaction, peer)?;
    let before: Vec<HarpString> = read_strings(transaction, seat)
        .map(|read| read.into_iter().map(|(string, _)| string).collect())
        .unwrap_or_default();
    if are_strung_alike(&before, harp.strings()) {
        // How far discs or levers are off may have been measured since; what was heard stays.
        for (number, string) in harp.numbered() {
            transaction.execute(
                "UPDATE string SET regulation_1_cents = ?3, regulation_2_cents = ?4 WHERE seat = ?1 AND number = ?2",
                params![seat, number.get(), string.regulation[0].0, string.regulation[1].0],
            )?;
        }
        return Ok(());
    }
    // Another harp: what was heard of the strings of the old one says nothing about it.
    transaction.execute("DELETE FROM string WHERE seat = ?1", [seat])?;
    for (number, string) in harp.numbered() {
        transaction.execute(
            "INSERT INTO string VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, NULL)",
            params![
                seat,
                number.get(),
                string.open.to_string(),
                word(&string.material),
                word(&string.mechanism),
                string.regulation[0].0,
                string.regulation[1].0,
            ],
        )?;
    }
    Ok(())
}

/// The seat of `from` goes to `to`; what its strings did stays if both harps have the same.
fn write_take_over(transaction: &Transaction<'_>, from: Fingerprint, to: Fingerprint) -> Result<()> {
    let (given, own) = (seat_of(transaction, from)?, seat_of(transaction, to)?);
    let strings = |seat| -> Vec<HarpString> {
        let read = read_strings(transaction, seat).unwrap_or_default();
        read.into_iter().map(|(string, _)| string).collect()
    };
    if are_strung_alike(&strings(given), &strings(own)) {
        transaction.execute(
            "UPDATE string SET (regulation_1_cents, regulation_2_cents) =
                 (SELECT regulation_1_cents, regulation_2_cents FROM string AS own
                  WHERE own.seat = ?2 AND own.number = string.number)
             WHERE seat = ?1",
            [given, own],
        )?;
    } else {
        transaction.execute("DELETE FROM string WHERE seat = ?1", [given])?;
        transaction.execute(
            "INSERT INTO string SELECT ?1, number, note, material, mechanism, regulation_1_cents, regulation_2_cents, mark
             FROM string WHERE seat = ?2",
            [given, own],
        )?;
        transaction.execute(
            "INSERT INTO reading (seat, number, hz, sigma_cents, level_dbfs)
             SELECT ?1, number, hz, sigma_cents, level_dbfs FROM reading WHERE seat = ?2 ORDER BY id",
            [given, own],
        )?;
    }
    let (name, harp, kind, acked): (String, String, String, i64) = transaction.query_row(
        "SELECT name, harp, kind, acked FROM station WHERE seat = ?1",
        [own],
        |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
    )?;
    transaction.execute("DELETE FROM station WHERE seat = ?1", [own])?;
    transaction
        .execute(
            "UPDATE station SET fingerprint = ?2, name = ?3, harp = ?4, kind = ?5, acked = ?6, seat_epoch = seat_epoch + 1
             WHERE seat = ?1",
            params![given, to.0, name, harp, kind, acked],
        )
        .map(drop)
}

fn write_reports(transaction: &Transaction<'_>, peer: Fingerprint, reports: &[Report]) -> Result<()> {
    let seat = seat_of(transaction, peer)?;
    let session = session(transaction)?;
    let round = round(transaction)?;
    let tenure = transaction.query_row(
        "SELECT seat, seat_epoch FROM station WHERE seat = ?1",
        [seat],
        read_tenure,
    )?;
    for report in reports {
        transaction.execute(
            "UPDATE station SET acked = ?2 WHERE seat = ?1",
            params![seat, report.sequence.0.cast_signed()],
        )?;
        if session != Some(report.session) || report.tenure != tenure {
            continue;
        }
        match report.content {
            // A reading of another round or in doubt, or of a string that the harp does not have, is acknowledged and dropped.
            Content::Reading(reading) if round == Some(report.round) && reading.verdict == Verdict::Settled => {
                transaction.execute(
                    "INSERT INTO reading (seat, number, hz, sigma_cents, level_dbfs)
                     SELECT seat, number, ?3, ?4, ?5 FROM string WHERE seat = ?1 AND number = ?2",
                    params![
                        seat,
                        reading.string.get(),
                        reading.hz.get(),
                        reading.sigma.0,
                        reading.level_dbfs
                    ],
                )?
            }
            Content::Reading(_) => 0,
            Content::Mark { string, mark } => transaction.execute(
                "UPDATE string SET mark = ?3 WHERE seat = ?1 AND number = ?2",
                params![seat, string.get(), mark.as_ref().map(word)],
            )?,
        };
    }
    Ok(())
}

/// Everything that was written, put together again; `None` in a fresh file.
pub(crate) fn read(connection: &Connection) -> Result<Option<Saved>, Unreadable> {
    let opened = connection
        .query_row("SELECT id, token, epoch FROM session", [], |row| {
            Ok((SessionId(row.get(0)?), JoinToken(row.get(1)?), row.get(2)?))
        })
        .optional()?;
    let Some((session, token, epoch)) = opened else {
        return Ok(None);
    };
    let newest = read_agreement(connection, session, Revision(i64::MAX.cast_unsigned()))?
        .ok_or_else(|| meaningless("the session has no agreement"))?;
    Ok(Some(Saved {
        past: read_past(connection, session, newest.undo_to)?,
        agreement: newest.agreement,
        start_in: newest.start_in,
        epoch,
        token,
        pinned: read_keys(connection, "SELECT fingerprint FROM pinned ORDER BY rowid")?,
        deputies: read_keys(connection, "SELECT fingerprint FROM deputy ORDER BY rowid")?,
        ruled: read_ruled(connection)?,
        stations: read_stations(connection)?,
    }))
}

fn read_ruled(connection: &Connection) -> Result<Ruled, Unreadable> {
    let (next_a4, silenced, board): (Option<f64>, bool, u32) =
        connection.query_row("SELECT next_a4_hz, silenced, board FROM session", [], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        })?;
    Ok(Ruled {
        next_pitch: next_a4.map(ReferencePitch::new).transpose().map_err(meaningless)?,
        silenced,
        board,
    })
}

/// One row of the agreements.
struct Agreed {
    agreement: Agreement,
    start_in: Option<Duration>,
    undo_to: Option<Revision>,
}

/// The newest agreement that is not newer than `revision`.
fn read_agreement(
    connection: &Connection,
    session: SessionId,
    revision: Revision,
) -> Result<Option<Agreed>, Unreadable> {
    let mut statement =
        connection.prepare_cached("SELECT * FROM agreement WHERE revision <= ?1 ORDER BY revision DESC LIMIT 1")?;
    let mut rows = statement.query([revision.0.cast_signed()])?;
    let Some(row) = rows.next()? else {
        return Ok(None);
    };
    Ok(Some(Agreed {
        agreement: agreement::read(row, session)?,
        start_in: row
            .get::<_, Option<i64>>("start_unix_s")?
            .and_then(|start| time_until(start, unix_seconds(SystemTime::now()))),
        undo_to: row.get::<_, Option<i64>>("undo_to")?.map(revision_in),
    }))
}

/// What undo brings back, the newest last.
fn read_past(
    connection: &Connection,
    session: SessionId,
    mut undo_to: Option<Revision>,
) -> Result<Vec<Past>, Unreadable> {
    let mut past = Vec::new();
    while let Some(revision) = undo_to.filter(|_| past.len() < PAST_MAX) {
        let Some(agreed) = read_agreement(connection, session, revision)? else {
            break;
        };
        let Agreement { tuning, tolerance, .. } = agreed.agreement;
        past.push(Past {
            revision: agreed.agreement.revision,
            tuning,
            tolerance,
            start_in: agreed.start_in,
        });
        // Only ever backwards, whatever the file says.
        undo_to = agreed.undo_to.filter(|&before| before < revision);
    }
    past.reverse();
    Ok(past)
}

/// The time left at `now`, both in seconds since 1970: nothing once it has passed, and no start at all long after it.
fn time_until(start: i64, now: i64) -> Option<Duration> {
    match u64::try_from(start.saturating_sub(now)) {
        Ok(left) => Some(Duration::from_secs(left)),
        Err(_) => {
            (now.saturating_sub(start).cast_unsigned() < START_FORGOTTEN_AFTER.as_secs()).then_some(Duration::ZERO)
        }
    }
}

fn unix_seconds(at: SystemTime) -> i64 {
    let since = at.duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
    since.as_secs().cast_signed()
}

const fn revision_in(column: i64) -> Revision {
    Revision(column.cast_unsigned())
}

/// The seat and how often it changed hands, in a row of stations.
fn read_tenure(row: &Row<'_>) -> Result<Tenure> {
    Ok(Tenure {
        seat: row.get("seat")?,
        epoch: row.get("seat_epoch")?,
    })
}

fn read_keys(connection: &Connection, query: &str) -> Result<Vec<Fingerprint>, Unreadable> {
    let mut statement = connection.prepare(query)?;
    let keys = statement.query_map([], |row| row.get(0).map(Fingerprint))?;
    Ok(keys.collect::<Result<_>>()?)
}

fn read_stations(connection: &Connection) -> Result<Vec<SavedStation>, Unreadable> {
    let mut statement = connection.prepare("SELECT * FROM station ORDER BY seat")?;
    let mut rows = statement.query([])?;
    let mut stations = Vec::new();
    while let Some(row) = rows.next()? {
        let seat: i64 = row.get("seat")?;
        let (strings, mut stories): (Vec<HarpString>, Vec<StringStory>) =
            read_strings(connection, seat)?.into_iter().unzip();
        read_readings(connection, seat, &mut stories)?;
        stations.push(SavedStation {
            peer: Fingerprint(row.get("fingerprint")?),
            tenure: read_tenure(row)?,
            place: row.get("place")?,
            name: parsed(row, "name")?,
            harp: Harp::new(row.get("harp")?, from_word(row, "kind")?, strings).map_err(meaningless)?,
            acked: Sequence(row.get::<_, i64>("acked")?.cast_unsigned()),
            removed: row.get("removed")?,
            stories,
        });
    }
    Ok(stations)
}

/// The strings of a harp from the top, each with a story that holds its mark.
fn read_strings(connection: &Connection, seat: i64) -> Result<Vec<(HarpString, StringStory)>, Unreadable> {
    let mut statement = connection.prepare_cached("SELECT * FROM string WHERE seat = ?1 ORDER BY number")?;
    let mut rows = statement.query([seat])?;
    let mut strings = Vec::new();
    while let Some(row) = rows.next()? {
        let string = HarpString {
            open: parsed(row, "note")?,
            material: from_word(row, "material")?,
            mechanism: from_word(row, "mechanism")?,
            regulation: [cents(row, "regulation_1_cents")?, cents(row, "regulation_2_cents")?],
        };
        let mut story = StringStory::default();
        if row.get::<_, Option<String>>("mark")?.is_some() {
            story.set_mark(Some(from_word(row, "mark")?));
        }
        strings.push((string, story));
    }
    Ok(strings)
}

fn read_readings(connection: &Connection, seat: i64, stories: &mut [StringStory]) -> Result<(), Unreadable> {
    let mut statement = connection.prepare_cached("SELECT * FROM reading WHERE seat = ?1 ORDER BY id")?;
    let mut rows = statement.query([seat])?;
    while let Some(row) = rows.next()? {
        let string = StringNumber::new(row.get("number")?).map_err(meaningless)?;
        let hz = Hz::new(row.get("hz")?).map_err(meaningless)?;
        let mut reading = Reading::new(string, hz, cents(row, "sigma_cents")?).map_err(meaningless)?;
        if let Some(level) = row.get("level_dbfs")? {
            reading = reading.at_level(level).map_err(meaningless)?;
        }
        stories
            .get_mut(string.index())
            .ok_or_else(|| meaningless(format!("string {string} was heard, but the harp has none")))?
            .hear(reading);
    }
    Ok(())
}

fn session(connection: &Connection) -> Result<Option<SessionId>> {
    connection
        .query_row("SELECT id FROM session", [], |row| row.get(0).map(SessionId))
        .optional()
}

fn round(connection: &Connection) -> Result<Option<Round>> {
    connection
        .query_row(
            "SELECT round FROM agreement ORDER BY revision DESC LIMIT 1",
            [],
            |row| row.get(0).map(Round),
        )
        .optional()
}

fn seat_of(connection: &Connection, peer: Fingerprint) -> Result<i64> {
    connection.query_row("SELECT seat FROM station WHERE fingerprint = ?1", [peer.0], |row| {
        row.get(0)
    })
}

/// The word that a value has in files.
fn word<T: Serialize>(value: &T) -> Option<String> {
    serde_json::to_value(value).ok()?.as_str().map(str::to_owned)
}

fn from_word<T: DeserializeOwned>(row: &Row<'_>, column: &str) -> Result<T, Unreadable> {
    let word: String = row.get(column)?;
    serde_json::from_value(word.into()).map_err(meaningless)
}
