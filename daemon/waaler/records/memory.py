"""What the core must know after a restart, and the guard if its journal is lost, read from the records."""

import sqlite3
from datetime import date
from typing import Any

from waaler.core.alert import FOUND, Alert, OpenAlert, Severity, Words, kind_of
from waaler.core.facts import Act, Cause, Outcome
from waaler.core.memory import Memory
from waaler.core.state import Active, Dips, Given, Stage, Wanted
from waaler.guard.memory import DAY_S, Span
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Hold, HoldKind, Input, Instant, Level, Purse, Trip
from waaler.plan.types import CycleKey
from waaler.records.about import about_of
from waaler.records.boots import Boots
from waaler.records.ends import full_s
from waaler.records.past import Rows, sump, upkeep, wear
from waaler.records.past import rows as _rows

__all__ = ["restore", "run_in_progress"]

KEEP_KEYS_S = 2 * DAY_S
WHOSE = {Trip.LOW_SUMP: Input.SUMP_LOW, Trip.HIGH_TRAY: Input.TRAY_HIGH}
OWING = (Outcome.MISSED.value, Outcome.REFUSED.value, Outcome.CUT_SHORT.value, Outcome.INTERRUPTED.value)
SEEN = (
    f"SELECT text FROM deed WHERE what = '{Act.INPUT_SEEN}'"
    f" AND id > (SELECT coalesce(max(id), 0) FROM deed WHERE what = '{Act.DISARMED}')"
)
LOW_TRIP = f"SELECT began_boot, began_long_s FROM trip WHERE over_wall_s IS NULL AND trip = '{Trip.LOW_SUMP.value}'"
LAST_REFILL = (
    f"SELECT boot, long_s FROM deed WHERE what IN ('{Act.REFILL}', '{Act.RENEWAL}') ORDER BY id DESC LIMIT 1"
)
LAST_PULSES = (
    "SELECT what, seconds FROM deed"
    f" WHERE what IN ('{Act.PULSES}', '{Act.REFILL}', '{Act.RENEWAL}') ORDER BY id DESC LIMIT 1"
)
VAIN_SINCE = (
    f"SELECT boot, long_s, seconds FROM deed WHERE what = '{Act.TOO_LOW}' AND id >"
    f" coalesce((SELECT max(id) FROM deed WHERE what IN ('{Act.HIGH_ENOUGH}', '{Act.REFILL}', '{Act.RENEWAL}')), 0)"
    " ORDER BY id DESC"
)
UNATTENDED = "SELECT id FROM run WHERE cause NOT IN ('by hand', 'attended', 'soak') AND actual_s > 0 LIMIT 1"
RECENT_RUNS = 1000
"""Rows looked at for the last days; `most_starts` of 6 an hour makes at most 288 in two days."""


def run_in_progress(db: sqlite3.Connection, run_id: int, until_s: float) -> Active | None:
    rows = _rows(db, "SELECT * FROM run WHERE id = ?", run_id)
    if not rows:
        return None
    row = rows[0]
    wanted = Wanted(
        Cause(row["cause"]),
        Purse(row["purse"]),
        row["asked_s"],
        row["reason"],
        planned_s=row["planned_s"],
        key=None if row["day"] is None else _key(row),
        pulse=row["pulse"],
        pulses=row["pulses"],
        by=row["by"],
        full_s=full_s(row),
    )
    return Active(run_id, wanted, Stage.RUNNING, until_s - (row["granted_s"] or row["asked_s"]), until_s)


def restore(db: sqlite3.Connection, boots: Boots, now: Instant, running: int | None = None) -> Memory:
    recent = _Recent(_rows(db, "SELECT * FROM run ORDER BY id DESC LIMIT ?", RECENT_RUNS), boots, now)
    return Memory(
        guard=GuardMemory(
            spans=tuple(sorted(recent.spans().values(), key=lambda span: span.started_s)),
            last_stop_s=recent.last_stop_s(),
            locks=frozenset(Trip(row["trip"]) for row in _open_trips(db, "is_locked")),
            tripped=_tripped(db),
            holds=_holds(db, boots, now),
            seen=_seen(db),
            has_watered=bool(_rows(db, UNATTENDED)),
            last_run_id=recent.next_run_id() - 1,
            reserved_run_id=recent.next_run_id() - 1,
        ),
        next_run_id=recent.next_run_id(),
        looked_at_s=boots.last_alive_s,
        done=recent.done(),
        given=recent.given(),
        skips_in_a_row=recent.skips_in_a_row(),
        last_full_s=recent.last_full_s(),
        last_catch_up_s=recent.last_catch_up_s(),
        is_owed=recent.is_owed(running),
        dips=_dips(db, boots, now),
        low_since_s=_since_s(db, boots, now, LOW_TRIP),
        refilled_s=_since_s(db, boots, now, LAST_REFILL),
        open_alerts=_open_alerts(db, boots, now),
        sump=sump(db, boots, now),
        upkeep=upkeep(db),
        wear=wear(db),
    )


