"""What a person must know: when each alert is raised and resolved. Its words are in `texts`, its life in `life`."""

from math import inf

from waaler.core import doubts, life, sump, texts, upkeep
from waaler.core.facts import Severity, TripBegan, TripOver
from waaler.core.state import State
from waaler.core.turn import Turn
from waaler.core.words import rested_s
from waaler.guard.messages import HoldKind, Input, LockLifted, Trip, TripEnded, Tripped
from waaler.plan.timetable import longest_gap_s

__all__ = ["LOCKS", "look", "trip_changed"]

LOCKS = frozenset({Trip.OVERRUN, Trip.FLOW_WHILE_OFF})
OF_BEFORE = ("input-not-read",)
"""Kinds of an earlier version, which may stand in its records."""

MOMENT_S = 86_400.0
MARGIN_S = 5.0
"""For the guard to say that a trip is over."""

LEVEL_TRIPS = frozenset({Trip.LOW_SUMP, Trip.HIGH_TRAY, Trip.NOT_READ})

KINDS = {
    Trip.LOW_SUMP: "sump-low",
    Trip.HIGH_TRAY: "tray-high",
    Trip.OVERRUN: "overrun",
    Trip.NO_FLOW: "no-flow",
    Trip.FLOW_WHILE_OFF: "flow-while-off",
}


def trip_changed(turn: Turn, message: Tripped | TripEnded | LockLifted) -> None:
    """A trip began or ended."""
    trip = message.trip
    if isinstance(message, Tripped):
        not_read = turn.state.not_read | ({message.input} if trip is Trip.NOT_READ and message.input else set())
        turn.set(trips=turn.state.trips | {trip}, not_read=not_read, must_announce=True)
        if trip is Trip.LOW_SUMP:
            turn.set(low_since_s=turn.now_s)
        turn.write(TripBegan(turn.at, trip, message.reason, message.is_locked, message.input))
        return
    where = None if isinstance(message, LockLifted) else message.input
    not_read = turn.state.not_read - ({where} if trip is Trip.NOT_READ else set())
    is_left = trip is Trip.NOT_READ and bool(not_read)
    turn.set(trips=turn.state.trips - (set() if is_left else {trip}), not_read=not_read)
    turn.write(TripOver(turn.at, trip, message.by if isinstance(message, LockLifted) else None, where))


def look(turn: Turn) -> float:
    """Raises and resolves what time, trips and readings show; the instant of the next look."""
    for trip, kind in KINDS.items():
        if trip not in turn.state.trips:
            turn.resolve(kind)
        elif trip is not Trip.LOW_SUMP and not (_is_service(turn) and trip in LEVEL_TRIPS):
            turn.alert(kind, Severity.URGENT, texts.TRIPS[trip])
    _look_at_inputs(turn)
    doubts_s = doubts.look(turn)
    _look_at_gap(turn)
    _look_at_moments(turn)
    upkeep.look(turn)
    return min(_look_at_sump(turn), sump.look(turn), life.look(turn), doubts_s)


def _look_at_inputs(turn: Turn) -> None:
    """Each protective input that cannot be read stops the pump for itself, and is told for itself."""
    for name in Input:
        kind = f"{name.value.replace('_', '-')}-not-read"
        if name not in turn.state.not_read:
            turn.resolve(kind)
        elif not _is_service(turn):
            turn.alert(kind, Severity.URGENT, texts.not_read(name.value))
    for kind in OF_BEFORE:
        turn.resolve(kind)


def _is_service(turn: Turn) -> bool:
    """While a person works at the bed, levels are expected to be odd."""
    return any(hold.kind in (HoldKind.SERVICE, HoldKind.ATTENDED) for hold in turn.state.holds)


def _look_at_sump(turn: Turn) -> float:
    """A sump that reads low once the last run's water is back is low at rest.

    A trip stands until its float has been good for a while: one that came before, or before a refill, says nothing
    of the level at rest until that while is over.
    """
    state = turn.state
    if Trip.LOW_SUMP not in state.trips or Trip.HIGH_TRAY in state.trips or state.active is not None:
        return inf
    if _is_service(turn):
        return inf
    certain_s = _certain_s(state)
    if turn.now_s < certain_s:
        return certain_s
    if KINDS[Trip.LOW_SUMP] not in state.alerts:
        sump.was_low(turn)
    is_soak = any(hold.kind is HoldKind.SOAK for hold in state.holds)
    turn.alert(KINDS[Trip.LOW_SUMP], Severity.URGENT, texts.FIRST_FILL if is_soak else texts.SUMP_LOW)
    return inf


def _certain_s(state: State) -> float:
    settle_s = max(state.limits.settle_sump_s, state.limits.run_back_s) + MARGIN_S
    back_s = rested_s(state)
    since_s = max(back_s, state.refilled_s)
    return back_s if state.low_since_s >= since_s else since_s + settle_s


def _look_at_gap(turn: Turn) -> None:
    state = turn.state
    if not state.is_owed:
        turn.resolve("cycle-missed")
    since_s = max(state.last_full_s, state.started_s)
    if state.is_owed and turn.now_s - since_s > longest_gap_s(turn.plan, turn.today):
        turn.alert("cycle-missed", Severity.URGENT, texts.cycle_missed((turn.now_s - since_s) / 3600))


def _look_at_moments(turn: Turn) -> None:
    """What tells of something that is over ends by itself after a day."""
    for alert in tuple(turn.state.alerts.values()):
        if alert.is_moment and turn.now_s - alert.raised_s >= MOMENT_S:
            turn.resolve(alert.kind)
