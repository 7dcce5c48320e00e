"""What moves: water in the line and current behind the last contact, and what both show of pump and relay."""

from dataclasses import replace

from waaler.guard.contacts import FLOW_SHARE
from waaler.guard.ending import Step, end, lock
from waaler.guard.messages import Action, Relay, Trip, TripEnded, Tripped
from waaler.guard.state import Run, State

__all__ = [
    "FLOW_OFF_FOR_S", "OFF_WITHIN_S", "cause_still_there", "flow", "is_dry", "look", "read_back", "relay_read",
]  # fmt: skip

OFF_WITHIN_S = 0.2
"""A relay told off must read off after this long. Source: our own S1; relays release in some 10 ms."""

FLOW_OFF_FOR_S = 30.0
"""Flow with the pump off must stand for this long, since a line that runs back turns the meter. Common practice,
no source."""


STAYS_ON = "locked: the relay's line stays on after it was told off"
NEVER_ON = "nothing moves: the relay's line does not go on"


def flow(state: State, l_per_min: float) -> Step:
    """Keeps the reading; with the pump off, marks since when more than a running-back line would move."""
    state = replace(state, flow_l_per_min=l_per_min, flow_read_s=state.now_s)
    normal_l_per_min = state.limits.normal_flow_l_per_min
    run = state.run
    if run is not None and run.testing is None and l_per_min > 0 and not run.has_flowed:
        state = replace(state, run=replace(run, has_flowed=True))
    is_off = state.run is None and state.now_s >= state.last_stop_s + state.limits.line_drain_s
    if normal_l_per_min is None or not is_off or not l_per_min > FLOW_SHARE * normal_l_per_min:
        state = replace(state, flow_since_s=None)
    elif state.flow_since_s is None:
        state = replace(state, flow_since_s=state.now_s)
    if state.has_no_flow and run is not None and run.testing is None and l_per_min > 0:
        return replace(state, has_no_flow=False), (TripEnded(Trip.NO_FLOW),)
    return state, ()


def read_back(state: State, is_on: bool) -> State:
    """Keeps whether the supply is live; a run that is meant to water notes that it was."""
    run = state.run
    if run is not None and run.testing is None and is_on and not run.was_live:
        run = replace(run, was_live=True)
    return replace(state, is_read_back_on=is_on, run=run)


def relay_read(state: State, is_on: bool | None) -> Step:
    """With the relay off its line must read off: whatever else it reads, it is told off again, at every reading.

    In a run it must read on: one that does not moves no water.
    """
    run = state.run
    if run is None:
        if is_on is False:
            return replace(state, line_on_since_s=None), ()
        since_s = state.now_s if state.line_on_since_s is None else state.line_on_since_s
        return replace(state, line_on_since_s=since_s), (Relay(on=False),)
    if is_on is not False or state.now_s < run.started_s + OFF_WITHIN_S:
        return state, ()
    state, ended = end(state, NEVER_ON, Trip.NO_FLOW)
    return state, (*ended, Tripped(Trip.NO_FLOW, NEVER_ON, is_locked=False), TripEnded(Trip.NO_FLOW))


def look(state: State) -> Step:
    """With the relay off, neither supply nor water may show a pump that runs."""
    if state.run is not None:
        return state, ()
    actions: tuple[Action, ...] = ()
    on_since_s = state.on_since_s
    if not state.is_read_back_on:
        on_since_s = None
    elif on_since_s is None:
        on_since_s = state.now_s
    if on_since_s != state.on_since_s:
        state = replace(state, on_since_s=on_since_s)
    if on_since_s is not None and state.now_s >= on_since_s + OFF_WITHIN_S:
        state, actions = lock(state, Trip.OVERRUN)
    if state.line_on_since_s is not None and state.now_s >= state.line_on_since_s + OFF_WITHIN_S:
        state, more = lock(state, Trip.OVERRUN, STAYS_ON)
        actions += more
    if state.flow_since_s is not None and state.now_s >= state.flow_since_s + FLOW_OFF_FOR_S:
        state, more = lock(state, Trip.FLOW_WHILE_OFF)
        actions += more
    return state, actions


def is_dry(state: State, run: Run) -> bool:
    """Whether flow should have been seen since the start and was not."""
    limits = state.limits
    if limits.normal_flow_l_per_min is None or state.now_s < run.waters_from_s + limits.flow_within_s:
        return False
    is_seen = state.flow_read_s > run.waters_from_s and (state.flow_l_per_min or 0.0) > 0
    return not is_seen


def cause_still_there(state: State, trip: Trip) -> str | None:
    if trip is Trip.OVERRUN and state.line_on_since_s is not None:
        return "the relay's line still reads on"
    if trip is Trip.OVERRUN and state.is_read_back_on:
        return "the supply behind the last contact is still live"
    if trip is Trip.FLOW_WHILE_OFF and state.flow_since_s is not None:
        return "water still moves"
    return None
