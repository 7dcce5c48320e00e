"""Totals of local days: cycles by how they ended, starts, and pump time."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from waaler.core.facts import Outcome
from waaler.records.rows import RunRow
from waaler.records.times import local

__all__ = ["DayTotal", "day_totals"]


@dataclass(frozen=True, slots=True)
class DayTotal:
    """Cycles count, not pulses; one of several rows ended as the row written last. starts: the relay went on."""

    day: date
    outcomes: dict[Outcome | None, int]
    starts: int
    pump_s: float

    @property
    def cycles(self) -> int:
        return sum(self.outcomes.values())


def day_totals(runs: Sequence[RunRow], zone: ZoneInfo) -> list[DayTotal]:
    """One for each local day that has runs, in the order of the runs."""
    days: dict[date, list[RunRow]] = {}
    for run in runs:
        days.setdefault(local(run.when_s, zone).date(), []).append(run)
    return [_total(day, rows) for day, rows in days.items()]


def _total(day: date, runs: list[RunRow]) -> DayTotal:
    ends = {run.cycle: run.outcome for run in sorted(runs, key=lambda run: run.run_id)}
    return DayTotal(
        day,
        dict(Counter(ends.values())),
        sum(run.started_at_s is not None for run in runs),
        sum(run.actual_s for run in runs),
    )
