"""The guard's machine: one event in, the new state and what must be done out. Pure.

Only what it answers with may energise the pump. It looks at the passing of time before and after every
message, so that no order of events lets a run outlive its deadline or a bad input.
"""

from dataclasses import replace
from math import inf

from waaler.guard.asking import blocks, granted_until_s, words
from waaler.guard.limits import Limits
from waaler.guard.memory import DAY_S, Span
from waaler.guard.messages import (
    Action,
    Ask,
    Clear,
    Cut,
    Ended,
    Event,
    Flow,
    Granted,
    LevelRead,
    LockLifted,
    LockStays,
    Message,
    NewLimits,
    Permit,
    Permitted,
    ReadBack,
    Refused,
    Relay,
    Trip,
    TripEnded,
    Tripped,
    Wake,
)  # fmt: skip
from waaler.guard.state import PLAN_PURSES, Run, State, energised_s, read_level
from waaler.guard.watch import Watch, look, next_look_s

__all__ = ["OFF_WITHIN_S", "step"]

OFF_WITHIN_S = 0.2
"""A relay told off must read off after this long. Source: our own S1; relays release in some 10 ms."""

FLOW_OFF_SHARE = 0.2
FLOW_OFF_FOR_S = 30.0
"""Flow with the pump off must pass this share of normal for this long, since a line that runs back turns the
meter. Common practice, no source."""

Step = tuple[State, tuple[Action, ...]]


def step(state: State, event: Event) -> tuple[State, tuple[Action, ...], float]:
    """The new state, the actions in their order, and when to wake the guard (long hand, inf if never)."""
    now_s = max(event.at.long_s, state.now_s)
    state, first = _pass_time(replace(state, now_s=now_s))
    state, said = _receive(state, event.message)
    state, last = _pass_time(state)
    return state, first + said + last, _wake_at_s(state)


def _receive(state: State, message: Message) -> Step:
    match message:
        case LevelRead():
            return read_level(state, message, state.now_s), ()
        case Ask():
            return _answer(state, message)
        case Cut(reason):
            return _end(state, reason)
        case Flow(l_per_min):
            return _flow(state, l_per_min)
        case ReadBack(is_on):
            return replace(state, is_read_back_on=is_on), ()
        case Permit():
            return _permit(state, message)
        case Clear(by):
            return _clear(state, by)
        case NewLimits(limits):
            return _take_limits(state, limits), ()
        case Wake():
            return state, ()


def _answer(state: State, ask: Ask) -> Step:
    against = tuple(blocks(state, ask))
    if against:
        times = [block.free_at_s for block in against]
        known = [time_s for time_s in times if time_s is not None]
        free_at_s = max(known) if len(known) == len(times) else None
        hardest = next((block for block in against if block.free_at_s is None), against[0])
        return state, (Refused(ask.run_id, hardest.reason, free_at_s),)
    run = Run(ask.run_id, ask.purse, started_s=state.now_s, until_s=granted_until_s(state, ask))
    return replace(state, run=run, flow_since_s=None, on_since_s=None), (
        Relay(on=True),
        Granted(run.run_id, run.until_s),
    )


def _end(state: State, reason: str, trip: Trip | None = None) -> Step:
    run = state.run
    if run is None:
        return state, ()
    kept = tuple(span for span in state.spans if span.ended_s > state.now_s - DAY_S)
    span = Span(run.started_s, state.now_s, run.purse)
    state = replace(state, run=None, spans=(*kept, span), last_stop_s=state.now_s)
    return state, (Relay(on=False), Ended(run.run_id, state.now_s - run.started_s, reason, trip))


def _pass_time(state: State) -> Step:
    state, levels = _look_at_levels(state)
    state, run = _look_at_run(state)
    state, idle = _look_at_rest(state)
    state, permits = _look_at_permits(state)
    return state, levels + run + idle + permits


def _look_at_levels(state: State) -> Step:
    watches = tuple((name, look(watch, state.now_s)) for name, watch in state.watches)
    actions: list[Action] = []
    for (name, before), (_, after) in zip(state.watches, watches, strict=True):
        if before.trip is after.trip:
            continue
        if before.trip is not None:
            actions.append(TripEnded(before.trip))
        if after.trip is not None:
            actions.append(Tripped(after.trip, words(after.trip, name), is_locked=False))
    return replace(state, watches=watches), tuple(actions)


def _look_at_run(state: State) -> Step:
    """Ends the run in progress when a protective input acted, its time is over, or nothing flows."""
    run = state.run
    if run is None:
        return state, ()
    for name, watch in state.watches:
        if watch.trip is not None:
            return _end(state, words(watch.trip, name), watch.trip)
    if not state.now_s < run.until_s:
        return _end_at_deadline(state, run)
    if _is_dry(state, run):
        state, ended = _end(replace(state, has_no_flow=True), words(Trip.NO_FLOW), Trip.NO_FLOW)
        return state, (*ended, Tripped(Trip.NO_FLOW, words(Trip.NO_FLOW), is_locked=False))
    return state, ()


def _end_at_deadline(state: State, run: Run) -> Step:
    if state.now_s < run.until_s + state.limits.late_s:
        return _end(state, run.because)
    state, ended = _end(state, words(Trip.OVERRUN), Trip.OVERRUN)
    state, locked = _lock(state, Trip.OVERRUN)
    return state, ended + locked


def _is_dry(state: State, run: Run) -> bool:
    """Whether flow should have been seen since the start and was not."""
    limits = state.limits
    if limits.normal_flow_l_per_min is None or state.now_s < run.started_s + limits.flow_within_s:
        return False
    is_seen = state.flow_read_s > run.started_s and (state.flow_l_per_min or 0.0) > 0
    return not is_seen


