"""What the records tell of sump, solution and upkeep: for the reckoning after a restart."""

import sqlite3
from typing import Any

from waaler.core.level import Tended, Upkeep
from waaler.guard.messages import Instant
from waaler.records.boots import Boots

__all__ = ["Rows", "rows", "tended", "upkeep"]

Rows = list[dict[str, Any]]

SINCE_FULL = """
SELECT deed.boot, deed.long_s, deed.what, amount.name, sum(amount.value) AS value
FROM deed LEFT JOIN amount ON amount.deed = deed.id
    AND (amount.name IN ('sump', 'EC') OR (deed.what <> 'measure' AND amount.unit = 'L'))
WHERE deed.what IN ('refill', 'renewal', 'measure') AND deed.id >= coalesce(
    (SELECT max(id) FROM deed WHERE what = 'renewal'), 0)
GROUP BY deed.id, CASE deed.what WHEN 'measure' THEN amount.name END
ORDER BY deed.id
"""
"""Nothing before the solution was last made anew matters."""


def rows(db: sqlite3.Connection, query: str, *values: object) -> Rows:
    cursor = db.execute(query, values)
    names = [column[0] for column in cursor.description]
    return [dict(zip(names, row, strict=True)) for row in cursor]


def tended(db: sqlite3.Connection, boots: Boots, now: Instant) -> tuple[Tended, ...]:
    """Oldest first: the first start, and everything that was poured in, measured or found low since."""
    found = [
        Tended(boots.here(row["boot"], row["long_s"], now), _what(row), row["value"])
        for row in rows(db, SINCE_FULL)
        if row["what"] != "measure" or row["value"] is not None
    ]
    first = rows(db, "SELECT boot, long_s FROM deed WHERE what = 'start' ORDER BY id LIMIT 1")
    if not any(event.what == "renewal" for event in found):
        found += [Tended(boots.here(row["boot"], row["long_s"], now), "began") for row in first]
    begin_s = min((event.at_s for event in found), default=now.long_s)
    lows = rows(
        db, "SELECT raised_boot, raised_long_s FROM alert WHERE kind = 'sump-low' ORDER BY id DESC LIMIT 100"
    )
    found += [
        Tended(at_s, "low")
        for row in lows
        if (at_s := boots.here(row["raised_boot"], row["raised_long_s"], now)) >= begin_s
    ]
    return tuple(sorted(found, key=lambda event: event.at_s))


def upkeep(db: sqlite3.Connection) -> Upkeep:
    """Pump time and starts since the last cleaning."""
    since_s = "coalesce((SELECT max(wall_s) FROM deed WHERE what = 'cleaned'), 0)"
    row = db.execute(
        f"SELECT coalesce(sum(actual_s), 0), count(*) FROM run WHERE actual_s > 0 AND when_s >= {since_s}"
    ).fetchone()
    return Upkeep(float(row[0]), int(row[1]))


def _what(row: dict[str, Any]) -> str:
    return str(row["name"] if row["what"] == "measure" else row["what"])
