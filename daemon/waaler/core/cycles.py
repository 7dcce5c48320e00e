"""Which cycles are due, and what becomes of each; catch-up, extra and soak runs.

A late, doubled or missing wake-up changes nothing here: cycles are found by the time since they were last
looked for, and each has a key that is dealt with once.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import floor, inf

from waaler.core import barriers, demand
from waaler.core.doses import FRESH_S, TOO_LOW, want
from waaler.core.facts import Cause, Outcome
from waaler.core.runs import write_off
from waaler.core.state import Given, State, Wanted
from waaler.core.turn import Turn
from waaler.guard.messages import Hold, HoldKind, Purse, Trip
from waaler.plan.decide import Choice, Day, choose, is_still_dry
from waaler.plan.timetable import (
    cycles_of_day,
    daytime_gap_s,
    due,
    hot_day_cycles,
    longest_gap_s,
    longest_skip_s,
    upcoming,
)
from waaler.plan.types import Cycle, Plan

__all__ = ["look", "ready_s", "take_plan"]

TAKEN_AWAY = "an edit of the plan took it away"
FIRST_READ_S = 2.0
"""After a start, until every input was read: from then on the guard counts its start delay."""

DAY_S = 86_400.0
KEEP_KEYS_S = 2 * DAY_S


def look(turn: Turn) -> float:
    """Deals with everything that the time of day asks for; the instant of the next look."""
    cycles = _new_cycles(turn)
    hold = turn.state.barriers.hold
    if hold is not None and hold.kind is HoldKind.SOAK:
        return min(_soak(turn, cycles, hold), _next_cycle_s(turn))
    if hold is not None:
        _miss(turn, cycles, f"{hold.kind.value} by {hold.by}")
        return _next_cycle_s(turn)
    if turn.state.proving.unproven:
        for cycle in cycles:
            write_off(turn, _wanted(cycle, cycle.seconds, "as planned"), Outcome.REFUSED, barriers.REFUSAL)
        return _next_cycle_s(turn)
    if turn.now_s < turn.state.dips.try_at_s:
        _miss(turn, cycles, TOO_LOW)
        return min(_next_cycle_s(turn), turn.state.dips.try_at_s)
    _take(turn, cycles)
    for might in (_catch_up, _extra, demand.look):
        if not _is_busy(turn):
            might(turn)
    if _is_busy(turn):
        return _next_cycle_s(turn)
    return min(_next_cycle_s(turn), _next_catch_up_s(turn), turn.state.later.extra_at_s)


def take_plan(turn: Turn, plan: Plan) -> None:
    """The plan from now on. What is due goes by the plan before; what the new one no longer has is written down."""
    look(turn)
    before = _to_come(turn)
    turn.put(replace(turn.state.setup, plan=plan))
    turn.put(replace(turn.state.calendar, looked_at_s=turn.at.wall_s, quiet=None))
    left = {cycle.key for cycle in _to_come(turn)}
    for cycle in before:
        if cycle.key not in left:
            write_off(turn, _wanted(cycle, cycle.seconds, "as planned"), Outcome.TAKEN_AWAY, TAKEN_AWAY)


def _to_come(turn: Turn) -> list[Cycle]:
    """The cycles of today, and of a night that began yesterday, whose time has not come; without fallbacks."""
    state = turn.state
    days = (turn.today - timedelta(days=1), turn.today)
    cycles = [cycle for day in days for cycle in cycles_of_day(turn.plan, day) if not cycle.is_fallback]
    if state.calendar.hot_day is not None:
        cycles += hot_day_cycles(turn.plan, state.calendar.hot_day)
    return sorted((c for c in cycles if c.start.timestamp() > turn.at.wall_s), key=lambda cycle: cycle.start)


def _is_busy(turn: Turn) -> bool:
    return turn.state.runs.active is not None or bool(turn.state.runs.queue)


def _new_cycles(turn: Turn) -> list[Cycle]:
    """Cycles since the last look that were not dealt with before.

    A clock set back looks from its new time on; one that has just become sure tells nothing of the time before.
    """
    state = turn.state
    since_s = min(state.calendar.looked_at_s, turn.at.wall_s)
    turn.put(replace(turn.state.calendar, looked_at_s=turn.at.wall_s))
    if turn.at.is_sure is not turn.before.is_sure:
        turn.put(replace(turn.state.calendar, quiet=None))
    was_just_set = turn.at.is_sure and not turn.before.is_sure
    if was_just_set or since_s == turn.at.wall_s or _is_quiet(turn, since_s):
        return []
    since, now = _instant(since_s), _instant(turn.at.wall_s)
    found = list(due(turn.plan, since, now))
    if state.calendar.hot_day is not None:
        found += [
            cycle for cycle in hot_day_cycles(turn.plan, state.calendar.hot_day) if since < cycle.start <= now
        ]
    done = dict(state.calendar.done)
    repeat_s = longest_gap_s(turn.plan, turn.today)
    new = [c for c in found if turn.now_s - done.get(c.key, -inf) >= repeat_s and _counts(turn, c)]
    if new:
        kept = tuple((key, at_s) for key, at_s in state.calendar.done if turn.now_s - at_s < KEEP_KEYS_S)
        turn.put(replace(turn.state.calendar, done=kept + tuple((cycle.key, turn.now_s) for cycle in new)))
    return sorted(new, key=lambda cycle: cycle.start)


def _instant(wall_s: float) -> datetime:
    """The microsecond that has begun: a look that is rounded up to a cycle's start would take it for dealt with."""
    return datetime.fromtimestamp(floor(wall_s * 1e6) / 1e6, UTC)


