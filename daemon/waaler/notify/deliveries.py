"""How far each channel has got with the messages that wait in the records: the notifier's own small file.

The records are never written from here; only their writer does that.
"""

import sqlite3
from pathlib import Path
from typing import Any

import structlog

__all__ = ["Deliveries"]

log = structlog.get_logger()

TABLES = (
    "CREATE TABLE IF NOT EXISTS place (channel TEXT, records TEXT, number INTEGER NOT NULL,"
    " PRIMARY KEY (channel, records)) STRICT, WITHOUT ROWID",
    "CREATE TABLE IF NOT EXISTS parked (channel TEXT, records TEXT, number INTEGER, reason TEXT NOT NULL,"
    " PRIMARY KEY (channel, records, number)) STRICT, WITHOUT ROWID",
    "CREATE TABLE IF NOT EXISTS held (channel TEXT, records TEXT, number INTEGER,"
    " PRIMARY KEY (channel, records, number)) STRICT, WITHOUT ROWID",
    "CREATE TABLE IF NOT EXISTS command (id TEXT PRIMARY KEY, at_s REAL NOT NULL) STRICT, WITHOUT ROWID",
    "CREATE TABLE IF NOT EXISTS worked (channel TEXT PRIMARY KEY) STRICT, WITHOUT ROWID",
    "CREATE TABLE IF NOT EXISTS heard (channel TEXT, kind TEXT, since_s REAL, severity TEXT NOT NULL,"
    " text TEXT NOT NULL, is_over INTEGER NOT NULL, PRIMARY KEY (channel, kind, since_s)) STRICT, WITHOUT ROWID",
    "CREATE TABLE IF NOT EXISTS said (channel TEXT PRIMARY KEY, id TEXT NOT NULL) STRICT, WITHOUT ROWID",
)
MOST_PARKED = 1000


