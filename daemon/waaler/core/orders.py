"""What a person orders: water now, stop, pause, service, soak, release, refill."""

from dataclasses import replace
from math import inf

from waaler.core import proving, sump
from waaler.core.alert import AlertKind
from waaler.core.desk import acknowledge
from waaler.core.entries import amount_text, enter
from waaler.core.facts import Amount, Cause, Outcome
from waaler.core.messages import Order, OrderKind
from waaler.core.pulses import dose_s
from waaler.core.runs import give_back
from waaler.core.state import Wanted
from waaler.core.trips import LOCKS
from waaler.core.turn import Turn
from waaler.core.upkeep import cleaned
from waaler.guard.messages import (
    BeginHold,
    Clear,
    EndHolds,
    Held,
    Hold,
    HoldKind,
    HoldOver,
    LockLifted,
    LockStays,
    Purse,
    Stop,
)  # fmt: skip

__all__ = ["LONGEST_PAUSE_S", "LONGEST_SOAK_S", "held", "hold_over", "lock_answered", "look", "obey", "stopped"]

END_TOLD_S = 10.0
"""A hold that is over for so long is over, though the guard's word of it got lost."""

LONGEST_PAUSE_S = 12 * 3600.0
LONGEST_SOAK_S = 48 * 3600.0
LONGEST_ATTENDED_S = 6 * 3600.0
ATTENDED_SHARE = 0.5
"""Of the attended time, what the pump may run. Common practice, no source."""

ENDS = {
    HoldKind.SERVICE: "ends by itself",
    HoldKind.PAUSE: "ends by itself",
    HoldKind.ATTENDED: "ends by itself",
    HoldKind.SOAK: "goes on after each refill",
}
FROM_AFAR = frozenset({OrderKind.STOP, OrderKind.PAUSE, OrderKind.RESUME, OrderKind.ACKNOWLEDGE, OrderKind.WATER})


def obey(turn: Turn, order: Order) -> None:
    """Carries out an order, or says why not."""
    if order.is_remote and (reason := _not_from_afar(turn, order)) is not None:
        turn.answer(order.order_id, False, f"refused: {reason}")
        return
    match order.kind:
        case OrderKind.WATER:
            _water(turn, order)
        case OrderKind.STOP:
            turn.tell_guard(Stop(order.by))
            turn.answer(order.order_id, True, "stopped; the plan goes on with its next cycle")
        case OrderKind.PAUSE | OrderKind.SERVICE:
            _hold(turn, order)
        case OrderKind.SOAK:
            _soak(turn, order)
        case OrderKind.ATTEND:
            _attend(turn, order)
        case OrderKind.CONFIRM:
            turn.put(replace(turn.state.runs, confirmed_s=turn.now_s))
            turn.answer(order.order_id, True, "confirmed")
        case OrderKind.RESUME:
            _resume(turn, order)
        case OrderKind.CLEAR:
            _clear(turn, order)
        case OrderKind.REFILL:
            _refill(turn, order)
        case OrderKind.MEASURE | OrderKind.NOTE | OrderKind.COMMISSION:
            enter(turn, order)
        case OrderKind.CLEANED:
            cleaned(turn, order)
        case OrderKind.ACKNOWLEDGE:
            acknowledge(turn, order)


def _not_from_afar(turn: Turn, order: Order) -> str | None:
    """Why an order over a network is not carried out: hands may be in the sump, and nobody there sees the bed."""
    if order.kind not in FROM_AFAR:
        return f"{order.kind.value} is not taken over a network"
    hold = turn.state.barriers.hold
    is_held = hold is not None and hold.kind is not HoldKind.PAUSE
    if is_held and hold is not None and order.kind not in (OrderKind.STOP, OrderKind.ACKNOWLEDGE):
        return f"a {hold.kind.value} is in progress, which only a person at the bed ends"
    if not turn.at.is_sure:
        return "the clock is unsure"
    return None


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
    turn.deed(hold.kind.value, f"until {until}", hold.by, hold.until_s, seconds)
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
        turn.deed(f"{kind.value}-over", f"{kind.value} is over; the plan goes on")
    else:
        turn.deed("resume", f"{kind.value} ended", message.by)
    if not turn.state.barriers.holds:
        turn.answer(message.order_id, True, f"{kind.value} ended; the plan goes on")


def stopped(turn: Turn, by: str) -> None:
    """The guard carried a person's stop out: what is left of a dose, and a run that has not begun, goes too."""
    give_back(turn, Outcome.STOPPED, f"stopped by {by} before it began")


def lock_answered(turn: Turn, message: LockLifted | LockStays) -> None:
    if isinstance(message, LockLifted):
        turn.deed("clear", f"{message.trip.value} released", message.by)
    else:
        turn.deed("clear", f"{message.trip.value} stays locked: {message.reason}")