def _is_quiet(turn: Turn, since_s: float) -> bool:
    """Whether it is known that no cycle begins from then on until now."""
    quiet = turn.state.calendar.quiet
    return quiet is not None and quiet[0] <= since_s and turn.at.wall_s < quiet[1]


def _counts(turn: Turn, cycle: Cycle) -> bool:
    """A fallback cycle counts while its window's input is not valid, and when nothing ran for the longest gap."""
    if not cycle.is_fallback:
        return True
    window = next((w for w in turn.plan.windows if w.name == cycle.key.window), None)
    if window is None or window.on_demand is None:
        return True
    if not demand.is_valid(turn, window.on_demand.trigger):
        return True
    return turn.now_s - turn.state.account.last_full_s >= longest_gap_s(turn.plan, turn.today)


def _take(turn: Turn, cycles: list[Cycle]) -> None:
    """Of several that came due at once the last is run, if it is still fresh; the others are missed."""
    if not cycles:
        return
    last = cycles[-1]
    is_fresh = turn.at.wall_s - last.start.timestamp() <= FRESH_S
    _miss(turn, cycles[:-1] if is_fresh else cycles, "its time passed while nothing could run")
    if is_fresh:
        _decide(turn, last)


def _miss(turn: Turn, cycles: list[Cycle], reason: str) -> None:
    for cycle in cycles:
        write_off(turn, _wanted(cycle, cycle.seconds, "as planned"), Outcome.MISSED, reason)
        turn.put(replace(turn.state.account, is_owed=True))


def _decide(turn: Turn, cycle: Cycle) -> None:
    choice = choose(turn.setup.sensing, turn.state.advice.advisers, cycle.seconds, _day(turn, cycle))
    if choice.seconds > 0:
        want(turn, _wanted(cycle, choice.seconds, choice.reason, choice.is_extended))
        return
    write_off(turn, _wanted(cycle, 0.0, choice.reason), Outcome.SKIPPED, choice.reason)
    _note_skip(turn, cycle, choice)


def _note_skip(turn: Turn, cycle: Cycle, choice: Choice) -> None:
    given = (*turn.state.account.given, Given(turn.now_s, cycle.seconds, choice.seconds, is_skip=True))
    turn.put(replace(turn.state.account, skips_in_a_row=turn.state.account.skips_in_a_row + 1, given=given))


def _wanted(cycle: Cycle, seconds: float, reason: str, is_extended: bool = False) -> Wanted:
    return Wanted(
        Cause.PLAN,
        Purse.PLAN,
        seconds,
        reason,
        planned_s=cycle.seconds,
        key=cycle.key,
        is_extended=is_extended,
    )


def _day(turn: Turn, cycle: Cycle | None = None) -> Day:
    state = turn.state
    recent = [given for given in state.account.given if given.at_s > turn.now_s - DAY_S]
    first = min((c.start for c in cycles_of_day(turn.plan, cycle.key.day)), default=None) if cycle else None
    return Day(
        now_s=turn.now_s,
        is_first_of_day=cycle is not None and cycle.start == first,
        skips_in_a_row=state.account.skips_in_a_row,
        planned_s=sum(given.planned_s for given in recent),
        given_s=sum(given.given_s for given in recent),
        since_full_run_s=turn.now_s - state.account.last_full_s,
        since_stop_s=turn.now_s - state.account.last_stop_s,
        longest_gap_s=longest_skip_s(turn.plan, turn.today),
        longest_run_s=state.setup.limits.longest_run_s,
        until_next_s=0.0 if cycle is None else _until_next_s(turn, cycle),
    )


