"""The guard's machine: one event in, the new state and what must be done out. Pure.

Only what it answers with may energise the pump. It looks at the passing of time before and after every
message, so that no order of events lets a run outlive its deadline or a bad input.
"""

from dataclasses import replace
from math import inf

from waaler.guard import contacts, holds, moving
from waaler.guard.asking import blocks, granted_until_s
from waaler.guard.ending import Step, end, lock
from waaler.guard.limits import Limits, as_fitted
from waaler.guard.messages import (
    Action,
    Alone,
    Ask,
    BeginHold,
    Clear,
    Contact,
    Cut,
    Disarm,
    EndHolds,
    Event,
    Flow,
    Granted,
    Level,
    LevelRead,
    LockLifted,
    LockStays,
    Message,
    NewLimits,
    Purse,
    ReadBack,
    Refused,
    Relay,
    RelayRead,
    Reserve,
    Seen,
    Stop,
    Trip,
    TripEnded,
    Tripped,
    Wake,
)  # fmt: skip
from waaler.guard.state import PLAN_PURSES, Run, State, energised_s, read_level
from waaler.guard.watch import Watch, look, next_look_s, shows
from waaler.guard.words import words

__all__ = ["step"]


def step(state: State, event: Event) -> tuple[State, tuple[Action, ...], float]:
    """The new state, the actions in their order, and when to wake the guard (long hand, inf if never)."""
    if event.at.long_s > state.now_s:
        state = replace(state, now_s=event.at.long_s)
    state, first = _pass_time(state)
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
            return end(state, reason)
        case Flow(l_per_min):
            return moving.flow(state, l_per_min)
        case ReadBack(is_on):
            return moving.read_back(state, is_on), ()
        case Stop():
            return holds.stop(state, message)
        case RelayRead(is_on):
            return moving.relay_read(state, is_on)
        case BeginHold():
            return holds.begin_hold(state, message)
        case EndHolds():
            return holds.end_holds(state, message)
        case Reserve(run_id):
            return replace(state, reserved_run_id=max(state.reserved_run_id, run_id)), ()
        case Disarm():
            return replace(state, seen=frozenset()), ()
        case Clear(by):
            return _clear(state, by)
        case NewLimits(limits):
            return _take_limits(state, limits), ()
        case Wake():
            return state, ()


def _answer(state: State, ask: Ask) -> Step:
    if state.run is not None and state.run.run_id == ask.run_id:
        # the same asked twice is the run that is on its way: a refusal of it would be untrue
        return state, (Granted(ask.run_id, state.run.until_s),)
    against = tuple(blocks(state, ask))
    if against:
        times = [block.free_at_s for block in against]
        known = [time_s for time_s in times if time_s is not None]
        free_at_s = max(known) if len(known) == len(times) else None
        hardest = next((block for block in against if block.free_at_s is None), against[0])
        return state, (Refused(ask.run_id, hardest.reason, free_at_s),)
    now_s = state.now_s
    run = Run(ask.run_id, ask.purse, started_s=now_s, until_s=granted_until_s(state, ask), waters_from_s=now_s)
    first: Action = Relay(on=True)
    if contacts.is_due(state):
        run, first = contacts.begun(run), Alone(Contact.MAIN)
    state = replace(
        state,
        run=run,
        flow_since_s=None,
        on_since_s=None,
        line_on_since_s=None,
        last_run_id=run.run_id,
        reserved_run_id=max(state.reserved_run_id, run.run_id),
        has_watered=state.has_watered or ask.purse is Purse.PLAN,
    )
    return state, (first, Granted(run.run_id, run.until_s))


def _pass_time(state: State) -> Step:
    state, levels = _look_at_levels(state)
    state, run = _look_at_run(state)
    state, idle = moving.look(state)
    state, over = holds.look(state)
    return state, levels + run + idle + over


