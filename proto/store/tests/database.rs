//! What a database promises: damage is put aside and never overwritten, newer layouts are refused, writes are grouped.

use std::sync::mpsc::channel;

use consort_store::database::reader;
use consort_store::{Database, DatabaseError, Disk, Folder, Unreadable, Work, Writer, WriterError};
use rusqlite::Connection;
use tempfile::TempDir;

const NAME: &str = "notes.sqlite";
const FIRST: &str = "CREATE TABLE note (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE) STRICT";
const SECOND: &str = "ALTER TABLE note ADD COLUMN hz REAL NOT NULL DEFAULT 440";

/// A data folder in a place that goes with the test.
fn folder(test: &str) -> (TempDir, Folder) {
    let place = TempDir::with_prefix(format!("consort-database-{test}-")).expect("a place");
    let folder = Folder::open(&place.path().join("data")).expect("folder");
    (place, folder)
}

fn count(connection: &Connection) -> i64 {
    connection
        .query_row("SELECT count(*) FROM note", [], |row| row.get(0))
        .expect("count")
}

/// Opens the file and writes `rows` notes, enough of them to fill several pages.
fn fill(folder: &Folder, rows: usize) {
    let database = Database::open(folder, NAME, &[FIRST]).expect("open");
    for row in 0..rows {
        let text = format!("{row:0>200}");
        database
            .connection
            .execute("INSERT INTO note (text) VALUES (?1)", [text])
            .expect("insert");
    }
}

#[test]
fn what_was_written_is_there_again_and_later_steps_are_added() {
    let (_place, folder) = folder("again");
    fill(&folder, 3);
    let database = Database::open(&folder, NAME, &[FIRST, SECOND]).expect("open");
    assert_eq!(database.put_aside, None);
    assert_eq!(count(&database.connection), 3);
    let hz: f64 = database
        .connection
        .query_row("SELECT max(hz) FROM note", [], |row| row.get(0))
        .expect("hz");
    assert_eq!(hz, 440.0);
}

#[test]
fn each_commit_waits_for_the_disk() {
    let (_place, folder) = folder("settings");
    let database = Database::open(&folder, NAME, &[FIRST]).expect("open");
    let pragma = |name: &str| -> String {
        database
            .connection
            .query_row(&format!("SELECT CAST({name} AS TEXT) FROM pragma_{name}"), [], |row| {
                row.get(0)
            })
            .expect(name)
    };
    assert_eq!(pragma("journal_mode"), "wal");
    assert_eq!(pragma("synchronous"), "2");
    assert_eq!(pragma("foreign_keys"), "1");
}

