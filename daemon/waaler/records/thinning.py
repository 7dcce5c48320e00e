"""Forgetting by age: minutes for a month, ten minutes for a year, days for ever.

Ten minutes and days are written with the minutes, so that forgetting is deleting: in small steps, and the freed
pages go back to the disk a few at a time.
"""

import sqlite3

from waaler.records.schema import transaction

__all__ = ["KEEP_MINUTES_S", "KEEP_TENS_S", "thin"]

KEEP_MINUTES_S = 30 * 86_400.0
KEEP_TENS_S = 366 * 86_400.0
ROWS_AT_ONCE = 1000
"""One step: on a desktop about a millisecond; the daemon's next write waits for it on a card. Common practice."""

PAGES_AT_ONCE = 64
SLACK = 360
"""Minutes, or tens of them: forgetting a few rows every ten minutes would write the card's pages over and over."""


def thin(db: sqlite3.Connection, now_s: float) -> bool:
    """One step by a wall clock that is sure; whether more is left."""
    with transaction(db):
        gone = _forget(db, "sample", "minute", int(now_s - KEEP_MINUTES_S) // 60)
        gone += _forget(db, "sample_10_min", "ten", int(now_s - KEEP_TENS_S) // 600)
    if gone:
        db.executescript(f"PRAGMA incremental_vacuum({PAGES_AT_ONCE})")  # execute() would free one page alone
    return gone >= ROWS_AT_ONCE


def _forget(db: sqlite3.Connection, table: str, column: str, before: int) -> int:
    """The oldest rows of a table that lie before a moment; how many went. None while there are only few."""
    first = db.execute(f"SELECT min({column}) FROM {table}").fetchone()[0]
    if first is None or first >= before - SLACK:
        return 0
    oldest = (
        f"SELECT {column}, sensor FROM {table} WHERE {column} < ? ORDER BY {column}, sensor LIMIT {ROWS_AT_ONCE}"
    )
    return db.execute(f"DELETE FROM {table} WHERE ({column}, sensor) IN ({oldest})", (before,)).rowcount
