"""What the core must know after a restart, read from the records and the second copy."""

import sqlite3
from datetime import date
from typing import Any

from waaler.core.facts import Cause, Outcome, RunResult, Severity
from waaler.core.memory import Given, Memory, Standing
from waaler.core.standing import OpenAlert
from waaler.guard.memory import DAY_S, Span
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Input, Instant, Level, Permit, Purse, Trip
from waaler.plan.types import CycleKey
from waaler.records.boots import Boots
from waaler.records.past import Rows, tended, upkeep
from waaler.records.past import rows as _rows
from waaler.records.second_copy import SecondCopy

__all__ = ["interrupted", "restore"]

KEEP_KEYS_S = 2 * DAY_S
PROTECTIVE = frozenset({Trip.LOW_SUMP, Trip.HIGH_TRAY, Trip.NOT_READ})
STANDINGS = ("pause", "service", "soak", "attended")
PURSES = {"soak": Purse.SOAK, "attended": Purse.ATTENDED}
OWING = (Outcome.MISSED.value, Outcome.REFUSED.value, Outcome.CUT_SHORT.value, Outcome.INTERRUPTED.value)
SEEN = (
    "SELECT text FROM deed WHERE what = 'input-seen'"
    " AND id > (SELECT coalesce(max(id), 0) FROM deed WHERE what = 'disarmed')"
)
UNATTENDED = "SELECT id FROM run WHERE cause NOT IN ('by hand', 'attended', 'soak') AND actual_s > 0 LIMIT 1"
RECENT_RUNS = 1000
"""Rows looked at for the last days; `most_starts` of 6 an hour makes at most 288 in two days."""

DIED_RUNNING = "the daemon ended during it; counted to its deadline, since nobody saw when the pump stopped"
DIED_BEFORE = "the daemon ended before it was known whether it started; counted in full"


def interrupted(db: sqlite3.Connection, copy: SecondCopy | None, now: Instant) -> list[RunResult]:
    """The results of runs without one. What nobody saw counts to the deadline."""
    rows = _rows(db, "SELECT id, granted_s, asked_s FROM run WHERE outcome IS NULL ORDER BY id")
    results = [
        _died(row["id"], now, row["asked_s"] if row["granted_s"] is None else row["granted_s"], row["granted_s"])
        for row in rows
    ]
    copied = [] if copy is None else [run for run in copy.runs.values() if not run.has_ended]
    lost = [run for run in copied if not _rows(db, "SELECT id FROM run WHERE id = ?", run.run_id)]
    return results + [_died(run.run_id, now, run.seconds, run.seconds) for run in lost]


