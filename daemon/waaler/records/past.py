"""What the records tell of sump, solution and upkeep: for the reckoning after a restart.

Rows that were damaged on the disk are left out and counted: nobody above has to doubt one.
"""

import json
import sqlite3
from collections.abc import Callable
from math import inf, isfinite
from typing import Any, TypeVar

from waaler.bed.ledger import Entry
from waaler.bed.wear import Upkeep, Wear
from waaler.core.facts import Act
from waaler.core.sump_state import SumpState
from waaler.guard.messages import Instant
from waaler.records.boots import Boots
from waaler.records.careful import SENSELESS

__all__ = ["MOST", "MOST_COUNT", "Past", "Row", "count", "length", "maybe", "sump", "text", "upkeep", "wear"]

Row = dict[str, Any]
Made = TypeVar("Made")

MOST = 1e9
"""Of a length in seconds, or an amount: more was never meant."""

MOST_COUNT = 2**40
"""Of a run's id, or a count. Ids of lost records begin at the clock's seconds."""

A_FEW = 20
"""Newest rows tried for the one that is wanted."""


class Past:
    """Rows of the records. unread: those that could not be made sense of so far, by table and number."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self.unread: set[tuple[str, Any]] = set()
        self._db = db

    def made(self, make: Callable[[Row], Made], table: str, rest: str, *values: object) -> list[Made]:
        """What `make` makes of the rows of a table; one that it raises for is counted and left out."""
        cursor = self._db.execute(f"SELECT * FROM {table} {rest}", values)
        names = [column[0] for column in cursor.description]
        found = []
        for raw in cursor:
            row = dict(zip(names, raw, strict=True))
            try:
                found.append(make(row))
            except (*SENSELESS, AttributeError):
                self.unread.add((table, row.get("id", repr(raw)[:200])))
        return found

    def newest(self, make: Callable[[Row], Made], table: str, where: str, *values: object) -> Made | None:
        """The newest row that can be read; None where there is none."""
        found = self.made(make, table, f"WHERE {where} ORDER BY id DESC LIMIT {A_FEW}", *values)
        return found[0] if found else None

    def next_number(self, table: str) -> int:
        """Above any that is taken, damaged rows included, as far as they have a number that can be one."""
        row = self._db.execute(f"SELECT max(id) FROM {table} WHERE id <= {MOST_COUNT}").fetchone()
        return 1 + (row[0] or 0)

    def is_any(self, table: str, where: str, *values: object) -> bool:
        return self._db.execute(f"SELECT 1 FROM {table} WHERE {where} LIMIT 1", values).fetchone() is not None


def length(value: object) -> float:
    """Seconds or an amount. Raises TypeError and ValueError for anything that was never one."""
    if not isinstance(value, int | float):
        raise TypeError(f"{value!r} is no number")
    if not -MOST <= value <= MOST:
        raise ValueError(f"{value} is out of all bounds")
    return float(value)


def count(value: object) -> int:
    """Raises TypeError and ValueError for anything that was never one."""
    if not isinstance(value, int):
        raise TypeError(f"{value!r} is no count")
    if not 0 <= value <= MOST_COUNT:
        raise ValueError(f"{value} is out of all bounds")
    return value


def text(value: object) -> str:
    """Raises TypeError for anything else."""
    if not isinstance(value, str):
        raise TypeError(f"{value!r} is no text")
    return value


def maybe(made: Callable[[object], Made], value: object) -> Made | None:
    """The same, or nothing."""
    return None if value is None else made(value)


def sump(past: Past, boots: Boots, now: Instant) -> SumpState | None:
    """The ledger's last entry, by the long hand of this boot; None in new records."""

    def state(row: Row) -> SumpState:
        at_s = boots.here(row["boot"], row["long_s"], now)
        return SumpState(
            Entry(length(row["litres"]), length(row["ec"]), length(row["tank_l"]), length(row["added_l"])),
            at_s,
            maybe(length, row["weighed_l"]),
            at_s - length(row["weighed_ago_s"]),
            -inf if row["renewed_ago_s"] is None else at_s - length(row["renewed_ago_s"]),
            maybe(length, row["first_ec"]),
            maybe(length, row["last_ec"]),
        )

    return past.newest(state, "sump", "1")


def upkeep(db: sqlite3.Connection) -> Upkeep:
    """Pump time and starts since the last cleaning."""
    since_s = f"coalesce((SELECT max(wall_s) FROM deed WHERE what = '{Act.CLEANED}'), 0)"
    row = db.execute(
        "SELECT coalesce(sum(actual_s), 0), count(*) FROM run"
        f" WHERE actual_s > 0 AND actual_s <= {MOST} AND typeof(actual_s) = 'real' AND when_s >= {since_s}"
    ).fetchone()
    return Upkeep(float(row[0]), int(row[1]))


def wear(past: Past) -> Wear:
    """What the last runs showed; nothing where that is damaged: the next runs show it again."""

    def shown(row: Row) -> Wear:
        return Wear(_figures(row["flows"]), _figures(row["means"]), _figures(row["dried_s"]), bool(row["is_wet"]))

    return past.newest(shown, "wear", "1") or Wear()


def _figures(text: str) -> tuple[float, ...]:
    """Raises ValueError and TypeError for anything else than a list of finite numbers."""
    figures = tuple(float(value) for value in json.loads(text))
    if not all(map(isfinite, figures)):
        raise ValueError(f"{text} are no figures")
    return figures
