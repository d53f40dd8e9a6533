//! The layout of the record's file, step by step; a step that was shipped is never edited.

/// The steps, oldest first; the file's `user_version` counts those that it has seen.
pub(crate) const STEPS: &[&str] = &[
    "
    CREATE TABLE harp (
        id INTEGER PRIMARY KEY,
        -- Tells this harp from others on every laptop.
        tag TEXT NOT NULL UNIQUE,
        name TEXT NOT NULL UNIQUE,
        kind TEXT NOT NULL,
        -- The strings from the top, as JSON.
        strings TEXT NOT NULL,
        pins TEXT NOT NULL,
        player TEXT NOT NULL,
        -- Days since 1970.
        made INTEGER
    ) STRICT;
    CREATE TABLE tuning (
        id INTEGER PRIMARY KEY,
        harp INTEGER NOT NULL REFERENCES harp (id),
        begun_unix_s INTEGER NOT NULL,
        place TEXT NOT NULL,
        a4_hz REAL NOT NULL,
        -- The word of the temperament, or twelve offsets in cents from C to B.
        temperament TEXT NOT NULL,
        setting TEXT NOT NULL,
        tolerance_cents TEXT NOT NULL,
        UNIQUE (harp, begun_unix_s)
    ) STRICT;
    -- One string's readings lie beside each other, since its history is asked for as a whole.
    CREATE TABLE reading (
        harp INTEGER NOT NULL,
        string INTEGER NOT NULL,
        at_unix_ms INTEGER NOT NULL,
        position INTEGER NOT NULL,
        tuning INTEGER NOT NULL REFERENCES tuning (id),
        hz REAL NOT NULL,
        sigma_cents REAL NOT NULL,
        -- JSON; null where only the pitch was measured.
        timbre TEXT,
        PRIMARY KEY (harp, string, at_unix_ms, position)
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE entry (
        harp INTEGER NOT NULL REFERENCES harp (id),
        -- fitting, event or concert.
        kind TEXT NOT NULL,
        -- What makes it this entry and no other, as JSON.
        content TEXT NOT NULL,
        on_day INTEGER NOT NULL,
        -- Taken out entries stay, so that another laptop's copy does not bring them back.
        removed INTEGER NOT NULL,
        PRIMARY KEY (harp, kind, content)
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE climate (
        harp INTEGER NOT NULL REFERENCES harp (id),
        at_unix_s INTEGER NOT NULL,
        temperature_c REAL,
        humidity_percent REAL,
        PRIMARY KEY (harp, at_unix_s)
    ) STRICT, WITHOUT ROWID;
    -- What was edited, to be taken back.
    CREATE TABLE edit (
        id INTEGER PRIMARY KEY,
        harp INTEGER NOT NULL,
        kind TEXT NOT NULL,
        content TEXT NOT NULL,
        -- What `removed` was before; null when there was no such entry.
        before INTEGER,
        undone INTEGER NOT NULL DEFAULT 0
    ) STRICT;
",
    // The shelf's entries have kinds that a program of before does not know.
    // One string's history is read from this index alone, without what its plucks sounded like.
    "
    CREATE INDEX history ON reading (harp, string, at_unix_ms, tuning, hz, sigma_cents) WHERE position = 0;
    ",
    // Days before a concert in which nothing unbroken is replaced.
    "
    ALTER TABLE harp ADD COLUMN concert_days INTEGER NOT NULL DEFAULT 10;
    ",
    // Letters whose open strings make allowance for their discs or levers, as in 'C G'; empty for none.
    "
    ALTER TABLE harp ADD COLUMN allowed TEXT NOT NULL DEFAULT '';
    ",
    // A string that broke is an event that a program of before does not know.
    "
    -- Nothing is laid out otherwise.
    ",
];
