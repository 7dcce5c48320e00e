"""The database's tables, its version, and how an older file becomes a newer one.

Every moment is kept by both hands: `_long_s` with the boot that it belongs to, and `_wall_s` with whether the
wall clock was sure.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from functools import cache
from pathlib import Path

__all__ = [
    "PRIMARY_CODE",
    "SCHEMA_VERSION",
    "NewerRecords",
    "NoRecords",
    "StoreError",
    "is_of_the_disk",
    "keep_before",
    "migrate",
    "refuse_newer",
    "refuse_other_tables",
    "tables",
    "transaction",
]


PRIMARY_CODE = 0xFF
"""Of the library's error codes: the part that names the kind."""

DISK = frozenset({
    sqlite3.SQLITE_PERM, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_NOMEM, sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_INTERRUPT, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_FULL, sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_PROTOCOL, sqlite3.SQLITE_NOLFS, sqlite3.SQLITE_AUTH,
})  # fmt: skip
"""What the library says of disk, folder and other processes; all else is said of the file."""


class StoreError(Exception):
    """The records cannot be used; the message is one line for people."""


class NewerRecords(StoreError):
    """Written by a later version of this program."""


class NoRecords(StoreError):
    """There is no such file."""


FIRST = """
CREATE TABLE name (records TEXT NOT NULL) STRICT;
INSERT INTO name VALUES (lower(hex(randomblob(8))));

CREATE TABLE boot (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    last_long_s REAL NOT NULL,
    sure_offset_s REAL
) STRICT;

CREATE TABLE run (
    id INTEGER PRIMARY KEY,
    when_s REAL NOT NULL,
    cause TEXT NOT NULL,
    purse TEXT NOT NULL,
    asked_s REAL NOT NULL,
    planned_s REAL NOT NULL,
    reason TEXT NOT NULL,
    day TEXT,
    window TEXT,
    n INTEGER,
    planned_at_s REAL,
    pulse INTEGER NOT NULL,
    pulses INTEGER NOT NULL,
    by TEXT,
    intent_boot INTEGER NOT NULL REFERENCES boot,
    intent_long_s REAL NOT NULL,
    intent_wall_s REAL NOT NULL,
    intent_is_sure INTEGER NOT NULL,
    granted_s REAL,
    started_boot INTEGER REFERENCES boot,
    started_long_s REAL,
    started_wall_s REAL,
    started_is_sure INTEGER,
    outcome TEXT,
    actual_s REAL,
    result_reason TEXT,
    ended_boot INTEGER REFERENCES boot,
    ended_long_s REAL,
    ended_wall_s REAL,
    ended_is_sure INTEGER
) STRICT;
CREATE INDEX run_when ON run (when_s);
CREATE INDEX run_open ON run (id) WHERE outcome IS NULL;

CREATE TABLE alert (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    severity TEXT NOT NULL,
    text TEXT NOT NULL,
    times INTEGER NOT NULL DEFAULT 1,
    raised_boot INTEGER NOT NULL REFERENCES boot,
    raised_long_s REAL NOT NULL,
    raised_wall_s REAL NOT NULL,
    raised_is_sure INTEGER NOT NULL,
    resolved_boot INTEGER REFERENCES boot,
    resolved_long_s REAL,
    resolved_wall_s REAL,
    resolved_is_sure INTEGER
) STRICT;
CREATE INDEX alert_raised ON alert (raised_wall_s);
CREATE UNIQUE INDEX alert_open ON alert (kind) WHERE resolved_wall_s IS NULL;

CREATE TABLE trip (
    id INTEGER PRIMARY KEY,
    trip TEXT NOT NULL,
    reason TEXT NOT NULL,
    is_locked INTEGER NOT NULL,
    began_boot INTEGER NOT NULL REFERENCES boot,
    began_long_s REAL NOT NULL,
    began_wall_s REAL NOT NULL,
    began_is_sure INTEGER NOT NULL,
    over_boot INTEGER REFERENCES boot,
    over_long_s REAL,
    over_wall_s REAL,
    over_is_sure INTEGER,
    by TEXT
) STRICT;
CREATE UNIQUE INDEX trip_open ON trip (trip) WHERE over_wall_s IS NULL;

CREATE TABLE deed (
    id INTEGER PRIMARY KEY,
    what TEXT NOT NULL,
    text TEXT NOT NULL,
    by TEXT,
    until_wall_s REAL,
    seconds REAL,
    boot INTEGER NOT NULL REFERENCES boot,
    long_s REAL NOT NULL,
    wall_s REAL NOT NULL,
    is_sure INTEGER NOT NULL
) STRICT;
CREATE INDEX deed_when ON deed (wall_s);
CREATE INDEX deed_what ON deed (what, id);

CREATE TABLE outbox (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    what TEXT NOT NULL CHECK (what IN ('run', 'alert', 'resolved')),
    ref INTEGER NOT NULL,
    wall_s REAL NOT NULL
) STRICT;

CREATE TABLE sensor (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL,
    unit TEXT NOT NULL,
    UNIQUE (name, unit)
) STRICT;

CREATE TABLE sample (
    sensor INTEGER NOT NULL REFERENCES sensor,
    minute INTEGER NOT NULL,
    mean_milli INTEGER NOT NULL,
    least_milli INTEGER NOT NULL,
    most_milli INTEGER NOT NULL,
    PRIMARY KEY (sensor, minute)
) STRICT, WITHOUT ROWID;
"""

