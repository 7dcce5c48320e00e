"""What the records tell of sump, solution and upkeep: for the reckoning after a restart."""

import sqlite3
from math import inf
from typing import Any

from waaler.bed.ledger import Entry
from waaler.core.sump_state import SumpState
from waaler.core.upkeep_state import Upkeep
from waaler.guard.messages import Instant
from waaler.records.boots import Boots

__all__ = ["Rows", "rows", "sump", "upkeep"]

Rows = list[dict[str, Any]]


def rows(db: sqlite3.Connection, query: str, *values: object) -> Rows:
    cursor = db.execute(query, values)
    names = [column[0] for column in cursor.description]
    return [dict(zip(names, row, strict=True)) for row in cursor]


def sump(db: sqlite3.Connection, boots: Boots, now: Instant) -> SumpState | None:
    """The ledger's last entry, by the long hand of this boot; None in new records."""
    found = rows(db, "SELECT * FROM sump ORDER BY id DESC LIMIT 1")
    if not found:
        return None
    row = found[0]
    at_s = boots.here(row["boot"], row["long_s"], now)
    return SumpState(
        Entry(row["litres"], row["ec"], row["tank_l"], row["added_l"]),
        at_s,
        row["weighed_l"],
        at_s - row["weighed_ago_s"],
        -inf if row["renewed_ago_s"] is None else at_s - row["renewed_ago_s"],
        row["first_ec"],
        row["last_ec"],
    )


def upkeep(db: sqlite3.Connection) -> Upkeep:
    """Pump time and starts since the last cleaning."""
    since_s = "coalesce((SELECT max(wall_s) FROM deed WHERE what = 'cleaned'), 0)"
    row = db.execute(
        f"SELECT coalesce(sum(actual_s), 0), count(*) FROM run WHERE actual_s > 0 AND when_s >= {since_s}"
    ).fetchone()
    return Upkeep(float(row[0]), int(row[1]))
