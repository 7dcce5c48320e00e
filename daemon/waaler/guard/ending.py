"""How a run ends and how a lock is set: the two moves that every part of the guard shares."""

from dataclasses import replace

from waaler.guard.memory import DAY_S, Ran, Span
from waaler.guard.messages import Action, Ended, Relay, Trip, Tripped
from waaler.guard.state import State
from waaler.guard.words import words

__all__ = ["Step", "end", "lock"]

KEEP_ENDED = 32
"""Runs whose end is remembered for records that were away: a night of them and more."""

Step = tuple[State, tuple[Action, ...]]


def end(state: State, reason: str, trip: Trip | None = None) -> Step:
    """The relay off and the run over, if there is one; the rest begins now."""
    run = state.run
    if run is None:
        return state, ()
    kept = tuple(span for span in state.spans if span.ended_s > state.now_s - DAY_S)
    span = Span(run.started_s, state.now_s, run.purse)
    limits = state.limits
    ended = Ended(
        run.run_id,
        state.now_s - run.started_s,
        reason,
        trip,
        has_flowed=None if limits.normal_flow_l_per_min is None else run.has_flowed,
        was_live=run.was_live if limits.has_read_back else None,
    )
    ran = (*state.ran, Ran(state.now_s, ended, run.purse, run.until_s - run.started_s))[-KEEP_ENDED:]
    state = replace(state, run=None, spans=(*kept, span), last_stop_s=state.now_s, ran=ran)
    return state, (Relay(on=False), ended)


def lock(state: State, trip: Trip, reason: str | None = None) -> Step:
    """A trip that stays until a person ends it."""
    if trip in state.locks:
        return state, ()
    return replace(state, locks=state.locks | {trip}), (Tripped(trip, reason or words(trip), is_locked=True),)