class _Recent:
    """The latest runs, newest first, and what they tell."""

    def __init__(self, rows: Rows, boots: Boots, now: Instant) -> None:
        self._rows, self._boots, self._now = rows, boots, now

    def here(self, row: dict[str, Any], moment: str) -> float:
        return self._boots.here(row[f"{moment}_boot"], row[f"{moment}_long_s"], self._now)

    def spans(self) -> dict[int, Span]:
        """By run id; a run without an end, or that nobody saw end, counts to its deadline."""
        spans: dict[int, Span] = {}
        for row in self._rows:
            seconds = _wet_s(row)
            if seconds <= 0:
                continue
            started_s = self.here(row, "intent" if row["started_boot"] is None else "started")
            if started_s + seconds > self._now.long_s - DAY_S:
                spans[row["id"]] = Span(started_s, started_s + seconds, Purse(row["purse"]))
        return spans

    def last_stop_s(self) -> float | None:
        """None where its age is not known; then the start of the daemon counts as the stop."""
        row = next((row for row in self._rows if _wet_s(row) > 0), None)
        if row is None or row["outcome"] is None or not self._boots.is_known(row["ended_boot"], self._now):
            return None
        return self.here(row, "ended")

    def next_run_id(self) -> int:
        return self._rows[0]["id"] + 1 if self._rows else 1

    def done(self) -> tuple[tuple[CycleKey, float], ...]:
        """One that an edit took away may come back by another."""
        found: dict[CycleKey, float] = {}
        for row in self._rows:
            if row["day"] is None or row["outcome"] == Outcome.TAKEN_AWAY:
                continue
            at_s = self.here(row, "intent")
            if at_s > self._now.long_s - KEEP_KEYS_S:
                found.setdefault(_key(row), at_s)
        return tuple(sorted(found.items(), key=lambda item: item[1]))

    def given(self) -> tuple[Given, ...]:
        """What the plan's cycles got in the last day; one that was missed never came to a decision."""
        undecided = (None, Outcome.MISSED, Outcome.TAKEN_AWAY)
        rows = [r for r in self._rows if r["day"] is not None and r["outcome"] not in undecided]
        found = [
            Given(self.here(row, "ended"), row["planned_s"], row["actual_s"], row["outcome"] == Outcome.SKIPPED)
            for row in rows
        ]
        return tuple(sorted((g for g in found if g.at_s > self._now.long_s - DAY_S), key=lambda given: given.at_s))

    def skips_in_a_row(self) -> int:
        count = 0
        for row in self._rows:
            if row["cause"] != Cause.PLAN:
                continue
            if row["outcome"] == Outcome.SKIPPED:
                count += 1
            elif _is_full(row):
                break
        return count

    def last_full_s(self) -> float | None:
        row = next(filter(_is_full, self._rows), None)
        return None if row is None else self.here(row, "ended")

    def last_catch_up_s(self) -> float | None:
        """One that was cut or interrupted counts too: power that comes and goes must not loop."""
        row = next((r for r in self._rows if r["cause"] == Cause.CATCH_UP and _wet_s(r) > 0), None)
        if row is None:
            return None
        return self.here(row, "intent" if row["outcome"] is None else "ended")

    def is_owed(self, running: int | None) -> bool:
        """A run that is on its way owes nothing yet."""
        for row in (row for row in self._rows if row["id"] != running):
            if _is_full(row):
                return False
            if row["cause"] == Cause.PLAN and (row["outcome"] is None or row["outcome"] in OWING):
                return True
        return False


def _key(row: dict[str, Any]) -> CycleKey:
    return CycleKey(row["planned_at_s"], row["window"], date.fromisoformat(row["day"]), row["n"])


