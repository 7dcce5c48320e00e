"""What the records tell of sump, solution and upkeep: for the reckoning after a restart."""

import json
import sqlite3
from math import inf, isfinite
from typing import Any

from waaler.bed.ledger import Entry
from waaler.bed.wear import Upkeep, Wear
from waaler.core.facts import Act
from waaler.core.sump_state import SumpState
from waaler.guard.messages import Instant
from waaler.records.boots import Boots

__all__ = ["Rows", "rows", "sump", "upkeep", "wear"]

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
    since_s = f"coalesce((SELECT max(wall_s) FROM deed WHERE what = '{Act.CLEANED}'), 0)"
    row = db.execute(
        f"SELECT coalesce(sum(actual_s), 0), count(*) FROM run WHERE actual_s > 0 AND when_s >= {since_s}"
    ).fetchone()
    return Upkeep(float(row[0]), int(row[1]))


def wear(db: sqlite3.Connection) -> Wear:
    """What the last runs showed; nothing where that is damaged: the next runs show it again."""
    found = db.execute("SELECT flows, means, dried_s, is_wet FROM wear").fetchone()
    try:
        flows, means, dried_s, is_wet = found
        return Wear(_figures(flows), _figures(means), _figures(dried_s), bool(is_wet))
    except (ValueError, TypeError):
        return Wear()


def _figures(text: str) -> tuple[float, ...]:
    """Raises ValueError and TypeError for anything else than a list of finite numbers."""
    figures = tuple(float(value) for value in json.loads(text))
    if not all(map(isfinite, figures)):
        raise ValueError(f"{text} are no figures")
    return figures
