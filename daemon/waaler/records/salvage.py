"""What can be read of damaged records, carried over into new ones."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from waaler.records.careful import BROKEN, text_of
from waaler.records.schema import tables, transaction

__all__ = ["salvage"]

TENS = (
    "INSERT OR IGNORE INTO sample_10_min SELECT minute / 10, sensor, count(*), round(avg(mean_milli)),"
    " min(least_milli), max(most_milli) FROM sample GROUP BY 1, 2"
)
DAYS = (
    "INSERT OR IGNORE INTO sample_day SELECT ten / 144, sensor, sum(minutes),"
    " round(1.0 * sum(mean_milli * minutes) / sum(minutes)), min(least_milli), max(most_milli)"
    " FROM sample_10_min GROUP BY 1, 2 HAVING sum(minutes) > 0"
)
"""Those that were lost, from what they were made of."""

LEFT_OUT = frozenset({"name", "outbox"})
"""New records have a name of their own: whoever follows them begins anew, and misses no message of theirs."""


def salvage(source: Path, db: sqlite3.Connection) -> int:
    """Copies every row that can be read and that the tables take; how many.

    Alerts that stand are told again: that they were is not known. Raises sqlite3.Error of the new records.
    """
    kept = 0
    if not source.is_file():
        return 0
    try:
        old = sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)
    except BROKEN:
        return 0
    old.text_factory = text_of
    db.execute("PRAGMA foreign_keys = OFF")
    with closing(old), transaction(db):
        for table, columns in tables().items():
            if table not in LEFT_OUT:
                kept += _copy(old, db, table, columns)
        for summed_up in (TENS, DAYS):
            db.execute(summed_up)
        db.execute(
            "INSERT INTO outbox (what, ref, wall_s)"
            " SELECT 'alert', id, raised_wall_s FROM alert WHERE resolved_wall_s IS NULL"
        )
    db.execute("PRAGMA foreign_keys = ON")
    return kept


def _copy(old: sqlite3.Connection, db: sqlite3.Connection, table: str, columns: tuple[str, ...]) -> int:
    put = f"INSERT OR IGNORE INTO {table} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
    kept = 0
    for row in _rows(old, table, columns):
        try:
            kept += db.execute(put, row).rowcount
        except (sqlite3.IntegrityError, sqlite3.DataError, OverflowError):
            continue  # a value that the table does not take
    return kept


def _rows(old: sqlite3.Connection, table: str, columns: tuple[str, ...]) -> Iterator[tuple[Any, ...]]:
    """From both ends up to what is damaged; the rows between two damaged pages stay behind."""
    key = columns[0]
    for way in ("ASC", "DESC"):
        try:
            yield from old.execute(f"SELECT {', '.join(columns)} FROM {table} NOT INDEXED ORDER BY {key} {way}")
            return
        except BROKEN:
            continue
