"""A dose: what a cycle shall get, or a run that stands in for one; in pulses while the sump dips too far for it.

Of each dose one run waits or is on its way; what it leaves comes after it, `run_back` apart. A dose expires with
its cycle, so that none piles up on the next. How a run ends decides what was given, what is owed, and how long the
next runs are.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import ceil, inf

from waaler.core import evidence, sump
from waaler.core.alert import AlertKind, LowInRuns, Severity
from waaler.core.facts import Act, Cause, Outcome, RunResult
from waaler.core.state import Active, Given, Stage, Wanted
from waaler.core.sump_state import LeakSign
from waaler.core.turn import Turn
from waaler.guard.messages import Ended, Purse, Trip
from waaler.plan.timetable import daytime_gap_s, due, upcoming

__all__ = [
    "BY_PEOPLE", "FRESH_S", "FULL_SHARE", "TOO_LOW", "account", "after_refusal", "dose_s", "ended", "give_up",
    "is_full", "left_s", "must_wait", "want", "why",
]  # fmt: skip

BY_PEOPLE = frozenset({Cause.HAND, Cause.ATTENDED, Cause.SOAK})
FRESH_S = 900.0
"""A cycle that could not begin for so long after its time is missed, not run. Common practice, no source."""

FULL_SHARE = 0.9
"""Of what the plan has for it, that makes a run a full one. With LEAST_REST_S: common practice, no source."""

LEAST_REST_S = 10.0
PULSE_SHARE = 0.8
"""In pulses a run takes this share of the time after which the sump's float fell. Common practice, no source."""

CUTS_BEFORE_PULSES = 2
TRY_AFTER_S = (2 * 3600.0, 4 * 3600.0)
"""After a run that gave the plants nothing, and after each further one: at most six tries a day. Common practice,
no source."""

TOO_LOW = "the sump falls low before water reaches the plants"
RETRY_S = 600.0
CUTS_TO_MAKE_UP = frozenset({None, Trip.LOW_SUMP, Trip.HIGH_TRAY, Trip.NOT_READ})
"""After these the rest of a dose may come; no flow and a lock are no matter of waiting."""


DAY_S = 86_400.0
DRY_WAIT_S = 1800.0
"""A soak tries a pump that moved nothing again after so long. Common practice, no source."""

KEEP_GIVEN_UP = 16
"""Runs that a guard which stands still for long leaves without an answer: one each quarter of a minute at most."""

SHORT_BY_S = 0.5
"""A run that ends no more than this before its deadline ran its time."""


def want(turn: Turn, wanted: Wanted) -> None:
    """Queues a dose, in pulses while the sump dips too far for a whole run, halved while water is lost."""
    wanted = _spared(turn, wanted)
    full_s = min(wanted.seconds, wanted.planned_s or inf)
    dose = replace(wanted, full_s=full_s, expires_s=_expires_s(turn, wanted))
    turn.wait(_part(turn, dose, wanted.seconds, wanted.planned_s))


def dose_s(turn: Turn) -> float:
    """What the plan's next cycle has, seconds: a run by hand that gives as much is a full one; inf without one."""
    cycle = next(iter(upcoming(turn.plan, datetime.fromtimestamp(turn.at.wall_s, UTC))), None)
    return inf if cycle is None else cycle.seconds


def is_full(wanted: Wanted, seconds: float) -> bool:
    """Whether a run of so many seconds makes its dose a full one; a soak never is."""
    return wanted.purse is not Purse.SOAK and wanted.given_s + seconds >= FULL_SHARE * wanted.full_s


def left_s(wanted: Wanted) -> float:
    """What is still to come of a dose whose run has not begun."""
    return wanted.seconds + wanted.rest_s


