"""How a run ends, and what that makes of the bed: its dose given, owed, or in shorter runs from now on."""

from dataclasses import replace

from waaler.core import pulses, signs, upkeep
from waaler.core.facts import Cause, Outcome, RunResult
from waaler.core.state import Active, Given, Stage, Wanted
from waaler.core.turn import Turn
from waaler.guard.messages import Ended, Purse, Trip

__all__ = ["account", "ended", "give_up"]

DAY_S = 86_400.0
DRY_WAIT_S = 1800.0
"""A soak tries a pump that moved nothing again after so long. Common practice, no source."""

KEEP_GIVEN_UP = 16
"""Runs that a guard which stands still for long leaves without an answer: one each quarter of a minute at most."""

SHORT_BY_S = 0.5
"""A run that ends no more than this before its deadline ran its time."""


def ended(turn: Turn, message: Ended) -> None:
    turn.put(replace(turn.state.account, last_stop_s=turn.now_s, last_run_s=message.seconds))
    upkeep.run_over(turn, message)
    active = _whose(turn, message)
    if active is None:
        return
    wanted = active.wanted
    outcome = _outcome(active, message)
    is_full = pulses.is_full(wanted, message.seconds)
    turn.write(RunResult(active.run_id, turn.at, outcome, message.seconds, message.reason, is_full))
    account(turn, wanted, message.seconds)
    if outcome is Outcome.DONE:
        _done(turn, wanted)
        signs.wait_for(turn, message)
    elif outcome is Outcome.CUT_SHORT:
        _cut(turn, wanted, message)
    if is_full:
        _is_watered(turn, wanted)
    if outcome is not Outcome.STOPPED:
        pulses.after_run(turn, wanted, message.seconds, message.trip)
    pulses.space(turn)
    if wanted.cause is Cause.SOAK:
        wait_s = DRY_WAIT_S if message.trip is Trip.NO_FLOW else turn.setup.limits.rest_s
        turn.put(replace(turn.state.later, soak_at_s=turn.now_s + wait_s))


def give_up(turn: Turn, active: Active, seconds: float, reason: str) -> None:
    """The guard never told the end of a run: it is taken to have lasted to its deadline, and the next may come."""
    given_up = (*turn.state.runs.given_up, active)[-KEEP_GIVEN_UP:]
    turn.put(replace(turn.state.runs, active=None, given_up=given_up))
    turn.put(replace(turn.state.account, last_stop_s=turn.now_s))
    turn.write(RunResult(active.run_id, turn.at, Outcome.INTERRUPTED, seconds, reason))
    if active.stage is Stage.ASKED:
        turn.answer(active.wanted.order_id, False, reason)
    account(turn, active.wanted, 0.0)
    if active.wanted.cause is Cause.PLAN:
        turn.put(replace(turn.state.account, is_owed=True))


def _whose(turn: Turn, message: Ended) -> Active | None:
    """The run that ended; one that was given up has its true end now, and its row counted for the plan before."""
    active = turn.state.runs.active
    if active is not None and active.run_id == message.run_id:
        turn.go_on_with(None)
        return active
    known = next((one for one in turn.state.runs.given_up if one.run_id == message.run_id), None)
    if known is None:
        return None
    turn.put(replace(turn.state.runs, given_up=tuple(one for one in turn.state.runs.given_up if one is not known)))
    return replace(known, wanted=replace(known.wanted, planned_s=0.0))


def account(turn: Turn, wanted: Wanted, seconds: float) -> None:
    """Enters what a cycle got into the last 24 h."""
    if wanted.key is None:
        return
    kept = tuple(given for given in turn.state.account.given if given.at_s > turn.now_s - DAY_S)
    turn.put(replace(turn.state.account, given=(*kept, Given(turn.now_s, wanted.planned_s, seconds))))


def _outcome(active: Active, message: Ended) -> Outcome:
    if message.trip is not None:
        return Outcome.CUT_SHORT
    granted_s = active.until_s - active.since_s if active.stage is Stage.RUNNING else active.wanted.seconds
    return Outcome.DONE if message.seconds >= granted_s - SHORT_BY_S else Outcome.STOPPED


def _done(turn: Turn, wanted: Wanted) -> None:
    """A run gave all that it should. The rest after a cut says nothing of a sump that dips."""
    if wanted.given_s == 0 or turn.state.dips.pulse_s is not None:
        turn.put(replace(turn.state.dips, low_cuts=0))


def _is_watered(turn: Turn, wanted: Wanted) -> None:
    """The bed has had a full run."""
    before = turn.state.account
    turn.put(replace(before, full_before_s=before.last_full_s, last_full_s=turn.now_s, is_owed=False))
    turn.put(replace(turn.state.demand, sums=()))
    if wanted.cause is Cause.PLAN:
        turn.put(replace(turn.state.account, skips_in_a_row=0))
    if wanted.is_extended:
        at_s = turn.now_s + turn.setup.sensing.extra_after_s
        turn.put(replace(turn.state.later, extra_at_s=at_s, extra_seconds=wanted.full_s))


def _cut(turn: Turn, wanted: Wanted, message: Ended) -> None:
    """A trip ended the run."""
    if wanted.cause is Cause.PLAN:
        turn.put(replace(turn.state.account, is_owed=True))
    if message.trip is Trip.LOW_SUMP and wanted.purse is not Purse.SOAK:
        pulses.shorten(turn, message.seconds)
