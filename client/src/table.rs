//! The tables of the station's file: what is written into them, and what they say when they are read again.

use std::net::SocketAddr;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use consort_link::Known;
use consort_proto::message::Content;
use consort_proto::{
    Agreement, Cents, Fingerprint, Harp, Hz, Mark, Name, Reading, Report, Round, Sequence, SessionId, StringNumber,
    StringStory, Tenure, Verdict,
};
use consort_store::column::{meaningless, parsed};
use consort_store::{Unreadable, agreement};
use rusqlite::types::Value;
use rusqlite::{Connection, Result, Row, Transaction, params, params_from_iter};

/// The steps of the layout, oldest first; a shipped step is never edited.
pub(crate) const MIGRATIONS: &[&str] = &[
    "
    CREATE TABLE station (
        only INTEGER PRIMARY KEY CHECK (only = 1),
        -- The player's name as last given.
        name TEXT,
        -- The strings of the harp that was last heard; what is written of strings is about those.
        harp TEXT,
        -- The highest number that a report ever had: numbers are never used again.
        reported INTEGER NOT NULL
    ) STRICT;
    INSERT INTO station VALUES (1, NULL, NULL, 0);
    CREATE TABLE coordinator (
        fingerprint BLOB PRIMARY KEY,
        address TEXT NOT NULL,
        reached_unix_s INTEGER NOT NULL
    ) STRICT;
    -- The agreement as last heard.
    CREATE TABLE agreement (
        only INTEGER PRIMARY KEY CHECK (only = 1),
        session BLOB NOT NULL,
        revision INTEGER NOT NULL,
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
    -- What the coordinator has not acknowledged: a reading, or a mark and whether it was set.
    CREATE TABLE report (
        sequence INTEGER PRIMARY KEY,
        session BLOB NOT NULL,
        round INTEGER NOT NULL,
        heard_unix_ms INTEGER NOT NULL,
        string INTEGER NOT NULL,
        hz REAL,
        sigma_cents REAL,
        mark TEXT
    ) STRICT;
    -- What the strings did in the round that is being tuned.
    CREATE TABLE reading (
        id INTEGER PRIMARY KEY,
        session BLOB NOT NULL,
        round INTEGER NOT NULL,
        string INTEGER NOT NULL,
        hz REAL NOT NULL,
        sigma_cents REAL NOT NULL
    ) STRICT;
    CREATE TABLE mark (
        string INTEGER PRIMARY KEY,
        mark TEXT NOT NULL
    ) STRICT;
",
    "
    -- Letter and octave of the string that everyone is asked for, as a note; null for none.
    ALTER TABLE agreement ADD COLUMN called TEXT;
    -- The seat that was held in the agreement's session, and how often it had changed hands; 0 for none.
    ALTER TABLE agreement ADD COLUMN seat INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE agreement ADD COLUMN seat_epoch INTEGER NOT NULL DEFAULT 0;
    -- The same when a report was made; how loud the pluck was, full scale 0; whether it was in doubt.
    ALTER TABLE report ADD COLUMN seat INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE report ADD COLUMN seat_epoch INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE report ADD COLUMN level_dbfs REAL;
    ALTER TABLE report ADD COLUMN unsure INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE reading ADD COLUMN level_dbfs REAL;
",
];

/// The session of what was heard without any coordinator.
const ALONE: SessionId = SessionId([0; 16]);

/// Everything that an earlier run of the program left.
#[derive(Clone, Debug, Default)]
pub(crate) struct Saved {
    pub(crate) name: Option<Name>,
    pub(crate) known: Vec<Known>,
    pub(crate) agreement: Option<Agreement>,
    /// The seat that was held in its session.
    pub(crate) tenure: Tenure,
    pub(crate) journal: Vec<Report>,
    /// The highest number that a report ever had.
    pub(crate) reported: u64,
    /// The strings of the harp that was last heard.
    pub(crate) harp: Option<String>,
    /// Readings and marks of those strings, in the round of the agreement.
    pub(crate) readings: Vec<Reading>,
    pub(crate) marks: Vec<(StringNumber, Mark)>,
}

impl Saved {
    /// Whether what is saved of strings is about those of `harp`.
    pub(crate) fn is_of(&self, harp: &Harp) -> bool {
        self.harp.as_deref() == Some(strings_of(harp).as_str())
    }

    /// The stories of the strings of `harp`, as far as it is the harp that was heard.
    pub(crate) fn stories(&self, harp: &Harp) -> Vec<StringStory> {
        let mut stories = vec![StringStory::default(); harp.len()];
        if self.is_of(harp) {
            for reading in &self.readings {
                if let Some(story) = stories.get_mut(reading.string.index()) {
                    story.hear(*reading);
                }
            }
            for (string, mark) in &self.marks {
                if let Some(story) = stories.get_mut(string.index()) {
                    story.set_mark(Some(*mark));
                }
            }
        }
        stories
    }
}

/// Names a harp by its open strings: another set of strings is another harp.
pub(crate) fn strings_of(harp: &Harp) -> String {
    harp.strings()
        .iter()
        .map(|string| string.open.to_string())
        .collect::<Vec<_>>()
        .join(" ")
}

/// Writes down who plays which harp; what was heard of another harp is dropped.
pub(crate) fn write_start(transaction: &Transaction<'_>, name: &Name, harp: &Harp) -> Result<()> {
    let strings = strings_of(harp);
    let before: Option<String> = transaction.query_row("SELECT harp FROM station", [], |row| row.get(0))?;
    if before.as_ref() != Some(&strings) {
        transaction.execute_batch("DELETE FROM reading; DELETE FROM mark; DELETE FROM report;")?;
    }
    transaction
        .execute(
            "UPDATE station SET name = ?1, harp = ?2",
            params![name.as_str(), strings],
        )
        .map(drop)
}

/// Writes the report into the journal, and what it says into the strings' stories.
pub(crate) fn write_report(transaction: &Transaction<'_>, report: &Report, heard: SystemTime) -> Result<()> {
    let (string, hz, sigma, mark) = match report.content {
        Content::Reading(reading) => (reading.string, Some(reading.hz.get()), Some(reading.sigma.0), None),
        Content::Mark { string, mark } => (string, None, None, mark.map(mark_word)),
    };
    let (level, unsure) = match report.content {
        Content::Reading(reading) => (reading.level_dbfs, reading.verdict == Verdict::Unsure),
        Content::Mark { .. } => (None, false),
    };
    // What was heard alone is in nobody's session, and nobody ever asks for it.
    if report.session != ALONE {
        transaction.execute(
            "INSERT OR REPLACE INTO report (sequence, session, round, heard_unix_ms, string, hz, sigma_cents, mark, seat,
             seat_epoch, level_dbfs, unsure) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
            params![
                report.sequence.0.cast_signed(),
                report.session.0,
                report.round.0,
                unix(heard).as_millis() as i64,
                string.get(),
                hz,
                sigma,
                mark,
                report.tenure.seat,
                report.tenure.epoch,
                level,
                unsure,
            ],
        )?;
    }
    transaction.execute(
        "UPDATE station SET reported = max(reported, ?1)",
        [report.sequence.0.cast_signed()],
    )?;
    match (hz, mark) {
        (Some(_), _) if unsure => 0,
        (Some(hz), _) => transaction.execute(
            "INSERT INTO reading (session, round, string, hz, sigma_cents, level_dbfs) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            params![report.session.0, report.round.0, string.get(), hz, sigma, level],
        )?,
        (None, Some(mark)) => transaction.execute(
            "INSERT OR REPLACE INTO mark VALUES (?1, ?2)",
            params![string.get(), mark],
        )?,
        (None, None) => transaction.execute("DELETE FROM mark WHERE string = ?1", [string.get()])?,
    };
    Ok(())
}