SECOND = """
CREATE TABLE amount (
    deed INTEGER NOT NULL REFERENCES deed,
    name TEXT NOT NULL,
    value REAL NOT NULL,
    unit TEXT NOT NULL,
    PRIMARY KEY (deed, name)
) STRICT, WITHOUT ROWID;

ALTER TABLE sample RENAME TO old_sample;
CREATE TABLE sample (
    minute INTEGER NOT NULL,
    sensor INTEGER NOT NULL REFERENCES sensor,
    mean_milli INTEGER NOT NULL,
    least_milli INTEGER NOT NULL,
    most_milli INTEGER NOT NULL,
    PRIMARY KEY (minute, sensor)
) STRICT, WITHOUT ROWID;
INSERT INTO sample SELECT minute, sensor, mean_milli, least_milli, most_milli FROM old_sample ORDER BY 1, 2;
DROP TABLE old_sample;

CREATE TABLE sample_10_min (
    ten INTEGER NOT NULL,
    sensor INTEGER NOT NULL REFERENCES sensor,
    minutes INTEGER NOT NULL,
    mean_milli INTEGER NOT NULL,
    least_milli INTEGER NOT NULL,
    most_milli INTEGER NOT NULL,
    PRIMARY KEY (ten, sensor)
) STRICT, WITHOUT ROWID;
INSERT INTO sample_10_min
    SELECT minute / 10, sensor, count(*), round(avg(mean_milli)), min(least_milli), max(most_milli)
    FROM sample GROUP BY 1, 2;

CREATE TABLE sample_day (
    day INTEGER NOT NULL,
    sensor INTEGER NOT NULL REFERENCES sensor,
    minutes INTEGER NOT NULL,
    mean_milli INTEGER NOT NULL,
    least_milli INTEGER NOT NULL,
    most_milli INTEGER NOT NULL,
    PRIMARY KEY (day, sensor)
) STRICT, WITHOUT ROWID;
INSERT INTO sample_day
    SELECT ten / 144, sensor, sum(minutes), round(1.0 * sum(mean_milli * minutes) / sum(minutes)),
        min(least_milli), max(most_milli)
    FROM sample_10_min GROUP BY 1, 2;

CREATE INDEX trip_began ON trip (began_wall_s);
CREATE INDEX run_outcome ON run (outcome, when_s)
"""

THIRD = """
ALTER TABLE alert ADD COLUMN told_boot INTEGER REFERENCES boot;
ALTER TABLE alert ADD COLUMN told_long_s REAL;
ALTER TABLE alert ADD COLUMN reminders INTEGER NOT NULL DEFAULT 0;
ALTER TABLE alert ADD COLUMN person INTEGER NOT NULL DEFAULT 0;
ALTER TABLE alert ADD COLUMN acknowledged_by TEXT;
ALTER TABLE outbox RENAME TO old_outbox;
CREATE TABLE outbox (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    what TEXT NOT NULL CHECK (what IN ('run', 'alert', 'reminder', 'reworded', 'acknowledged', 'resolved')),
    ref INTEGER NOT NULL,
    wall_s REAL NOT NULL
) STRICT;
INSERT INTO outbox SELECT id, what, ref, wall_s FROM old_outbox ORDER BY id;
DROP TABLE old_outbox
"""

FOURTH = """
ALTER TABLE trip ADD COLUMN input TEXT NOT NULL DEFAULT '';
DROP INDEX trip_open;
CREATE UNIQUE INDEX trip_open ON trip (trip, input) WHERE over_wall_s IS NULL
"""

FIFTH = """
ALTER TABLE run ADD COLUMN is_full INTEGER NOT NULL DEFAULT 0;
UPDATE run SET is_full = 1 WHERE outcome = 'done' AND pulse = pulses AND purse <> 'soak'
"""

LEDGER = """
CREATE TABLE sump (
    id INTEGER PRIMARY KEY,
    boot INTEGER NOT NULL REFERENCES boot,
    long_s REAL NOT NULL,
    wall_s REAL NOT NULL,
    is_sure INTEGER NOT NULL,
    litres REAL NOT NULL,
    ec REAL NOT NULL,
    tank_l REAL NOT NULL,
    added_l REAL NOT NULL,
    weighed_l REAL,
    weighed_ago_s REAL NOT NULL,
    renewed_ago_s REAL,
    first_ec REAL,
    last_ec REAL,
    is_read INTEGER NOT NULL
) STRICT;
CREATE INDEX sump_when ON sump (wall_s)
"""