def restore(db: sqlite3.Connection, boots: Boots, copy: SecondCopy | None, now: Instant) -> Memory:
    recent = _Recent(_rows(db, "SELECT * FROM run ORDER BY id DESC LIMIT ?", RECENT_RUNS), boots, now)
    standing, permits = _standing(db, boots, now)
    return Memory(
        guard=GuardMemory(
            spans=_spans(recent, copy, boots, now),
            last_stop_s=recent.last_stop_s(),
            locks=_trips(db, "is_locked") | (frozenset() if copy is None else copy.locks),
            tripped=_trips(db, "NOT is_locked") & PROTECTIVE,
            permits=permits,
        ),
        next_run_id=max(recent.next_run_id(), 1 if copy is None else copy.next_run_id),
        looked_at_s=boots.last_alive_s,
        done=recent.done(),
        given=recent.given(),
        skips_in_a_row=recent.skips_in_a_row(),
        last_full_s=recent.last_full_s(),
        last_catch_up_s=recent.last_catch_up_s(),
        is_owed=recent.is_owed(),
        pulse_s=_pulse_s(db),
        standing=standing,
        has_watered=bool(_rows(db, UNATTENDED)),
        seen=_seen(db),
        open_alerts=_open_alerts(db, boots, now),
        tended=tended(db, boots, now),
        upkeep=upkeep(db),
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

    def saw_start_of(self, run_id: int) -> bool:
        """Whether its start is in the database, where ages are known best."""
        return any(row["id"] == run_id and row["started_boot"] is not None for row in self._rows)

    def last_stop_s(self) -> float | None:
        """None where its age is not known; then the start of the daemon counts as the stop."""
        row = next((row for row in self._rows if _wet_s(row) > 0), None)
        if row is None or row["outcome"] is None or not self._boots.is_known(row["ended_boot"], self._now):
            return None
        return self.here(row, "ended")

    def next_run_id(self) -> int:
        return self._rows[0]["id"] + 1 if self._rows else 1

    def done(self) -> tuple[tuple[CycleKey, float], ...]:
        found: dict[CycleKey, float] = {}
        for row in self._rows:
            at_s = self.here(row, "intent") if row["day"] is not None else 0.0
            if row["day"] is not None and at_s > self._now.long_s - KEEP_KEYS_S:
                found.setdefault(CycleKey(date.fromisoformat(row["day"]), row["window"], row["n"]), at_s)
        return tuple(sorted(found.items(), key=lambda item: item[1]))

    def given(self) -> tuple[Given, ...]:
        """What the plan's cycles got in the last day; one that was missed never came to a decision."""
        rows = [r for r in self._rows if r["day"] is not None and r["outcome"] not in (None, Outcome.MISSED)]
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

    def is_owed(self) -> bool:
        for row in self._rows:
            if _is_full(row):
                return False
            if row["cause"] == Cause.PLAN and (row["outcome"] is None or row["outcome"] in OWING):
                return True
        return False


def _died(run_id: int, now: Instant, seconds: float, granted_s: float | None) -> RunResult:
    reason = DIED_BEFORE if granted_s is None else DIED_RUNNING
    return RunResult(run_id, now, Outcome.INTERRUPTED, seconds, reason)


def _wet_s(row: dict[str, Any]) -> float:
    """Seconds that the relay was on, or may have been."""
    if row["outcome"] is not None:
        return float(row["actual_s"])
    return float(row["asked_s"] if row["granted_s"] is None else row["granted_s"])


def _is_full(row: dict[str, Any]) -> bool:
    """Whether the row ends a run, of one or several pulses, that ran its time; a soak is none."""
    is_last = row["pulse"] == row["pulses"]
    return bool(row["outcome"] == Outcome.DONE and is_last and row["purse"] != Purse.SOAK)


def _spans(recent: _Recent, copy: SecondCopy | None, boots: Boots, now: Instant) -> tuple[Span, ...]:
    spans = recent.spans()
    for run in [] if copy is None else copy.runs.values():
        if run.run_id in spans and recent.saw_start_of(run.run_id):
            continue
        started_s = boots.copied_here(run.boot, run.long_s, run.wall_s if run.is_sure else None, run.seconds, now)
        if started_s + run.seconds > now.long_s - DAY_S:
            spans[run.run_id] = Span(started_s, started_s + run.seconds, run.purse)
    return tuple(sorted(spans.values(), key=lambda span: span.started_s))


def _trips(db: sqlite3.Connection, condition: str) -> frozenset[Trip]:
    rows = _rows(db, f"SELECT trip FROM trip WHERE over_wall_s IS NULL AND {condition}")
    return frozenset(Trip(row["trip"]) for row in rows)


def _open_alerts(db: sqlite3.Connection, boots: Boots, now: Instant) -> tuple[OpenAlert, ...]:
    rows = _rows(db, "SELECT * FROM alert WHERE resolved_wall_s IS NULL ORDER BY id")
    return tuple(_open_alert(row, boots, now) for row in rows)


def _open_alert(row: dict[str, Any], boots: Boots, now: Instant) -> OpenAlert:
    raised_s = boots.here(row["raised_boot"], row["raised_long_s"], now)
    told_s = raised_s if row["told_boot"] is None else boots.here(row["told_boot"], row["told_long_s"], now)
    return OpenAlert(
        row["kind"],
        Severity(row["severity"]),
        row["text"],
        raised_s,
        told_s,
        row["reminders"],
        row["acknowledged_by"],
    )


def _pulse_s(db: sqlite3.Connection) -> float | None:
    rows = _rows(
        db, "SELECT what, seconds FROM deed WHERE what IN ('pulses', 'refill', 'renewal') ORDER BY id DESC LIMIT 1"
    )
    return rows[0]["seconds"] if rows and rows[0]["what"] == "pulses" else None


def _seen(db: sqlite3.Connection) -> frozenset[tuple[Input, Level]]:
    """Protective inputs and how they once read: deeds such as `sump_low bad`."""
    marks = (row["text"].split(" ", 1) for row in _rows(db, SEEN))
    return frozenset((Input(name), Level(level)) for name, level in marks)


def _standing(db: sqlite3.Connection, boots: Boots, now: Instant) -> tuple[Standing | None, tuple[Permit, ...]]:
    """The order that still stands, and the pump time that goes with a soak or an attended time."""
    ends = ("resume", *(f"{what}-over" for what in STANDINGS))
    names = ", ".join(f"'{what}'" for what in (*STANDINGS, *ends))
    rows = _rows(db, f"SELECT * FROM deed WHERE what IN ({names}) ORDER BY id DESC LIMIT 1")
    if not rows or rows[0]["what"] in ends or rows[0]["until_wall_s"] is None:
        return None, ()
    row = rows[0]
    until_s = boots.here(row["boot"], row["long_s"] + row["until_wall_s"] - row["wall_s"], now)
    if until_s <= now.long_s:
        return None, ()
    purse = PURSES.get(row["what"])
    permits = (Permit(purse, until_s, row["seconds"]),) if purse is not None and row["seconds"] else ()
    return Standing(row["what"], until_s, row["by"] or "a person"), permits
