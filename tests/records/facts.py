"""Facts to write in these tests: a day of the bed `terrace`, boot by boot."""

from datetime import date

from waaler.core.facts import Cause, Fact, Outcome, RunIntent, RunResult, RunStarted
from waaler.guard.messages import Instant, Purse
from waaler.plan.types import CycleKey

__all__ = ["WALL_S", "at", "intent", "key", "whole_run"]

WALL_S = 1_782_025_200.0
"""2026-06-21 07:00 UTC: what the wall shows at long hand 0 of the first boot."""


def at(long_s: float, wall_s: float | None = None, is_sure: bool = True) -> Instant:
    """An instant; the wall clock runs with the long hand unless told otherwise."""
    return Instant(long_s, WALL_S + long_s if wall_s is None else wall_s, is_sure)


def key(n: int = 1, start_s: float = WALL_S) -> CycleKey:
    return CycleKey(start_s, "early", date(2026, 6, 21), n)


def intent(run_id: int, moment: Instant, seconds: float = 120.0, cause: Cause = Cause.PLAN) -> RunIntent:
    is_plan = cause is Cause.PLAN
    return RunIntent(
        run_id,
        moment,
        cause,
        Purse.PLAN if is_plan else Purse.SPARE,
        seconds,
        "as planned" if is_plan else "ordered by anna",
        key(run_id, moment.wall_s) if is_plan else None,
        by=None if is_plan else "anna",
        planned_seconds=seconds if is_plan else 0.0,
    )


def whole_run(
    run_id: int,
    long_s: float,
    seconds: float = 120.0,
    outcome: Outcome = Outcome.DONE,
    cause: Cause = Cause.PLAN,
    is_sure: bool = True,
    reason: str = "ran its time",
    run_at: Instant | None = None,
) -> list[Fact]:
    """Intent, start and end of a run that began at long_s, or at run_at."""
    begin = run_at or at(long_s, is_sure=is_sure)
    end = Instant(begin.long_s + seconds, begin.wall_s + seconds, begin.is_sure)
    return [
        intent(run_id, begin, seconds, cause),
        RunStarted(run_id, begin, seconds),
        RunResult(run_id, end, outcome, seconds, reason, is_full=outcome is Outcome.DONE),
    ]