def _after_run(turn: Turn, wanted: Wanted, seconds: float, trip: Trip | None) -> None:
    """A run ended by itself or by a trip: queues what it left of its dose."""
    rest_s = wanted.rest_s + max(0.0, wanted.seconds - seconds)
    if wanted.cause in BY_PEOPLE or trip not in CUTS_TO_MAKE_UP or rest_s <= LEAST_REST_S:
        return
    dose = replace(
        wanted,
        pulse=wanted.pulse + 1,
        given_s=wanted.given_s + seconds,
        refusals=0,
        not_before_s=turn.now_s + turn.setup.limits.run_back_s,
    )
    turn.wait(_part(turn, dose, rest_s, wanted.rest_planned_s))


def after_refusal(turn: Turn, wanted: Wanted, free_at_s: float | None) -> None:
    """The guard refused: asked again where that may still come in time. The refusal's row stands for its plan."""
    has_begun = wanted.given_s > 0
    if wanted.cause in BY_PEOPLE or not (has_begun or wanted.cause is Cause.PLAN):
        return
    if free_at_s is None and not has_begun:
        return
    not_before_s = max(free_at_s or turn.now_s + RETRY_S, turn.now_s + 1.0)
    fresh_s = inf if wanted.key is None else turn.long_of(wanted.key.start_s) + FRESH_S
    if not has_begun and not_before_s >= min(wanted.expires_s, fresh_s):
        return
    dose = replace(wanted, refusals=wanted.refusals + 1, not_before_s=not_before_s)
    turn.wait(_part(turn, dose, left_s(wanted), wanted.rest_planned_s))


def must_wait(turn: Turn, wanted: Wanted) -> bool:
    """Whether it waits for a sump that can carry it, or for the end of a trip, as what was cut or refused before
    does; a first ask is refused. What a person ordered is tried at once.
    """
    if turn.now_s < turn.state.dips.try_at_s and wanted.cause not in BY_PEOPLE:
        return True
    return (wanted.given_s > 0 or wanted.refusals > 0) and bool(turn.state.barriers.trips - {Trip.NO_FLOW})


def why(wanted: Wanted) -> str:
    """The reason of a run, with its place in its dose."""
    if wanted.pulses == 1:
        return wanted.reason
    if wanted.rest_s == 0 and wanted.seconds > sump.LEAST_WATERING_S and wanted.pulse == 2 == wanted.pulses:
        return f"{wanted.reason}; what a cut left of it"
    return f"{wanted.reason}; pulse {wanted.pulse} of {wanted.pulses}, since the sump dips too far for a whole run"


def _shorten(turn: Turn, seconds: float) -> None:
    """A sump that dips cut a run after so many seconds. Twice in a row, or in a pulse: shorter runs from now on."""
    before_s = turn.state.dips.pulse_s
    turn.put(replace(turn.state.dips, low_cuts=turn.state.dips.low_cuts + 1))
    if before_s is None and turn.state.dips.low_cuts < CUTS_BEFORE_PULSES:
        return
    pulse_s = max(sump.least_s(turn), min(before_s or inf, PULSE_SHARE * seconds))
    if pulse_s == before_s:
        return
    turn.put(replace(turn.state.dips, pulse_s=pulse_s))
    turn.deed(Act.PULSES, f"runs of at most {pulse_s:.0f} s until a refill", seconds=pulse_s)
    turn.find(AlertKind.LOW_IN_RUNS, Severity.URGENT, LowInRuns(turn.state.dips.low_cuts, pulse_s))


def _space(turn: Turn) -> None:
    """After any run the next pulse waits until the water is back."""
    next_s = turn.now_s + turn.setup.limits.run_back_s
    turn.put(replace(turn.state.runs, queue=tuple(_not_before(one, next_s) for one in turn.state.runs.queue)))


def _not_before(wanted: Wanted, next_s: float) -> Wanted:
    if wanted.pulses == 1:
        return wanted
    return replace(wanted, not_before_s=max(wanted.not_before_s, next_s))