PRESENT = """
CREATE TABLE present (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    boot INTEGER NOT NULL REFERENCES boot,
    long_s REAL NOT NULL,
    wall_s REAL NOT NULL,
    is_sure INTEGER NOT NULL,
    told TEXT NOT NULL
) STRICT
"""

TELLINGS = """
ALTER TABLE alert ADD COLUMN about TEXT;
ALTER TABLE alert ADD COLUMN says_refill INTEGER;
CREATE TABLE telling (
    id INTEGER PRIMARY KEY,
    alert INTEGER NOT NULL REFERENCES alert,
    kind TEXT NOT NULL,
    what TEXT NOT NULL CHECK (what IN ('alert', 'reminder', 'reworded')),
    severity TEXT NOT NULL,
    text TEXT NOT NULL,
    wall_s REAL NOT NULL
) STRICT;
CREATE INDEX telling_when ON telling (wall_s);
CREATE INDEX telling_of ON telling (alert);
INSERT INTO telling (alert, kind, what, severity, text, wall_s)
    SELECT id, kind, 'alert', severity, text, raised_wall_s
        + CASE WHEN told_boot = raised_boot AND acknowledged_by IS NULL
            THEN max(0, told_long_s - raised_long_s) ELSE 0 END
    FROM alert ORDER BY id;
CREATE TABLE wear (
    id INTEGER PRIMARY KEY CHECK (id = 1),
    flows TEXT NOT NULL,
    means TEXT NOT NULL,
    dried_s TEXT NOT NULL,
    is_wet INTEGER NOT NULL
) STRICT
"""
"""Of an alert of before only the last text is known. It stands at the time at which it was told, if known."""

MIGRATIONS: tuple[str, ...] = (FIRST, SECOND, THIRD, FOURTH, FIFTH, LEDGER, PRESENT, TELLINGS)
"""Each takes the file from the version of its index to the next; one that was released never changes."""

SCHEMA_VERSION = len(MIGRATIONS)


@contextmanager
def transaction(db: sqlite3.Connection) -> Iterator[None]:
    """All or nothing. The connection is in autocommit: its own `with` would not roll back."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def refuse_newer(db: sqlite3.Connection, path: Path) -> int:
    """The file's version. Raises NewerRecords for one that this program does not know."""
    version = int(db.execute("PRAGMA user_version").fetchone()[0])
    if version > SCHEMA_VERSION:
        raise NewerRecords(
            f"{path}: written by a newer version (schema {version}, this one knows {SCHEMA_VERSION});"
            " update waaler, or move the file away"
        )
    return version


def keep_before(db: sqlite3.Connection, path: Path) -> None:
    """A copy of an older file beside it, before it is changed: what the version before could go on with.

    Raises sqlite3.Error where there is no room for one; then the file is left as it is.
    """
    version = refuse_newer(db, path)
    copy = path.with_name(f"{path.name}.schema-{version}")
    if 0 < version < SCHEMA_VERSION and not copy.exists():
        db.execute("VACUUM INTO ?", (str(copy),))


def migrate(db: sqlite3.Connection, path: Path, migrations: tuple[str, ...] = MIGRATIONS) -> None:
    """Brings the file to the present version, one transaction a step."""
    for number in range(refuse_newer(db, path), len(migrations)):
        with transaction(db):
            for statement in migrations[number].split(";\n"):
                db.execute(statement)
            db.execute(f"PRAGMA user_version = {number + 1}")


def is_of_the_disk(problem: BaseException) -> bool:
    """Whether it may work later with the same file: the disk, the folder or another process is in the way."""
    if isinstance(problem, sqlite3.Error):
        code = getattr(problem, "sqlite_errorcode", 0)
        return code & PRIMARY_CODE in DISK and code != sqlite3.SQLITE_IOERR_SHORT_READ  # that is a file cut off
    return isinstance(problem, OSError)


def refuse_other_tables(db: sqlite3.Connection) -> None:
    """Raises sqlite3.DatabaseError where a table of this version is missing, or has other columns."""
    for table, columns in tables().items():
        if _columns(db, table) != columns:
            raise sqlite3.DatabaseError(f"the table {table} is not that of this version")


@cache
def tables() -> dict[str, tuple[str, ...]]:
    """The tables of this version and their columns."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as db:
        migrate(db, Path())
        names = db.execute("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%'")
        return {name: _columns(db, name) for (name,) in names.fetchall()}


def _columns(db: sqlite3.Connection, table: str) -> tuple[str, ...]:
    return tuple(row[1] for row in db.execute(f"PRAGMA table_info({table})"))
