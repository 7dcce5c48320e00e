"""What a person orders: water now, stop, pause, service, soak, release, refill; and what they measure and note."""

from dataclasses import replace

from waaler.core import barriers, sump
from waaler.core.alert import AlertKind, Outside, Severity
from waaler.core.desk import acknowledge
from waaler.core.doses import dose_s
from waaler.core.evidence import cleaned
from waaler.core.facts import Act, Amount, Cause
from waaler.core.messages import Order, OrderKind
from waaler.core.state import Dips, Wanted
from waaler.core.turn import Turn
from waaler.core.words import outside_text
from waaler.guard.messages import (
    BeginHold,
    Clear,
    EndHolds,
    Hold,
    HoldKind,
    Purse,
    Stop,
)  # fmt: skip

__all__ = ["LONGEST_PAUSE_S", "LONGEST_SOAK_S", "obey"]

LONGEST_PAUSE_S = 12 * 3600.0
LONGEST_SOAK_S = 48 * 3600.0
LONGEST_ATTENDED_S = 6 * 3600.0
ATTENDED_SHARE = 0.5
"""Of the attended time, what the pump may run. Common practice, no source."""

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
            _enter(turn, order)
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
        return f"{_named(hold.kind)} is in progress, which only a person at the bed ends"
    if not turn.at.is_sure:
        return "the clock is unsure"
    return None


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
        turn.answer(order.order_id, False, f"{barriers.REFUSAL}; walk through `waaler commission` first")
        return
    if not 0 < order.seconds <= LONGEST_SOAK_S:
        turn.answer(order.order_id, False, "give a length of at most 48 h")
        return
    if _is_in_the_way(turn, order, HoldKind.SOAK):
        return
    limits = turn.setup.limits
    share = limits.longest_run_s / (limits.longest_run_s + limits.rest_s)
    _ask_hold(turn, order, HoldKind.SOAK, share * min(order.seconds, 86_400.0) + limits.longest_run_s)


def _named(kind: HoldKind) -> str:
    return "attended time" if kind is HoldKind.ATTENDED else f"a {kind.value}"


def _is_in_the_way(turn: Turn, order: Order, kind: HoldKind) -> bool:
    """Whether another hold forbids this one; the answer then says which."""
    hold = turn.state.barriers.hold
    if hold is None or hold.kind is kind:
        return False
    turn.answer(order.order_id, False, f"{_named(hold.kind)} is in progress; `waaler resume` ends it")
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
    locked = turn.state.barriers.trips & barriers.LOCKS
    if not locked:
        turn.answer(order.order_id, False, "nothing is locked; other trips end by themselves")
        return
    turn.tell_guard(Clear(order.by))
    names = " and ".join(sorted(trip.value for trip in locked))
    turn.answer(order.order_id, True, f"asked to release {names}; it is released if its cause is gone")


def _refill(turn: Turn, order: Order) -> None:
    """A refill ends the time of short pulses."""
    poured = order.amounts or (() if order.litres is None else (Amount("water", order.litres, "L"),))
    amount = ", ".join(f"{_amount_text(one)} of {one.name}" for one in poured) or "amount unknown"
    turn.deed(Act.RENEWAL if order.is_renewal else Act.REFILL, amount, order.by, amounts=poured)
    sump.poured(turn, poured, order.is_renewal)
    sump.is_high_enough(turn)
    turn.put(Dips())
    turn.put(replace(turn.state.water, refilled_s=turn.now_s))
    turn.over(AlertKind.LOW_IN_RUNS)
    turn.answer(order.order_id, True, f"refill entered: {amount}")


def _enter(turn: Turn, order: Order) -> None:
    """Writes it down; a measurement outside the file's range raises an alert, one inside ends it."""
    if order.kind in (OrderKind.NOTE, OrderKind.COMMISSION):
        turn.deed(Act(order.kind.value), order.text, order.by, amounts=order.amounts)
        if order.wrong_float is not None:
            barriers.disarm(turn)
        turn.answer(order.order_id, True, f"{order.kind.value} entered")
        return
    text = ", ".join(f"{amount.name} {_amount_text(amount)}" for amount in order.amounts)
    turn.deed(Act.MEASURE, text, order.by, amounts=order.amounts)
    unfit = _take_up(turn, order.amounts)
    outside = [said for amount in order.amounts if (said := _look_at_range(turn, amount)) is not None]
    turn.answer(order.order_id, True, "; ".join([f"measurement entered: {text}", *unfit, *outside]))


def _take_up(turn: Turn, amounts: tuple[Amount, ...]) -> list[str]:
    """What the sump's reckoning makes of a measurement; what to say of one that it can't take."""
    for amount in amounts:
        if amount.name == "EC":
            sump.measured_ec(turn, amount.value)
        elif amount.name == sump.GAUGE and not sump.read(turn, amount.value):
            return ["the level is only written down: read it at rest, once the water of the last run is back"]
    return []


def _amount_text(amount: Amount) -> str:
    """`1.8 mS/cm`; pH has no unit."""
    return f"{amount.value:.4g} {amount.unit}".rstrip()


def _look_at_range(turn: Turn, amount: Amount) -> str | None:
    """What to say of a value outside its range."""
    limit = next((one for one in turn.setup.sensing.ranges if one.name == amount.name), None)
    if limit is None or limit.lowest <= amount.value <= limit.highest:
        turn.over(AlertKind.OUTSIDE, amount.name)
        return None
    about = Outside(amount.name, amount.value, limit.unit, limit.lowest, limit.highest)
    turn.find(AlertKind.OUTSIDE, Severity.SOON, about, amount.name)
    return outside_text(about)