def _part(turn: Turn, dose: Wanted, seconds: float, planned_s: float) -> Wanted:
    """The next run of a dose of which so many seconds are left, and what comes after it."""
    pulse_s = turn.state.dips.pulse_s
    runs = 1 if pulse_s is None or dose.purse is Purse.SOAK else max(1, ceil(seconds / pulse_s - 1e-9))
    return replace(
        dose,
        seconds=seconds / runs,
        rest_s=seconds - seconds / runs,
        planned_s=planned_s / runs,
        rest_planned_s=planned_s - planned_s / runs,
        pulses=dose.pulse - 1 + runs,
    )


def _expires_s(turn: Turn, wanted: Wanted) -> float:
    """When the cycle's time is over: with the next one of its window, and no later than cycles are apart by day.

    What stands in for a cycle gives way to the next one of any window.
    """
    if wanted.purse is Purse.SOAK:
        return inf
    window = None if wanted.key is None else wanted.key.window
    start = datetime.fromtimestamp(turn.at.wall_s if wanted.key is None else wanted.key.start_s, UTC)
    latest = start + timedelta(seconds=daytime_gap_s(turn.plan, turn.today))
    others = (cycle.start for cycle in due(turn.plan, start, latest) if window in (None, cycle.key.window))
    return turn.long_of(next(others, latest).timestamp())


def _spared(turn: Turn, wanted: Wanted) -> Wanted:
    """Half of it where a run loses water; what a person ordered stays whole."""
    leak = None if turn.state.water.sump is None else turn.state.water.sump.leak
    if leak is None or leak.sign is not LeakSign.AFTER_RUN or wanted.cause in BY_PEOPLE:
        return wanted
    return replace(wanted, seconds=wanted.seconds / 2, reason=f"{wanted.reason}; halved, since a leak is suspected")


def _try_later(turn: Turn) -> None:
    """A low sump ended a run before water reached the plants: the next comes only after a while."""
    vain = turn.state.dips.vain
    wait_s = TRY_AFTER_S[min(vain, len(TRY_AFTER_S) - 1)]
    turn.put(replace(turn.state.dips, vain=vain + 1, try_at_s=turn.now_s + wait_s))
    turn.deed(Act.TOO_LOW, TOO_LOW, until_s=turn.now_s + wait_s, seconds=wait_s)


def ended(turn: Turn, message: Ended) -> None:
    turn.put(replace(turn.state.account, last_stop_s=turn.now_s, last_run_s=message.seconds))
    evidence.run_over(turn, message)
    active = _whose(turn, message)
    if active is None:
        return
    wanted = active.wanted
    outcome = _outcome(active, message)
    is_whole = is_full(wanted, message.seconds)
    turn.write(RunResult(active.run_id, turn.at, outcome, message.seconds, message.reason, is_whole))
    account(turn, wanted, message.seconds)
    if message.seconds >= sump.least_s(turn):
        sump.is_high_enough(turn)
    if outcome is Outcome.DONE:
        _done(turn, wanted)
        evidence.wait_for(turn, message)
    elif outcome is Outcome.CUT_SHORT:
        _cut(turn, wanted, message)
    if is_whole:
        _is_watered(turn, wanted)
    if outcome is not Outcome.STOPPED:
        _after_run(turn, wanted, message.seconds, message.trip)
    _space(turn)
    if wanted.cause is Cause.SOAK:
        wait_s = DRY_WAIT_S if message.trip is Trip.NO_FLOW else turn.setup.limits.rest_s
        turn.put(replace(turn.state.later, soak_at_s=max(turn.now_s + wait_s, turn.state.dips.try_at_s)))


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
    if message.trip is not Trip.LOW_SUMP or wanted.purse is Purse.ATTENDED:
        return  # while a person works there, levels are expected to be odd
    if message.seconds < sump.least_s(turn):
        _try_later(turn)
    elif wanted.purse is not Purse.SOAK:
        _shorten(turn, message.seconds)
