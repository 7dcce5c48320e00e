"""Are the records whole? What the library says of the file, and what it cannot know of these tables."""

import sqlite3

from waaler.records.past import MOST_COUNT
from waaler.records.schema import refuse_other_tables

__all__ = ["check"]

MUST_NOT_BE = {
    "they have no name": "(SELECT count(*) FROM name) <> 1",
    "a message has a number that is none": (
        f"(SELECT min(id) FROM outbox) < 1 OR (SELECT max(id) FROM outbox) > {MOST_COUNT}"
    ),
    "minutes without their ten minutes": (
        "EXISTS (SELECT 1 FROM sample) AND NOT EXISTS (SELECT 1 FROM sample_10_min)"
    ),
    "ten minutes without their days": (
        "EXISTS (SELECT 1 FROM sample_10_min) AND NOT EXISTS (SELECT 1 FROM sample_day)"
    ),
}
"""A page that was written to another's place can be sound in itself."""


def check(db: sqlite3.Connection) -> None:
    """Reads the whole file, the indexes against their tables too. Raises sqlite3.DatabaseError if it is damaged.

    The quick check of the library would take two thirds of the time. It passes tables whose page another's took.
    """
    verdict = db.execute("PRAGMA integrity_check(1)").fetchone()[0]
    if verdict != "ok":
        raise sqlite3.DatabaseError(verdict)
    refuse_other_tables(db)
    for what, must_not_be in MUST_NOT_BE.items():
        if db.execute(f"SELECT {must_not_be}").fetchone()[0]:
            raise sqlite3.DatabaseError(what)
