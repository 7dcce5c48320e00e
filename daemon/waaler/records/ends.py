"""The ends of runs that nobody wrote: as the guard remembers them, else counted to the deadline."""

from math import inf

from waaler.core.doses import BY_PEOPLE, FULL_SHARE
from waaler.core.facts import Cause, Outcome, RunResult
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.memory import Ran
from waaler.guard.messages import Instant
from waaler.records.past import Past, Row, count, length, maybe

__all__ = ["full_s", "unended"]

DIED_RUNNING = "the daemon ended during it; counted to its deadline, since nobody saw when the pump stopped"
DIED_BEFORE = "the daemon ended before it was known whether it started; counted in full"
NEVER_BEGUN = "the daemon ended before it began"


def unended(past: Past, now: Instant, guard: GuardMemory, running: int | None, is_whole: bool) -> list[RunResult]:
    """The results of runs without one: as the guard remembers their end, else what nobody saw to the deadline.

    Runs that only the guard knows of are among them. is_whole: a run that the guard does not know never began.
    """
    ended = {ran.ended.run_id: ran for ran in guard.ran}
    open_run = guard.open_run
    cut_off = [] if open_run is None else [_cut_off(now, open_run)]

    def result(row: Row) -> RunResult:
        run_id = count(row["id"])
        return _result(now, ended[run_id], full_s(row)) if run_id in ended else _died(row, now, is_whole)

    known = {running, None if open_run is None else open_run.ended.run_id}
    results = past.made(result, "run", "WHERE outcome IS NULL ORDER BY id")
    lost = [_result(now, ran) for run_id, ran in ended.items() if not _is_known(past, run_id)]
    return [one for one in results if one.run_id not in known] + cut_off + lost


def _is_known(past: Past, run_id: int) -> bool:
    return past.is_any("run", "id = ?", run_id)


def full_s(row: Row) -> float:
    """What makes this run a full one, as far as its row tells: a part of a dose, or a person's run, never is.

    Raises ValueError or TypeError for a row that makes no sense.
    """
    if count(row["pulses"]) > 1 or Cause(row["cause"]) in BY_PEOPLE:
        return inf
    return min(length(row["asked_s"]), length(row["planned_s"]) or inf)


def _result(now: Instant, ran: Ran, full_s: float = inf) -> RunResult:
    """As the decisions would have written it, had they lived to hear it."""
    ended = ran.ended
    at = Instant(ran.ended_s, now.wall_s - (now.long_s - ran.ended_s), now.is_sure)
    outcome = Outcome.DONE if ended.seconds >= ran.granted_s - 0.5 else Outcome.STOPPED
    if ended.trip is not None:
        outcome = Outcome.CUT_SHORT
    return RunResult(
        ended.run_id, at, outcome, ended.seconds, ended.reason, is_full=ended.seconds >= FULL_SHARE * full_s
    )


def _cut_off(now: Instant, ran: Ran) -> RunResult:
    """The guard itself ended in the midst of it."""
    return RunResult(ran.ended.run_id, now, Outcome.INTERRUPTED, ran.granted_s, DIED_RUNNING)


def _died(row: Row, now: Instant, is_whole: bool) -> RunResult:
    run_id, granted_s = count(row["id"]), maybe(length, row["granted_s"])
    if granted_s is not None:
        return RunResult(run_id, now, Outcome.INTERRUPTED, granted_s, DIED_RUNNING)
    if is_whole:
        return RunResult(run_id, now, Outcome.INTERRUPTED, 0.0, NEVER_BEGUN)
    return RunResult(run_id, now, Outcome.INTERRUPTED, length(row["asked_s"]), DIED_BEFORE)