def _look_at_rest(state: State) -> Step:
    """With the relay off, neither supply nor water may show a pump that runs."""
    if state.run is not None:
        return state, ()
    actions: tuple[Action, ...] = ()
    on_since_s = state.on_since_s
    if not state.is_read_back_on:
        on_since_s = None
    elif on_since_s is None:
        on_since_s = state.now_s
    state = replace(state, on_since_s=on_since_s)
    if on_since_s is not None and state.now_s >= on_since_s + OFF_WITHIN_S:
        state, actions = _lock(state, Trip.OVERRUN)
    if state.flow_since_s is not None and state.now_s >= state.flow_since_s + FLOW_OFF_FOR_S:
        state, more = _lock(state, Trip.FLOW_WHILE_OFF)
        actions += more
    return state, actions


def _look_at_permits(state: State) -> Step:
    over = tuple(permit for permit in state.permits if not state.now_s < permit.until_s)
    if not over:
        return state, ()
    left = tuple(permit for permit in state.permits if permit not in over)
    return replace(state, permits=left), tuple(Permitted(permit.purse, None) for permit in over)


def _flow(state: State, l_per_min: float) -> Step:
    """Keeps the reading; with the pump off, marks since when more than a running-back line would move."""
    state = replace(state, flow_l_per_min=l_per_min, flow_read_s=state.now_s)
    normal_l_per_min = state.limits.normal_flow_l_per_min
    is_off = state.run is None and state.now_s >= state.last_stop_s + state.limits.line_drain_s
    if normal_l_per_min is None or not is_off or not l_per_min > FLOW_OFF_SHARE * normal_l_per_min:
        state = replace(state, flow_since_s=None)
    elif state.flow_since_s is None:
        state = replace(state, flow_since_s=state.now_s)
    if state.has_no_flow and state.run is not None and l_per_min > 0:
        return replace(state, has_no_flow=False), (TripEnded(Trip.NO_FLOW),)
    return state, ()


def _permit(state: State, permit: Permit) -> Step:
    """A later permit for the same purse replaces the earlier; one that is over by now takes it back."""
    others = tuple(other for other in state.permits if other.purse is not permit.purse)
    return replace(state, permits=(*others, permit)), (Permitted(permit.purse, permit.until_s),)


def _lock(state: State, trip: Trip) -> Step:
    if trip in state.locks:
        return state, ()
    return replace(state, locks=state.locks | {trip}), (Tripped(trip, words(trip), is_locked=True),)


def _clear(state: State, by: str) -> Step:
    actions: list[Action] = []
    left = set(state.locks)
    for trip in sorted(state.locks):
        cause = _cause_still_there(state, trip)
        if cause is None:
            left.discard(trip)
            actions.append(LockLifted(trip, by))
        else:
            actions.append(LockStays(trip, cause))
    return replace(state, locks=frozenset(left)), tuple(actions)


def _cause_still_there(state: State, trip: Trip) -> str | None:
    if trip is Trip.OVERRUN and state.is_read_back_on:
        return "the supply behind the last contact is still live"
    if trip is Trip.FLOW_WHILE_OFF and state.flow_since_s is not None:
        return "water still moves"
    return None


def _take_limits(state: State, limits: Limits) -> State:
    """Stricter limits shorten a run in progress, looser ones leave it alone. The fitted inputs stay."""
    limits = replace(
        limits,
        has_sump_float=state.limits.has_sump_float,
        has_tray_float=state.limits.has_tray_float,
        has_read_back=state.limits.has_read_back,
    )
    watches = tuple((name, _watch_with(watch, limits)) for name, watch in state.watches)
    state = replace(state, limits=limits, watches=watches)
    run = state.run
    if run is None:
        return state
    until_s = min(run.until_s, run.started_s + limits.longest_run_s)
    if run.purse in PLAN_PURSES:
        over_s = energised_s(state, PLAN_PURSES) - limits.most_per_day_s
        until_s = min(until_s, run.until_s - over_s)
    if until_s < run.until_s:
        run = replace(run, until_s=max(until_s, state.now_s), because="a stricter limit was set")
    return replace(state, run=run)


def _watch_with(watch: Watch, limits: Limits) -> Watch:
    settle_s = limits.settle_sump_s if watch.meaning is Trip.LOW_SUMP else limits.settle_tray_s
    settle_s = max(settle_s, limits.run_back_s)
    hold_s = watch.hold_s if watch.trip is None else max(watch.hold_s or 0.0, settle_s)
    return replace(
        watch,
        confirm_s=limits.confirm_s,
        stale_after_s=limits.stale_after_s,
        settle_s=settle_s,
        hold_s=hold_s,
    )


def _wake_at_s(state: State) -> float:
    due = [next_look_s(watch) for _, watch in state.watches]
    due += [permit.until_s for permit in state.permits]
    if state.run is not None:
        due.append(state.run.until_s)
        if state.limits.normal_flow_l_per_min is not None:
            seen_by_s = state.run.started_s + state.limits.flow_within_s
            due.append(seen_by_s if seen_by_s > state.now_s else inf)
    if state.run is None and state.on_since_s is not None and Trip.OVERRUN not in state.locks:
        due.append(state.on_since_s + OFF_WITHIN_S)
    if state.flow_since_s is not None and Trip.FLOW_WHILE_OFF not in state.locks:
        due.append(state.flow_since_s + FLOW_OFF_FOR_S)
    return min(due, default=inf)