#[test]
fn a_damaged_file_is_put_aside_unchanged() {
    type Damage = (&'static str, fn(&mut Vec<u8>));
    let damages: [Damage; 5] = [
        ("header", |bytes| bytes[..16].copy_from_slice(b"not a database!!")),
        ("cut", |bytes| bytes.truncate(5_000)),
        ("empty", Vec::clear),
        ("overwritten", |bytes| bytes[4_096..12_288].fill(0x5a)),
        ("other file", |bytes| *bytes = b"a shopping list".to_vec()),
    ];
    for (name, damage) in damages {
        let (_place, folder) = folder("damage");
        fill(&folder, 100);
        let mut bytes = std::fs::read(folder.file(NAME)).expect("read");
        damage(&mut bytes);
        std::fs::write(folder.file(NAME), &bytes).expect("damage");
        let database = Database::open(&folder, NAME, &[FIRST]).expect(name);
        let aside = database.put_aside.expect(name);
        assert_eq!(std::fs::read(&aside).expect("aside"), bytes, "{name}");
        assert_eq!(count(&database.connection), 0, "{name}");
    }
}

#[test]
fn content_that_means_nothing_is_put_aside_like_damage() {
    let (_place, folder) = folder("meaningless");
    fill(&folder, 2);
    let database = Database::open_and_read(&folder, NAME, &[FIRST], |connection| match count(connection) {
        0 => Ok("fresh"),
        notes => Err(Unreadable::Meaningless(format!("{notes} notes"))),
    })
    .expect("open");
    assert_eq!(database.read, "fresh");
    assert!(database.put_aside.is_some_and(|aside| aside.exists()));
}

#[test]
fn a_file_of_another_program_is_put_aside_and_nothing_is_written_into_it() {
    for (what, tables) in [
        (
            "no layout of ours",
            "CREATE TABLE song (title TEXT); INSERT INTO song VALUES ('Alder')",
        ),
        (
            "a layout by chance",
            "CREATE TABLE song (title TEXT); PRAGMA user_version = 1",
        ),
    ] {
        let (_place, folder) = folder("foreign");
        let other = Connection::open(folder.file(NAME)).expect("another program");
        other.execute_batch(tables).expect(what);
        drop(other);
        let before = std::fs::read(folder.file(NAME)).expect("read");
        let look = |connection: &Connection| {
            Ok(connection.query_row("SELECT count(*) FROM note", [], |row| row.get::<_, i64>(0))?)
        };
        let database = Database::open_and_read(&folder, NAME, &[FIRST], look).expect(what);
        let aside = database.put_aside.expect(what);
        assert_eq!(database.read, 0, "{what}");
        // Its journal mode may have been looked at; what it holds is as it was.
        let kept = Connection::open(&aside).expect(what);
        let songs: i64 = kept
            .query_row("SELECT count(*) FROM sqlite_master", [], |row| row.get(0))
            .expect(what);
        assert_eq!(
            (songs, std::fs::read(&aside).expect("aside").len()),
            (1, before.len()),
            "{what}"
        );
    }
}

#[test]
fn a_newer_layout_is_read_and_never_written() {
    let (_place, folder) = folder("newer");
    fill(&folder, 3);
    drop(Database::open(&folder, NAME, &[FIRST, SECOND]).expect("open"));
    let before = std::fs::read(folder.file(NAME)).expect("read");
    let database =
        Database::open_and_read(&folder, NAME, &[FIRST], |connection| Ok(count(connection))).expect("only read");
    assert_eq!(database.read, 3);
    let newer = database.newer.clone().expect("a newer program's");
    assert_eq!((newer.found, newer.known), (2, 1));
    assert!(newer.to_string().contains("update this program"), "{newer}");
    let written = database.connection.execute("DELETE FROM note", []);
    assert!(written.is_err());
    let writer = Writer::on(database.connection, database.newer).expect("writer");
    let refused = writer.write(|_| Ok(()), |_| unreachable!("nothing is written"));
    assert_eq!(refused, Err(WriterError::OnlyRead(newer)));
    drop(writer);
    assert_eq!(std::fs::read(folder.file(NAME)).expect("read"), before);
}

#[test]
fn a_newer_layout_that_cannot_be_read_is_refused_and_left_alone() {
    let (_place, folder) = folder("newest");
    drop(Database::open(&folder, NAME, &[FIRST, "DROP TABLE note"]).expect("open"));
    let before = std::fs::read(folder.file(NAME)).expect("read");
    let look = |connection: &Connection| {
        let notes = connection.query_row("SELECT count(*) FROM note", [], |row| row.get::<_, i64>(0))?;
        Ok(notes)
    };
    let refused = Database::open_and_read(&folder, NAME, &[FIRST], look).expect_err("newer");
    assert!(matches!(refused, DatabaseError::Newer(_)), "{refused}");
    assert_eq!(std::fs::read(folder.file(NAME)).expect("read"), before);
}

/// A disk that refuses some commits: before anything of them is written, or after all of it is, as a power cut or a broken
/// cable would.
struct Failing {
    disk: Connection,
    commits: usize,
    fails: fn(usize) -> Option<When>,
}

#[derive(Clone, Copy)]
enum When {
    Before,
    After,
}

impl Disk for Failing {
    fn commit(&mut self, group: Vec<Work>) -> rusqlite::Result<()> {
        self.commits += 1;
        let refusal = || rusqlite::Error::InvalidParameterName("the disk refuses".to_owned());
        match (self.fails)(self.commits) {
            None => self.disk.commit(group),
            Some(When::Before) => Err(refusal()),
            Some(When::After) => self.disk.commit(group).and(Err(refusal())),
        }
    }
}

#[test]
fn whatever_commit_fails_nothing_is_said_to_be_safe_that_is_not() {
    type Fails = fn(usize) -> Option<When>;
    let table: [(&str, Fails); 4] = [
        ("first", |commit| (commit == 1).then_some(When::Before)),
        ("fifth", |commit| (commit == 5).then_some(When::Before)),
        ("said to be refused, and written", |commit| {
            (commit == 3).then_some(When::After)
        }),
        ("every other", |commit| commit.is_multiple_of(2).then_some(When::Before)),
    ];
    for (what, fails) in table {
        let (_place, folder) = folder("failing");
        let disk = Database::open(&folder, NAME, &[FIRST]).expect("open").connection;
        let writer = Writer::start(Failing {
            disk,
            commits: 0,
            fails,
        })
        .expect("start");
        let (report, reports) = channel();
        let mut safe = Vec::new();
        for note in 0..10 {
            let report = report.clone();
            let write = move |transaction: &rusqlite::Transaction<'_>| {
                transaction.execute("INSERT INTO note (text) VALUES (?1)", [note.to_string()])?;
                Ok(())
            };
            writer
                .write(write, move |written| report.send(written).expect("send"))
                .expect("hand over");
            if reports.recv().expect("report").is_ok() {
                safe.push(note.to_string());
            }
        }
        drop(writer);
        let there = reader(&folder, NAME).expect("reader");
        for note in &safe {
            let found = there.query_row("SELECT count(*) FROM note WHERE text = ?1", [note], |row| {
                row.get::<_, i64>(0)
            });
            assert_eq!(found, Ok(1), "{what}: {note}");
        }
        assert!((5..10).contains(&safe.len()), "{what}: {safe:?}");
    }
}

