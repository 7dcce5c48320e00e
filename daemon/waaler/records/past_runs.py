"""The latest runs of the records, and what they tell after a restart."""

from dataclasses import dataclass
from datetime import date

from waaler.core.doses import BY_PEOPLE
from waaler.core.facts import Cause, Outcome
from waaler.core.state import Active, Given, Stage, Wanted
from waaler.guard.memory import DAY_S, Span
from waaler.guard.messages import Instant, Purse
from waaler.plan.types import CycleKey
from waaler.records.boots import Boots
from waaler.records.columns import moment
from waaler.records.ends import full_s
from waaler.records.past import MOST, Past, Row, count, length, maybe, text

__all__ = ["Recent", "run_in_progress"]

KEEP_KEYS_S = 2 * DAY_S
OWING = (Outcome.MISSED, Outcome.REFUSED, Outcome.CUT_SHORT, Outcome.INTERRUPTED)
BY_ITSELF = ", ".join(f"'{cause.value}'" for cause in Cause if cause not in BY_PEOPLE)
UNATTENDED = f"cause IN ({BY_ITSELF}) AND actual_s > 0 AND actual_s <= {MOST}"
RECENT_RUNS = 1000
"""Rows looked at for the last days; `most_starts` of 6 an hour makes at most 288 in two days."""


@dataclass(frozen=True, slots=True)
class _Run:
    """A run as the records have it, its instants by the present boot's long hand.

    began_s: when it started, or was decided where no start is known. ended_s: None without an end, or where its age
    is not exact (is_end_exact). wet_s: seconds that the relay was on, or may have been.
    """

    run_id: int
    cause: Cause
    purse: Purse
    outcome: Outcome | None
    key: CycleKey | None
    decided_s: float
    began_s: float
    ended_s: float | None
    is_end_exact: bool
    planned_s: float
    actual_s: float
    wet_s: float
    is_full: bool


def run_in_progress(past: Past, run_id: int, until_s: float) -> Active | None:
    """A run that the guard still makes; None where its intent is not kept, or cannot be read."""

    def active(row: Row) -> Active:
        wanted = Wanted(
            Cause(row["cause"]),
            Purse(row["purse"]),
            length(row["asked_s"]),
            text(row["reason"]),
            planned_s=length(row["planned_s"]),
            key=_key(row),
            pulse=count(row["pulse"]),
            pulses=count(row["pulses"]),
            by=maybe(text, row["by"]),
            full_s=full_s(row),
        )
        seconds = length(row["asked_s"]) if row["granted_s"] is None else length(row["granted_s"])
        return Active(run_id, wanted, Stage.RUNNING, until_s - seconds, until_s)

    return past.newest(active, "run", "id = ?", run_id)


class Recent:
    """The latest runs, newest first, and what they tell."""

    def __init__(self, past: Past, boots: Boots, now: Instant) -> None:
        self._now = now
        order = "ORDER BY id DESC LIMIT ?"
        self._runs = past.made(lambda row: _run(row, boots, now), "run", order, RECENT_RUNS)
        self.next_run_id = past.next_number("run")
        self.has_watered = past.is_any("run", UNATTENDED)

    def spans(self) -> tuple[Span, ...]:
        """By their start; a run without an end, or that nobody saw end, counts to its deadline."""
        spans = [Span(run.began_s, run.began_s + run.wet_s, run.purse) for run in self._runs if run.wet_s > 0]
        recent = [span for span in spans if span.ended_s > self._now.long_s - DAY_S]
        return tuple(sorted(recent, key=lambda span: span.started_s))

    def last_stop_s(self) -> float | None:
        """None where its age is not known; then the start of the daemon counts as the stop."""
        run = next((run for run in self._runs if run.wet_s > 0), None)
        return run.ended_s if run is not None and run.is_end_exact else None

    def done(self) -> tuple[tuple[CycleKey, float], ...]:
        """One that an edit took away may come back by another."""
        found: dict[CycleKey, float] = {}
        for run in self._runs:
            if run.key is None or run.outcome is Outcome.TAKEN_AWAY:
                continue
            if run.decided_s > self._now.long_s - KEEP_KEYS_S:
                found.setdefault(run.key, run.decided_s)
        return tuple(sorted(found.items(), key=lambda item: item[1]))

    def given(self) -> tuple[Given, ...]:
        """What the plan's cycles got in the last day; one that was missed never came to a decision."""
        undecided = (None, Outcome.MISSED, Outcome.TAKEN_AWAY)
        found = [
            Given(run.ended_s, run.planned_s, run.actual_s, run.outcome is Outcome.SKIPPED)
            for run in self._runs
            if run.key is not None and run.outcome not in undecided and run.ended_s is not None
        ]
        return tuple(sorted((g for g in found if g.at_s > self._now.long_s - DAY_S), key=lambda given: given.at_s))

    def skips_in_a_row(self) -> int:
        skips = 0
        for run in self._runs:
            if run.cause is not Cause.PLAN:
                continue
            if run.outcome is Outcome.SKIPPED:
                skips += 1
            elif run.is_full:
                break
        return skips

    def last_full_s(self) -> float | None:
        return next((run.ended_s for run in self._runs if run.is_full), None)

    def last_catch_up_s(self) -> float | None:
        """One that was cut or interrupted counts too: power that comes and goes must not loop."""
        run = next((run for run in self._runs if run.cause is Cause.CATCH_UP and run.wet_s > 0), None)
        if run is None:
            return None
        return run.decided_s if run.ended_s is None else run.ended_s

    def is_owed(self, running: int | None) -> bool:
        """A run that is on its way owes nothing yet."""
        for run in (run for run in self._runs if run.run_id != running):
            if run.is_full:
                return False
            if run.cause is Cause.PLAN and (run.outcome is None or run.outcome in OWING):
                return True
        return False


def _run(row: Row, boots: Boots, now: Instant) -> _Run:
    """Raises ValueError, TypeError or KeyError for a row that makes no sense."""
    decided_s = boots.here(row["intent_boot"], row["intent_long_s"], now)
    is_started, is_ended = row["started_boot"] is not None, row["outcome"] is not None
    asked_s, actual_s = length(row["asked_s"]), maybe(length, row["actual_s"])
    granted_s = maybe(length, row["granted_s"])
    wet_s = asked_s if granted_s is None else granted_s
    if is_ended and actual_s is None:
        raise ValueError("a run that ended after no time")
    return _Run(
        count(row["id"]),
        Cause(row["cause"]),
        Purse(row["purse"]),
        Outcome(row["outcome"]) if is_ended else None,
        _key(row),
        decided_s,
        boots.here(row["started_boot"], row["started_long_s"], now) if is_started else decided_s,
        boots.here(row["ended_boot"], row["ended_long_s"], now) if is_ended else None,
        is_ended and boots.is_known(row["ended_boot"], now),
        length(row["planned_s"]),
        actual_s or 0.0,
        wet_s if actual_s is None or not is_ended else actual_s,
        bool(row["is_full"]) and is_ended,
    )


def _key(row: Row) -> CycleKey | None:
    if row["day"] is None:
        return None
    planned_at_s = moment(row["planned_at_s"])
    if planned_at_s is None:
        raise ValueError("a cycle without its instant")
    return CycleKey(planned_at_s, text(row["window"]), date.fromisoformat(row["day"]), count(row["n"]))
