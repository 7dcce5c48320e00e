"""What a person must know: the words of each alert, and when it is raised and resolved.

While the tray is high or the water has not run back, nothing here tells a person to refill: a blocked drain
empties the sump into the tray.
"""

from math import inf

from waaler.core.facts import Severity, TripBegan, TripOver
from waaler.core.turn import Turn
from waaler.guard.messages import LockLifted, Trip, TripEnded, Tripped
from waaler.plan.advisers import invalid_because
from waaler.plan.timetable import longest_gap_s

__all__ = ["LOCKS", "look", "trip_changed"]

LOCKS = frozenset({Trip.OVERRUN, Trip.FLOW_WHILE_OFF})
LEVEL_TRIPS = frozenset({Trip.LOW_SUMP, Trip.HIGH_TRAY, Trip.NOT_READ})

KINDS = {
    Trip.LOW_SUMP: "sump-low",
    Trip.HIGH_TRAY: "tray-high",
    Trip.NOT_READ: "input-not-read",
    Trip.OVERRUN: "overrun",
    Trip.NO_FLOW: "no-flow",
    Trip.FLOW_WHILE_OFF: "flow-while-off",
}

TEXTS = {
    Trip.HIGH_TRAY: "Tray too full: is the drain blocked? The pump is stopped for safety. The water is in the tray."
    " Do NOT add water; unplug the pump and free the drain first. Starts again by itself once the tray"
    " has been down for a while.",
    Trip.NOT_READ: "A protective input cannot be read. The pump is stopped for safety until it reads good again:"
    " look at the float's wire and plug.",
    Trip.OVERRUN: "Ran too long: the pump's supply stayed on after its time. Locked. Pull the pump's plug, look"
    " at the relay, then release with `waaler clear`.",
    Trip.NO_FLOW: "Nothing moves: the pump ran but no water flowed, so it was stopped. Look at plug, fuse, filter"
    " and the pump's intake, with the plug pulled. The next cycle tries again.",
    Trip.FLOW_WHILE_OFF: "Water moves with the pump off. Locked. Pull the pump's plug, look at the relay and for a"
    " siphon, then release with `waaler clear`.",
}

SUMP_LOW = (
    "Sump low at rest. No run starts until it reads good. Unplug the pump, refill to the full mark, plug it in"
    " again; it starts again by itself."
)
FIRST_FILL = (
    "First fill: add {litres}. The dry media have taken their share and the sump is low. Unplug the pump, add"
    " water, plug it in; the soak goes on by itself."
)


def trip_changed(turn: Turn, message: Tripped | TripEnded | LockLifted) -> None:
    """A trip began or ended."""
    trip = message.trip
    if isinstance(message, Tripped):
        turn.set(trips=turn.state.trips | {trip}, must_announce=True)
        turn.write(TripBegan(turn.at, trip, message.reason, message.is_locked))
    else:
        turn.set(trips=turn.state.trips - {trip})
        turn.write(TripOver(turn.at, trip, message.by if isinstance(message, LockLifted) else None))


def look(turn: Turn) -> float:
    """Raises and resolves what time, trips and readings show; the instant of the next look."""
    for trip, kind in KINDS.items():
        if trip not in turn.state.trips:
            turn.resolve(kind)
        elif trip is not Trip.LOW_SUMP and not (_is_service(turn) and trip in LEVEL_TRIPS):
            turn.alert(kind, Severity.URGENT, TEXTS[trip])
    _look_at_advisers(turn)
    _look_at_gap(turn)
    return _look_at_sump(turn)


def _is_service(turn: Turn) -> bool:
    """While a person works at the bed, levels are expected to be odd."""
    return turn.state.standing is not None and turn.state.standing.what in ("service", "attended")


def _look_at_sump(turn: Turn) -> float:
    """A sump that still reads low once the last run's water is back is low at rest."""
    state = turn.state
    if Trip.LOW_SUMP not in state.trips or Trip.HIGH_TRAY in state.trips or state.active is not None:
        return inf
    if _is_service(turn):
        return inf
    rested_s = state.last_stop_s + state.limits.run_back_s
    if turn.now_s < rested_s:
        return rested_s
    is_soak = state.standing is not None and state.standing.what == "soak"
    litres = "water to the full mark" if state.fill_l is None else f"{state.fill_l:.0f} L"
    turn.alert(KINDS[Trip.LOW_SUMP], Severity.URGENT, FIRST_FILL.format(litres=litres) if is_soak else SUMP_LOW)
    return inf


def _look_at_advisers(turn: Turn) -> None:
    for adviser in turn.state.advisers:
        kind = f"not-valid-{adviser.adviser.name.replace('_', '-')}"
        reason = invalid_because(adviser, turn.now_s)
        if reason is None:
            turn.resolve(kind)
        elif turn.now_s - turn.state.started_s > adviser.adviser.stale_after_s:
            turn.alert(
                kind,
                Severity.SOON,
                f"{adviser.adviser.name} is not valid: {reason}. The plan runs as written meanwhile; look at the"
                " probe and its wire.",
            )


def _look_at_gap(turn: Turn) -> None:
    state = turn.state
    if not state.is_owed:
        turn.resolve("cycle-missed")
    since_s = max(state.last_full_s, state.started_s)
    if state.is_owed and turn.now_s - since_s > longest_gap_s(state.plan, turn.today):
        turn.alert(
            "cycle-missed",
            Severity.URGENT,
            f"No full run for {(turn.now_s - since_s) / 3600:.1f} h although cycles were planned: look at the"
            " plants and at the other alerts; water by hand if the media is dry.",
        )