/// The coordinator of `session`, or of any where none is named, has every report of it up to `sequence`.
pub(crate) fn forget(transaction: &Transaction<'_>, session: Option<SessionId>, sequence: Sequence) -> Result<()> {
    let sequence = sequence.0.cast_signed();
    transaction.execute(
        "DELETE FROM report WHERE sequence <= ?1 AND (?2 IS NULL OR session = ?2)",
        params![sequence, session.map(|session| session.0)],
    )?;
    transaction
        .execute("UPDATE station SET reported = max(reported, ?1)", [sequence])
        .map(drop)
}

/// Remembers where a coordinator was reached.
pub(crate) fn remember(transaction: &Transaction<'_>, coordinator: Fingerprint, address: SocketAddr) -> Result<()> {
    transaction
        .execute(
            "INSERT OR REPLACE INTO coordinator VALUES (?1, ?2, ?3)",
            params![
                coordinator.0,
                address.to_string(),
                unix(SystemTime::now()).as_secs() as i64
            ],
        )
        .map(drop)
}

/// Writes the agreement and the seat in its session down; readings of another session or round are dropped.
pub(crate) fn write_agreement(transaction: &Transaction<'_>, agreement: &Agreement, tenure: Tenure) -> Result<()> {
    transaction.execute(
        "DELETE FROM reading WHERE session <> ?1 OR round <> ?2",
        params![agreement.session.0, agreement.round.0],
    )?;
    let session = Value::Blob(agreement.session.0.to_vec());
    let [seat, epoch] = [tenure.seat, tenure.epoch].map(|number| Value::Integer(number.into()));
    transaction
        .execute(
            &format!(
                "INSERT OR REPLACE INTO agreement (only, session, seat, seat_epoch, {})
                 VALUES (1, ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
                agreement::COLUMNS
            ),
            params_from_iter([session, seat, epoch].into_iter().chain(agreement::values(agreement))),
        )
        .map(drop)
}

/// Everything that was written, put together again.
pub(crate) fn read(connection: &Connection) -> Result<Saved, Unreadable> {
    let (name, harp, reported): (Option<String>, Option<String>, i64) =
        connection.query_row("SELECT name, harp, reported FROM station", [], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        })?;
    let (agreed, tenure) = read_agreement(connection)?.unzip();
    let round = agreed.as_ref().map(|agreement| (agreement.session, agreement.round));
    Ok(Saved {
        name: name.map(|name| name.parse().map_err(meaningless)).transpose()?,
        known: all(
            connection,
            "SELECT * FROM coordinator ORDER BY reached_unix_s DESC",
            known,
        )?,
        journal: all(connection, "SELECT * FROM report ORDER BY sequence", report)?,
        reported: reported.cast_unsigned(),
        harp,
        // A harp that is tuned alone begins anew each time: nobody called a round.
        readings: all(connection, "SELECT * FROM reading ORDER BY id", |row| {
            let of = (SessionId(row.get("session")?), Round(row.get("round")?));
            Ok(if Some(of) == round { reading(row)? } else { None })
        })?
        .into_iter()
        .flatten()
        .collect(),
        marks: all(connection, "SELECT * FROM mark", |row| Ok((string(row)?, mark(row)?)))?
            .into_iter()
            .filter_map(|(string, mark)| Some((string, mark?)))
            .collect(),
        agreement: agreed,
        tenure: tenure.unwrap_or_default(),
    })
}