class Deliveries:
    """channel: `mqtt`. Losing the last entries at a power cut only repeats messages, which carry ids."""

    def __init__(self, path: Path, channel: str) -> None:
        self._channel, self._path = channel, path
        self._db = _open(path)
        self._has_worked = False
        self._places: dict[str, int] = {}

    def place(self, records: str) -> int | None:
        """The number up to which everything was told; None for records not followed before."""
        if records in self._places:
            return self._places[records]
        rows = self._read("SELECT number FROM place WHERE channel = ? AND records = ?", self._channel, records)
        return rows[0][0] if rows and isinstance(rows[0][0], int) else None

    def told(self, records: str, number: int) -> None:
        """Everything up to this number was told or parked; where the disk takes nothing, memory knows."""
        self._places[records] = number
        self._write("INSERT OR REPLACE INTO place VALUES (?, ?, ?)", self._channel, records, number)

    def park(self, records: str, number: int, reason: str) -> None:
        """A message that is refused is not sent again."""
        self._write("INSERT OR REPLACE INTO parked VALUES (?, ?, ?, ?)", self._channel, records, number, reason)
        self._write(
            "DELETE FROM parked WHERE channel = ? AND records = ? AND number <="
            " (SELECT number FROM parked WHERE channel = ? AND records = ? ORDER BY number DESC LIMIT 1 OFFSET ?)",
            *(self._channel, records) * 2,
            MOST_PARKED,
        )

    def parked(self) -> list[tuple[int, str]]:
        """Number and reason of each, oldest first."""
        query = "SELECT number, reason FROM parked WHERE channel = ? ORDER BY records, number"
        rows = self._read(query, self._channel)
        return [(number, str(reason)) for number, reason in rows if isinstance(number, int)]

    def hold(self, records: str, number: int) -> None:
        """A message waits for the end of the quiet hours, and no other waits for it."""
        self._write("INSERT OR REPLACE INTO held VALUES (?, ?, ?)", self._channel, records, number)

    def held(self, records: str) -> list[int]:
        """Oldest first."""
        query = "SELECT number FROM held WHERE channel = ? AND records = ? ORDER BY number"
        return [row[0] for row in self._read(query, self._channel, records) if isinstance(row[0], int)]

    def release(self, records: str, number: int) -> None:
        self._write(
            "DELETE FROM held WHERE channel = ? AND records = ? AND number = ?", self._channel, records, number
        )

    def heard(self) -> list[tuple[str, float, str, str, int]]:
        """Kind, since when, severity, text and whether it is over: of alerts told without the records."""
        query = "SELECT kind, since_s, severity, text, is_over FROM heard WHERE channel = ?"
        return [row for row in self._read(query, self._channel) if isinstance(row[1], float)]

    def hear(self, kind: str, since_s: float, severity: str, text: str, is_over: bool) -> None:
        values = (self._channel, kind, since_s, severity, text, int(is_over))
        self._write("INSERT OR REPLACE INTO heard VALUES (?, ?, ?, ?, ?, ?)", *values)

    def forget(self, kind: str, since_s: float) -> None:
        self._write(
            "DELETE FROM heard WHERE channel = ? AND kind = ? AND since_s = ?", self._channel, kind, since_s
        )

    def was_said(self, what: str) -> bool:
        """Whether this was the last thing said that stands in no outbox."""
        rows = self._read("SELECT id FROM said WHERE channel = ?", self._channel)
        return bool(rows) and rows[0][0] == what

    def said(self, what: str) -> None:
        self._write("INSERT OR REPLACE INTO said VALUES (?, ?)", self._channel, what)

    def has_worked(self) -> bool:
        """Whether a message ever got through."""
        if not self._has_worked:
            self._has_worked = bool(self._read("SELECT 1 FROM worked WHERE channel = ?", self._channel))
        return self._has_worked

    def worked(self) -> None:
        """A message got through."""
        if not self.has_worked():
            self._has_worked = True
            self._write("INSERT OR IGNORE INTO worked VALUES (?)", self._channel)

    def is_first(self, command: str, now_s: float, keep_s: float) -> bool:
        """Notes the id of an order; whether it is new. Where it cannot be noted it counts as used."""
        try:
            self._db.execute("DELETE FROM command WHERE at_s < ? OR at_s > ?", (now_s - keep_s, now_s + keep_s))
            done = self._db.execute("INSERT OR IGNORE INTO command VALUES (?, ?)", (command, now_s))
        except (sqlite3.Error, UnicodeError) as problem:
            log.warning("command_not_noted", problem=str(problem))
            return False
        return done.rowcount == 1

    def close(self) -> None:
        self._db.close()

    def _read(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        """Nothing where the file is damaged; it is then begun anew, since its loss only repeats messages."""
        try:
            return self._db.execute(query, values).fetchall()
        except sqlite3.OperationalError as problem:
            log.warning("deliveries_not_read", problem=str(problem))
        except (sqlite3.DatabaseError, UnicodeError) as problem:
            log.warning("deliveries_begun_anew", problem=type(problem).__name__)
            self._db.close()
            self._path.unlink(missing_ok=True)
            self._db = _open(self._path)
        return []

    def _write(self, statement: str, *values: object) -> None:
        """A full disk keeps no alert from being told."""
        try:
            self._db.execute(statement, values)
        except (sqlite3.Error, UnicodeError) as problem:
            log.warning("delivery_not_noted", problem=str(problem))


def _open(path: Path) -> sqlite3.Connection:
    """A damaged file is made anew; where the disk takes none, memory has to do."""
    try:
        return _prepared(path)
    except sqlite3.OperationalError as problem:
        log.warning("deliveries_not_kept", problem=str(problem))
        return _prepared(":memory:")
    except (sqlite3.DatabaseError, UnicodeError):
        path.unlink()
        return _prepared(path)


def _prepared(path: Path | str) -> sqlite3.Connection:
    db = sqlite3.connect(path, isolation_level=None, timeout=2.0)
    try:
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = NORMAL")
        for table in TABLES:
            db.execute(table)
    except BaseException:
        db.close()
        raise
    return db