def _water(turn: Turn, order: Order) -> None:
    hold = turn.state.barriers.hold
    is_attended = hold is not None and hold.kind is HoldKind.ATTENDED
    if hold is not None and hold.kind in (HoldKind.SERVICE, HoldKind.PAUSE):
        hands = ", hands may be in the sump" if hold.kind is HoldKind.SERVICE else ""
        why = f"a {hold.kind.value} is in progress{hands}; `waaler resume` ends it"
        turn.answer(order.order_id, False, why)
        return
    if turn.state.runs.active is not None:
        turn.answer(order.order_id, False, "another run is on its way; stop it first")
        return
    wanted = Wanted(
        Cause.ATTENDED if is_attended else Cause.HAND,
        Purse.ATTENDED if is_attended else Purse.SPARE,
        order.seconds,
        f"ordered by {order.by}",
        by=order.by,
        order_id=order.order_id,
        full_s=dose_s(turn),
    )
    turn.put(replace(turn.state.runs, queue=(*turn.state.runs.queue, wanted), confirmed_s=turn.now_s))


def _attend(turn: Turn, order: Order) -> None:
    """A person stands by: until then the plan waits, and runs by hand rest only briefly and are counted apart."""
    if not 0 < order.seconds <= LONGEST_ATTENDED_S:
        turn.answer(order.order_id, False, "give a length of at most 6 h")
    elif not _is_in_the_way(turn, order, HoldKind.ATTENDED):
        _ask_hold(turn, order, HoldKind.ATTENDED, ATTENDED_SHARE * order.seconds)


def _hold(turn: Turn, order: Order) -> None:
    """No run until its time is over; a run in progress ends."""
    if not 0 < order.seconds <= LONGEST_PAUSE_S:
        turn.answer(order.order_id, False, "give a length of at most 12 h")
        return
    _ask_hold(turn, order, HoldKind(order.kind.value), 0.0)


def _soak(turn: Turn, order: Order) -> None:
    if turn.state.proving.unproven:
        turn.answer(order.order_id, False, f"{proving.REFUSAL}; walk through `waaler commission` first")
        return
    if not 0 < order.seconds <= LONGEST_SOAK_S:
        turn.answer(order.order_id, False, "give a length of at most 48 h")
        return
    if _is_in_the_way(turn, order, HoldKind.SOAK):
        return
    limits = turn.setup.limits
    share = limits.longest_run_s / (limits.longest_run_s + limits.rest_s)
    _ask_hold(turn, order, HoldKind.SOAK, share * min(order.seconds, 86_400.0) + limits.longest_run_s)


def _is_in_the_way(turn: Turn, order: Order, kind: HoldKind) -> bool:
    """Whether another hold forbids this one; the answer then says which."""
    hold = turn.state.barriers.hold
    if hold is None or hold.kind is kind:
        return False
    turn.answer(order.order_id, False, f"a {hold.kind.value} is in progress; `waaler resume` ends it")
    return True


def _ask_hold(turn: Turn, order: Order, kind: HoldKind, most_s: float) -> None:
    """The guard answers, since from its answer on it refuses every run that the hold forbids."""
    turn.tell_guard(BeginHold(Hold(kind, turn.now_s + order.seconds, order.by, most_s), order.order_id))


def _resume(turn: Turn, order: Order) -> None:
    if not turn.state.barriers.holds:
        turn.answer(order.order_id, False, "nothing is paused")
        return
    turn.tell_guard(EndHolds(order.by, order.order_id))


def _clear(turn: Turn, order: Order) -> None:
    locked = turn.state.barriers.trips & LOCKS
    if not locked:
        turn.answer(order.order_id, False, "nothing is locked; other trips end by themselves")
        return
    turn.tell_guard(Clear(order.by))
    names = " and ".join(sorted(trip.value for trip in locked))
    turn.answer(order.order_id, True, f"asked to release {names}; it is released if its cause is gone")


def _refill(turn: Turn, order: Order) -> None:
    """A refill ends the time of short pulses."""
    poured = order.amounts or (() if order.litres is None else (Amount("water", order.litres, "L"),))
    amount = ", ".join(f"{amount_text(one)} of {one.name}" for one in poured) or "amount unknown"
    turn.deed("renewal" if order.is_renewal else "refill", amount, order.by, amounts=poured)
    sump.poured(turn, poured, order.is_renewal)
    turn.put(replace(turn.state.dips, pulse_s=None, low_cuts=0))
    turn.put(replace(turn.state.water, refilled_s=turn.now_s))
    turn.over(AlertKind.LOW_IN_RUNS)
    turn.answer(order.order_id, True, f"refill entered: {amount}")