def _until_next_s(turn: Turn, cycle: Cycle) -> float:
    """From now to the plan's next cycle that is no fallback; inf where none comes within the longest wait."""
    latest = cycle.start + timedelta(seconds=longest_skip_s(turn.plan, turn.today))
    others = (other.start for other in due(turn.plan, cycle.start, latest) if not other.is_fallback)
    following = next(others, None)
    return inf if following is None else following.timestamp() - turn.at.wall_s


def _gap_s(turn: Turn) -> float:
    """The longest time without a full run once one is owed; shorter while the clock is unsure."""
    plan = turn.plan
    return longest_gap_s(plan, turn.today) if turn.at.is_sure else daytime_gap_s(plan, turn.today)


def _next_catch_up_s(turn: Turn) -> float:
    is_stopped = bool(turn.state.barriers.trips - {Trip.NO_FLOW})
    if is_stopped or (not turn.state.account.is_owed and turn.at.is_sure):
        return inf
    return max(turn.state.account.last_full_s + _gap_s(turn), turn.state.later.catch_up_at_s, ready_s(turn.state))


def ready_s(state: State) -> float:
    """When the guard could grant a first run after a start; a stop of unknown age counts as the start."""
    stopped_s = state.started_s if state.account.last_stop_s == -inf else state.account.last_stop_s
    good_s = state.started_s + state.setup.limits.start_delay_s + FIRST_READ_S
    return max(good_s, stopped_s + state.setup.limits.rest_s)


def _catch_up(turn: Turn) -> None:
    """One run for a bed that waited too long for one it should have had."""
    state = turn.state
    if turn.now_s < _next_catch_up_s(turn):
        return
    turn.put(replace(turn.state.later, catch_up_at_s=turn.now_s + longest_gap_s(turn.plan, turn.today)))
    cycle = next(iter(upcoming(turn.plan, datetime.fromtimestamp(turn.at.wall_s, UTC))), None)
    if cycle is None:
        return
    hours = (turn.now_s - state.account.last_full_s) / 3600
    since = "unknown" if state.account.last_full_s == -inf else f"{hours:.1f} h ago"
    reason = f"overdue: a planned cycle did not run, last full run {since}"
    want(turn, Wanted(Cause.CATCH_UP, Purse.SPARE, cycle.seconds, reason))


def _extra(turn: Turn) -> None:
    """Still dry some time after a lengthened run: once more, since perlite wants it more often, not longer."""
    if turn.now_s < turn.state.later.extra_at_s:
        return
    turn.put(replace(turn.state.later, extra_at_s=inf))
    dry = is_still_dry(turn.setup.sensing, turn.state.advice.advisers, _day(turn))
    if dry is not None:
        reason = f"{dry.adviser.name} reads {round(dry.value or 0.0)} %, still dry after a longer run"
        want(turn, Wanted(Cause.EXTRA, Purse.SPARE, turn.state.later.extra_seconds, reason))


def _soak(turn: Turn, cycles: list[Cycle], hold: Hold) -> float:
    """Run after run of the longest length; the plan's cycles are part of it."""
    for cycle in cycles:
        write_off(turn, _wanted(cycle, 0.0, "as planned"), Outcome.SKIPPED, "a soak is in progress")
    if turn.now_s >= hold.until_s:
        return inf  # the guard's word of its end is on its way
    if _is_busy(turn) or turn.state.barriers.trips - {Trip.NO_FLOW}:
        return hold.until_s
    if turn.now_s < turn.state.later.soak_at_s:
        return min(hold.until_s, turn.state.later.soak_at_s)
    seconds = turn.setup.limits.longest_run_s
    want(turn, Wanted(Cause.SOAK, Purse.SOAK, seconds, f"soak until {turn.clock_text(hold.until_s)}"))
    return hold.until_s


def _next_cycle_s(turn: Turn) -> float:
    if not _is_quiet(turn, turn.at.wall_s):
        turn.put(replace(turn.state.calendar, quiet=(turn.at.wall_s, _next_start_wall_s(turn))))
    assert turn.state.calendar.quiet is not None
    return turn.long_of(turn.state.calendar.quiet[1])


def _next_start_wall_s(turn: Turn) -> float:
    """The wall time of the next cycle; a day ahead where there is none."""
    now = datetime.fromtimestamp(turn.at.wall_s, UTC)
    starts = [cycle.start for cycle in upcoming(turn.plan, now)]
    if turn.state.calendar.hot_day is not None:
        starts += [c.start for c in hot_day_cycles(turn.plan, turn.state.calendar.hot_day) if c.start > now]
    return min(starts, default=now + timedelta(days=1)).timestamp()
