"""What stands in the pump's way, as the guard tells it."""

from dataclasses import replace

from waaler.core.facts import TripBegan, TripOver
from waaler.core.turn import Turn
from waaler.guard.messages import LockLifted, Trip, TripEnded, Tripped

__all__ = ["LOCKS", "trip_changed"]

LOCKS = frozenset({Trip.OVERRUN, Trip.FLOW_WHILE_OFF})


def trip_changed(turn: Turn, message: Tripped | TripEnded | LockLifted) -> None:
    """A trip began or ended."""
    trip, known = message.trip, turn.state.barriers
    if isinstance(message, Tripped):
        not_read = known.not_read
        if trip is Trip.NOT_READ and message.input is not None:
            not_read |= {message.input}
        turn.put(replace(known, trips=known.trips | {trip}, not_read=not_read))
        turn.put(replace(turn.state.announcing, must_announce=True))
        if trip is Trip.LOW_SUMP:
            turn.put(replace(turn.state.barriers, low_since_s=turn.now_s))
        turn.write(TripBegan(turn.at, trip, message.reason, message.is_locked, message.input))
        return
    where = None if isinstance(message, LockLifted) else message.input
    not_read = known.not_read - ({where} if trip is Trip.NOT_READ else set())
    is_left = trip is Trip.NOT_READ and bool(not_read)
    turn.put(replace(known, trips=known.trips - (set() if is_left else {trip}), not_read=not_read))
    turn.write(TripOver(turn.at, trip, message.by if isinstance(message, LockLifted) else None, where))