def _look_at_levels(state: State) -> Step:
    watches = tuple((name, look(watch, state.now_s)) for name, watch in state.watches)
    actions: list[Action] = []
    is_same = True
    for (name, before), (_, after) in zip(state.watches, watches, strict=True):
        is_same = is_same and before is after
        if before.trip is after.trip:
            continue
        if before.trip is not None:
            actions.append(TripEnded(before.trip, name))
        if after.trip is not None:
            actions.append(Tripped(after.trip, words(after.trip, name), is_locked=False, input=name))
    seen = {(name, level) for name, watch in watches if (level := shows(watch, state.now_s)) is not None}
    new = sorted(seen - state.seen)
    if new or not is_same:
        state = replace(state, watches=watches, seen=state.seen | seen if new else state.seen)
    return state, (*actions, *(Seen(name, Level(level)) for name, level in new))


def _look_at_run(state: State) -> Step:
    """Ends the run in progress when a protective input acted, its time is over, or nothing flows."""
    run = state.run
    if run is None:
        return state, ()
    if not state.now_s < run.until_s + state.limits.late_s:
        return _end_at_deadline(state, run)  # whatever else came to light meanwhile, it ran too long
    for name, watch in state.watches:
        if watch.trip is not None:
            return end(state, words(watch.trip, name), watch.trip)
    if not state.now_s < run.until_s:
        return _end_at_deadline(state, run)
    if run.testing is not None:
        return _look_at_contacts(state, run)
    if moving.is_dry(state, run):
        state, ended = end(replace(state, has_no_flow=True), words(Trip.NO_FLOW), Trip.NO_FLOW)
        return state, (*ended, Tripped(Trip.NO_FLOW, words(Trip.NO_FLOW), is_locked=False))
    return state, ()


def _end_at_deadline(state: State, run: Run) -> Step:
    if state.now_s < run.until_s + state.limits.late_s:
        return end(state, run.because)
    state, ended = end(state, words(Trip.OVERRUN), Trip.OVERRUN)
    state, locked = lock(state, Trip.OVERRUN)
    return state, ended + locked


def _look_at_contacts(state: State, run: Run) -> Step:
    """The self-test before a run: the pump must stay dead with either contact open."""
    if state.now_s < run.test_until_s:
        return state, ()
    found = contacts.not_opening(state, run)
    if found is not None:
        trip, contact = found
        reason = f"locked: {contact.value} does not open"
        state, ended = end(state, reason, trip)
        state, locked = lock(state, trip, reason)
        return state, ended + locked
    run = contacts.next_stage(run)
    state = replace(state, run=run)
    if run.testing is not None:
        return state, (Alone(run.testing),)
    return replace(state, tested_s=state.now_s), (Relay(on=True),)


def _clear(state: State, by: str) -> Step:
    actions: list[Action] = []
    left = set(state.locks)
    for trip in sorted(state.locks):
        cause = moving.cause_still_there(state, trip)
        if cause is None:
            left.discard(trip)
            actions.append(LockLifted(trip, by))
        else:
            actions.append(LockStays(trip, cause))
    return replace(state, locks=frozenset(left)), tuple(actions)


def _take_limits(state: State, limits: Limits) -> State:
    """Stricter limits shorten a run in progress, looser ones leave it alone. What is fitted stays."""
    limits = as_fitted(limits, state.limits)
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
    due += [hold.until_s for hold in state.holds]
    if state.run is not None:
        due.append(state.run.until_s)
        if state.run.testing is not None:
            due.append(state.run.test_until_s)
        if state.limits.normal_flow_l_per_min is not None:
            seen_by_s = state.run.waters_from_s + state.limits.flow_within_s
            due.append(seen_by_s if seen_by_s > state.now_s else inf)
    if state.run is None and state.on_since_s is not None and Trip.OVERRUN not in state.locks:
        due.append(state.on_since_s + moving.OFF_WITHIN_S)
    if state.run is None and state.line_on_since_s is not None and Trip.OVERRUN not in state.locks:
        due.append(state.line_on_since_s + moving.OFF_WITHIN_S)
    if state.flow_since_s is not None and Trip.FLOW_WHILE_OFF not in state.locks:
        due.append(state.flow_since_s + moving.FLOW_OFF_FOR_S)
    return min(due, default=inf)