#[test]
fn work_is_reported_once_another_connection_can_see_it() {
    let (_place, folder) = folder("writer");
    let database = Database::open(&folder, NAME, &[FIRST]).expect("open");
    let writer = Writer::start(database.connection).expect("start");
    let reader = reader(&folder, NAME).expect("reader");
    let (report, reports) = channel();
    for note in 0..500 {
        let report = report.clone();
        writer
            .write(
                move |transaction| {
                    transaction.execute("INSERT INTO note (text) VALUES (?1)", [note.to_string()])?;
                    Ok(())
                },
                move |written| report.send((note, written)).expect("send"),
            )
            .expect("hand over");
    }
    for expected in 0..500 {
        let (note, written) = reports.recv().expect("report");
        assert_eq!((note, written), (expected, Ok(())));
        assert!(count(&reader) > expected);
    }
}

#[test]
fn refused_work_leaves_no_trace_and_the_next_goes_through() {
    let (_place, folder) = folder("refused");
    let database = Database::open(&folder, NAME, &[FIRST]).expect("open");
    let writer = Writer::start(database.connection).expect("start");
    let (report, reports) = channel();
    let try_to_write = |texts: [&'static str; 2]| {
        let report = report.clone();
        writer
            .write(
                move |transaction| {
                    for text in texts {
                        transaction.execute("INSERT INTO note (text) VALUES (?1)", [text])?;
                    }
                    Ok(())
                },
                move |written| report.send(written).expect("send"),
            )
            .expect("hand over");
        reports.recv().expect("report")
    };
    assert!(matches!(try_to_write(["twice", "twice"]), Err(WriterError::Refused(_))));
    assert_eq!(try_to_write(["once", "more"]), Ok(()));
    drop(writer);
    assert_eq!(count(&reader(&folder, NAME).expect("reader")), 2);
}

#[test]
fn dropping_the_writer_waits_for_what_was_handed_over() {
    let (_place, folder) = folder("drop");
    let database = Database::open(&folder, NAME, &[FIRST]).expect("open");
    let writer = Writer::start(database.connection).expect("start");
    for note in 0..1_000 {
        writer
            .write(
                move |transaction| {
                    transaction.execute("INSERT INTO note (text) VALUES (?1)", [note.to_string()])?;
                    Ok(())
                },
                |written| assert_eq!(written, Ok(())),
            )
            .expect("hand over");
    }
    drop(writer);
    assert_eq!(count(&reader(&folder, NAME).expect("reader")), 1_000);
}