fn all<T>(
    connection: &Connection,
    query: &str,
    mut read: impl FnMut(&Row<'_>) -> Result<T, Unreadable>,
) -> Result<Vec<T>, Unreadable> {
    let mut statement = connection.prepare(query)?;
    let mut rows = statement.query([])?;
    let mut found = Vec::new();
    while let Some(row) = rows.next()? {
        found.push(read(row)?);
    }
    Ok(found)
}

fn known(row: &Row<'_>) -> Result<Known, Unreadable> {
    Ok(Known {
        coordinator: Fingerprint(row.get("fingerprint")?),
        address: Some(parsed(row, "address")?),
    })
}

fn report(row: &Row<'_>) -> Result<Report, Unreadable> {
    let heard = Duration::from_millis(row.get::<_, i64>("heard_unix_ms")?.max(0).cast_unsigned());
    let content = match reading(row)? {
        Some(reading) if row.get("unsure")? => Content::Reading(reading.judged(Verdict::Unsure)),
        Some(reading) => Content::Reading(reading),
        None => Content::Mark {
            string: string(row)?,
            mark: mark(row)?,
        },
    };
    Ok(Report {
        sequence: Sequence(row.get::<_, i64>("sequence")?.cast_unsigned()),
        session: SessionId(row.get("session")?),
        round: Round(row.get("round")?),
        tenure: tenure(row)?,
        // A clock that was set back since makes it young, never negative.
        age: unix(SystemTime::now()).saturating_sub(heard),
        content,
    })
}

fn reading(row: &Row<'_>) -> Result<Option<Reading>, Unreadable> {
    let (hz, sigma): (Option<f64>, Option<f64>) = (row.get("hz")?, row.get("sigma_cents")?);
    let (Some(hz), Some(sigma)) = (hz, sigma) else {
        return Ok(None);
    };
    let hz = Hz::new(hz).map_err(meaningless)?;
    let reading = Reading::new(string(row)?, hz, Cents(sigma)).map_err(meaningless)?;
    match row.get("level_dbfs")? {
        Some(level) => reading.at_level(level).map(Some).map_err(meaningless),
        None => Ok(Some(reading)),
    }
}

fn string(row: &Row<'_>) -> Result<StringNumber, Unreadable> {
    StringNumber::new(row.get("string")?).map_err(meaningless)
}

fn mark(row: &Row<'_>) -> Result<Option<Mark>, Unreadable> {
    let word: Option<String> = row.get("mark")?;
    word.map(|word| {
        [Mark::New, Mark::Missing]
            .into_iter()
            .find(|&mark| mark_word(mark) == word)
            .ok_or_else(|| meaningless(format!("“{word}” is no mark")))
    })
    .transpose()
}

const fn mark_word(mark: Mark) -> &'static str {
    match mark {
        Mark::New => "new",
        Mark::Missing => "missing",
    }
}

fn tenure(row: &Row<'_>) -> Result<Tenure> {
    Ok(Tenure {
        seat: row.get("seat")?,
        epoch: row.get("seat_epoch")?,
    })
}

fn read_agreement(connection: &Connection) -> Result<Option<(Agreement, Tenure)>, Unreadable> {
    let mut statement = connection.prepare("SELECT * FROM agreement")?;
    let mut rows = statement.query([])?;
    let Some(row) = rows.next()? else { return Ok(None) };
    let session = SessionId(row.get("session")?);
    Ok(Some((agreement::read(row, session)?, tenure(row)?)))
}

/// Time since 1970; zero for a clock that was never set.
fn unix(time: SystemTime) -> Duration {
    time.duration_since(UNIX_EPOCH).unwrap_or_default()
}
