"""What stands in the pump's way: trips and holds as the guard tells them, and inputs that nobody saw act yet.

Before a bed waters by itself for the first time, its protective inputs must have been seen in both states. An
inverted or stuck float is the commonest mistake of a new bed, and shows only when somebody moves it.
"""

from dataclasses import replace
from math import inf

from waaler.core import sump
from waaler.core.deduced import low_at_rest_s
from waaler.core.facts import Act, Outcome, TripBegan, TripOver
from waaler.core.runs import give_back
from waaler.core.turn import Turn
from waaler.guard.messages import (
    Disarm,
    Held,
    HoldKind,
    HoldOver,
    LockLifted,
    LockStays,
    Seen,
    Trip,
    TripEnded,
    Tripped,
)

__all__ = [
    "LOCKS",
    "REFUSAL",
    "disarm",
    "held",
    "hold_over",
    "lock_answered",
    "look",
    "see",
    "stopped",
    "trip_changed",
]

END_TOLD_S = 10.0
"""A hold that is over for so long is over, though the guard's word of it got lost."""

ENDS = {
    HoldKind.SERVICE: "ends by itself",
    HoldKind.PAUSE: "ends by itself",
    HoldKind.ATTENDED: "ends by itself",
    HoldKind.SOAK: "goes on after each refill",
}
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
    if trip is Trip.LOW_SUMP and turn.now_s >= low_at_rest_s(turn.state):
        sump.is_high_enough(turn)
    where = None if isinstance(message, LockLifted) else message.input
    not_read = known.not_read - ({where} if trip is Trip.NOT_READ else set())
    is_left = trip is Trip.NOT_READ and bool(not_read)
    turn.put(replace(known, trips=known.trips - (set() if is_left else {trip}), not_read=not_read))
    turn.write(TripOver(turn.at, trip, message.by if isinstance(message, LockLifted) else None, where))


REFUSAL = "not commissioned yet: the floats were not seen in both states"


def see(turn: Turn, seen: Seen) -> None:
    """Strikes a state off the list; with the last one the bed may water."""
    mark = (seen.input, seen.level)
    if mark not in turn.state.proving.unproven:
        return
    turn.put(replace(turn.state.proving, unproven=turn.state.proving.unproven - {mark}))
    turn.deed(Act.INPUT_SEEN, f"{seen.input.value} {seen.level.value}")
    if not turn.state.proving.unproven:
        turn.deed(Act.ARMED, "every protective input was seen in both states; the plan may water by itself")


def disarm(turn: Turn) -> None:
    """The commissioning found a float wrong: whatever was seen of the floats proves nothing."""
    if turn.state.proving.must_prove:
        turn.put(replace(turn.state.proving, unproven=turn.state.proving.must_prove))
        turn.tell_guard(Disarm())
        turn.deed(Act.DISARMED, "a float is wrong; every state is to be seen again")


def held(turn: Turn, message: Held) -> None:
    """A hold stands from now on; what waited for its turn is not made."""
    hold, before = message.hold, turn.state.barriers.hold
    others = tuple(other for other in turn.state.barriers.holds if other.kind is not hold.kind)
    holds = tuple(sorted((*others, hold), key=lambda one: tuple(HoldKind).index(one.kind)))
    turn.put(replace(turn.state.barriers, holds=holds))
    if hold.kind is HoldKind.SOAK:
        turn.put(replace(turn.state.later, soak_at_s=turn.now_s))
    give_back(turn, Outcome.MISSED, f"{hold.kind.value} by {hold.by}")
    until = turn.clock_text(hold.until_s)
    seconds = hold.most_s or None
    turn.deed(Act(hold.kind.value), f"until {until}", hold.by, hold.until_s, seconds)
    beneath = "" if before is None or before.kind is hold.kind else f"; {before.kind.value} stands as well"
    turn.answer(message.order_id, True, f"{hold.kind.value} until {until}; {ENDS[hold.kind]}{beneath}")


def look(turn: Turn) -> float:
    """Lets go of holds whose end the guard did not tell; the instant of the next look."""
    ends_s = {hold.kind: hold.until_s + END_TOLD_S for hold in turn.state.barriers.holds}
    for kind, end_s in ends_s.items():
        if turn.now_s >= end_s:
            hold_over(turn, HoldOver(kind))
    return min((end_s for end_s in ends_s.values() if turn.now_s < end_s), default=inf)


def hold_over(turn: Turn, message: HoldOver) -> None:
    """A hold's time is over, or a person ended it. What is told again is answered alone."""
    kind = message.kind
    if all(hold.kind is not kind for hold in turn.state.barriers.holds):
        if not turn.state.barriers.holds:
            turn.answer(message.order_id, True, f"{kind.value} ended; the plan goes on")
        return
    left = tuple(hold for hold in turn.state.barriers.holds if hold.kind is not kind)
    turn.put(replace(turn.state.barriers, holds=left))
    turn.put(replace(turn.state.announcing, must_announce=True))
    if message.by is None:
        turn.deed(Act(f"{kind.value}-over"), f"{kind.value} is over; the plan goes on")
    else:
        turn.deed(Act.RESUME, f"{kind.value} ended", message.by)
    if not turn.state.barriers.holds:
        turn.answer(message.order_id, True, f"{kind.value} ended; the plan goes on")


def stopped(turn: Turn, by: str) -> None:
    """The guard carried a person's stop out: what is left of a dose, and a run that has not begun, goes too."""
    give_back(turn, Outcome.STOPPED, f"stopped by {by} before it began")


def lock_answered(turn: Turn, message: LockLifted | LockStays) -> None:
    if isinstance(message, LockLifted):
        turn.deed(Act.CLEAR, f"{message.trip.value} released", message.by)
    else:
        turn.deed(Act.CLEAR, f"{message.trip.value} stays locked: {message.reason}")