def _wet_s(row: dict[str, Any]) -> float:
    """Seconds that the relay was on, or may have been."""
    if row["outcome"] is not None:
        return float(row["actual_s"])
    return float(row["asked_s"] if row["granted_s"] is None else row["granted_s"])


def _is_full(row: dict[str, Any]) -> bool:
    """Whether with this row a dose was given in full."""
    return bool(row["is_full"])


def _open_trips(db: sqlite3.Connection, condition: str) -> Rows:
    return _rows(db, f"SELECT trip, input FROM trip WHERE over_wall_s IS NULL AND {condition}")


def _tripped(db: sqlite3.Connection) -> frozenset[tuple[Input, Trip]]:
    """Of an old row without its input every one may be meant."""
    found: set[tuple[Input, Trip]] = set()
    for row in _open_trips(db, "NOT is_locked"):
        trip = Trip(row["trip"])
        if row["input"]:
            found.add((Input(row["input"]), trip))
        elif trip in WHOSE:
            found.add((WHOSE[trip], trip))
        elif trip is Trip.NOT_READ:
            found |= {(name, trip) for name in Input}
    return frozenset(found)


def _open_alerts(db: sqlite3.Connection, boots: Boots, now: Instant) -> tuple[OpenAlert, ...]:
    rows = _rows(db, "SELECT * FROM alert WHERE resolved_wall_s IS NULL ORDER BY id")
    return tuple(_open_alert(row, boots, now) for row in rows)


def _open_alert(row: dict[str, Any], boots: Boots, now: Instant) -> OpenAlert:
    raised_s = boots.here(row["raised_boot"], row["raised_long_s"], now)
    told_s = raised_s if row["told_boot"] is None else boots.here(row["told_boot"], row["told_long_s"], now)
    kind, subject = kind_of(row["kind"])
    about = about_of(row["about"])
    if about is None and kind in FOUND:
        about = Words(row["text"].partition("\n")[0])  # of an earlier version: nothing else is known of it
    says_refill = None if row["says_refill"] is None else bool(row["says_refill"])
    return OpenAlert(
        Alert(kind, Severity(row["severity"]), about, subject),
        raised_s,
        told_s,
        row["reminders"],
        row["acknowledged_by"],
        says_refill,
    )


def _dips(db: sqlite3.Connection, boots: Boots, now: Instant) -> Dips:
    pulses, vain = _rows(db, LAST_PULSES), _rows(db, VAIN_SINCE)
    pulse_s = pulses[0]["seconds"] if pulses and pulses[0]["what"] == Act.PULSES else None
    if not vain:
        return Dips(pulse_s=pulse_s)
    try_at_s = boots.here(vain[0]["boot"], vain[0]["long_s"], now) + vain[0]["seconds"]
    return Dips(pulse_s=pulse_s, vain=len(vain), try_at_s=try_at_s)


def _since_s(db: sqlite3.Connection, boots: Boots, now: Instant, query: str) -> float | None:
    """When the one row that the query finds was written; None without one."""
    row = db.execute(query).fetchone()
    return None if row is None else boots.here(row[0], row[1], now)


def _seen(db: sqlite3.Connection) -> frozenset[tuple[Input, Level]]:
    """Protective inputs and how they once read: deeds such as `sump_low bad`."""
    marks = (row["text"].split(" ", 1) for row in _rows(db, SEEN))
    return frozenset((Input(name), Level(level)) for name, level in marks)


def _holds(db: sqlite3.Connection, boots: Boots, now: Instant) -> tuple[Hold, ...]:
    """The orders that still stand, with the pump time that goes with a soak or an attended time."""
    found: list[Hold] = []
    for kind in HoldKind:
        rows = _rows(
            db,
            f"SELECT * FROM deed WHERE what IN (?, ?, '{Act.RESUME}') ORDER BY id DESC LIMIT 1",
            kind.value,
            f"{kind.value}-over",
        )
        if not rows or rows[0]["what"] != kind.value or rows[0]["until_wall_s"] is None:
            continue
        row = rows[0]
        until_s = boots.here(row["boot"], row["long_s"] + row["until_wall_s"] - row["wall_s"], now)
        if until_s > now.long_s:
            found.append(Hold(kind, until_s, row["by"] or "a person", row["seconds"] or 0.0))
    return tuple(found)
