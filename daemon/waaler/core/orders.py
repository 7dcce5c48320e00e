"""What a person orders: water now, stop, pause, service, soak, release, refill."""

from math import inf

from waaler.core import proving, sump, texts
from waaler.core.alerts import LOCKS
from waaler.core.entries import amount_text, enter
from waaler.core.facts import Amount, Cause, Outcome, Severity
from waaler.core.life import acknowledge
from waaler.core.memory import Standing
from waaler.core.messages import Order, OrderKind
from waaler.core.runs import write_off
from waaler.core.state import Wanted
from waaler.core.turn import Turn
from waaler.core.upkeep import cleaned
from waaler.guard.messages import Clear, Cut, LockLifted, LockStays, Permit, Purse
from waaler.plan.timetable import longest_gap_s

__all__ = ["LONGEST_PAUSE_S", "LONGEST_SOAK_S", "end_standing", "lock_answered", "obey"]

LONGEST_PAUSE_S = 12 * 3600.0
LONGEST_SOAK_S = 48 * 3600.0
LONGEST_ATTENDED_S = 6 * 3600.0
ATTENDED = "attended"
ATTENDED_SHARE = 0.5
"""Of the attended time, what the pump may run. Common practice, no source."""

PURSES = {"soak": Purse.SOAK, ATTENDED: Purse.ATTENDED}
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
            turn.tell_guard(Cut(f"stopped by {order.by}"))
            _drop_queued(turn, order.by)
            turn.answer(order.order_id, True, "stopped; the plan goes on with its next cycle")
        case OrderKind.PAUSE | OrderKind.SERVICE:
            _hold(turn, order)
        case OrderKind.SOAK:
            _soak(turn, order)
        case OrderKind.ATTEND:
            _attend(turn, order)
        case OrderKind.CONFIRM:
            turn.set(confirmed_s=turn.now_s)
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
    standing = turn.state.standing
    is_held = standing is not None and standing.what != "pause"
    if is_held and standing is not None and order.kind not in (OrderKind.STOP, OrderKind.ACKNOWLEDGE):
        return f"a {standing.what} is in progress, which only a person at the bed ends"
    if not turn.at.is_sure:
        return "the clock is unsure"
    return None


def end_standing(turn: Turn) -> float:
    """Ends a pause, service or soak whose time is over; the instant at which the present one ends."""
    standing = turn.state.standing
    if standing is None:
        turn.resolve("paused-long")
        return inf
    if turn.now_s < standing.until_s:
        return standing.until_s
    turn.set(standing=None, must_announce=True)
    turn.deed(f"{standing.what}-over", f"{standing.what} is over; the plan goes on")
    turn.resolve("paused-long")
    return inf


def lock_answered(turn: Turn, message: LockLifted | LockStays) -> None:
    if isinstance(message, LockLifted):
        turn.deed("clear", f"{message.trip.value} released", message.by)
    else:
        turn.deed("clear", f"{message.trip.value} stays locked: {message.reason}")


def _drop_queued(turn: Turn, by: str) -> None:
    """What is left of a dose in pulses, and a start that was announced."""
    queue = turn.state.queue
    if turn.state.announced_until_s > turn.now_s:
        for wanted in queue:
            write_off(turn, wanted, Outcome.STOPPED, f"stopped by {by} before it began")
        queue = ()
    turn.set(queue=tuple(wanted for wanted in queue if wanted.pulse == 1))


def _water(turn: Turn, order: Order) -> None:
    standing = turn.state.standing
    if standing is not None and standing.what == "service":
        turn.answer(
            order.order_id, False, "a service is in progress, hands may be in the sump; `waaler resume` ends it"
        )
        return
    if turn.state.active is not None:
        turn.answer(order.order_id, False, "another run is on its way; stop it first")
        return
    is_attended = standing is not None and standing.what == ATTENDED
    wanted = Wanted(
        Cause.ATTENDED if is_attended else Cause.HAND,
        Purse.ATTENDED if is_attended else Purse.SPARE,
        order.seconds,
        f"ordered by {order.by}",
        by=order.by,
        order_id=order.order_id,
    )
    turn.set(queue=(*turn.state.queue, wanted), confirmed_s=turn.now_s)


def _attend(turn: Turn, order: Order) -> None:
    """A person stands by: until then the plan waits, and runs by hand rest only briefly and are counted apart."""
    standing = turn.state.standing
    if not 0 < order.seconds <= LONGEST_ATTENDED_S:
        turn.answer(order.order_id, False, "give a length of at most 6 h")
        return
    if standing is not None and standing.what != ATTENDED:
        turn.answer(order.order_id, False, f"{standing.what} is in progress; `waaler resume` ends it")
        return
    until_s = turn.now_s + order.seconds
    most_s = ATTENDED_SHARE * order.seconds
    turn.tell_guard(Permit(Purse.ATTENDED, until_s, most_s))
    _stand(turn, Standing(ATTENDED, until_s, order.by), most_s)
    turn.answer(order.order_id, True, f"attended until {turn.clock_text(until_s)}; ends by itself")


def _hold(turn: Turn, order: Order) -> None:
    """No run until its time is over; a run in progress ends."""
    if not 0 < order.seconds <= LONGEST_PAUSE_S:
        turn.answer(order.order_id, False, "give a length of at most 12 h")
        return
    until_s = turn.now_s + order.seconds
    _stand(turn, Standing(order.kind.value, until_s, order.by))
    turn.tell_guard(Cut(f"{order.kind.value} by {order.by}"))
    if order.kind is OrderKind.PAUSE and order.seconds > longest_gap_s(turn.state.plan, turn.today):
        turn.alert("paused-long", Severity.SOON, texts.paused_long(turn.clock_text(until_s), order.by))
    turn.answer(order.order_id, True, f"{order.kind.value} until {turn.clock_text(until_s)}; ends by itself")


def _soak(turn: Turn, order: Order) -> None:
    if turn.state.unproven:
        turn.answer(order.order_id, False, f"{proving.REFUSAL}; walk through `waaler commission` first")
        return
    if not 0 < order.seconds <= LONGEST_SOAK_S:
        turn.answer(order.order_id, False, "give a length of at most 48 h")
        return
    limits = turn.state.limits
    until_s = turn.now_s + order.seconds
    share = limits.longest_run_s / (limits.longest_run_s + limits.rest_s)
    most_s = share * min(order.seconds, 86_400.0) + limits.longest_run_s
    turn.tell_guard(Permit(Purse.SOAK, until_s, most_s))
    _stand(turn, Standing("soak", until_s, order.by), most_s)
    turn.set(soak_at_s=turn.now_s)
    turn.answer(order.order_id, True, f"soak until {turn.clock_text(until_s)}; goes on after each refill")


def _stand(turn: Turn, standing: Standing, seconds: float | None = None) -> None:
    turn.set(standing=standing, queue=())
    until = turn.clock_text(standing.until_s)
    turn.deed(standing.what, f"until {until}", standing.by, standing.until_s, seconds)


def _resume(turn: Turn, order: Order) -> None:
    standing = turn.state.standing
    if standing is None:
        turn.answer(order.order_id, False, "nothing is paused")
        return
    if standing.what in PURSES:
        turn.tell_guard(Permit(PURSES[standing.what], turn.now_s, 0.0))
    turn.set(standing=None, must_announce=True)
    turn.deed("resume", f"{standing.what} ended", order.by)
    turn.answer(order.order_id, True, f"{standing.what} ended; the plan goes on")


def _clear(turn: Turn, order: Order) -> None:
    locked = turn.state.trips & LOCKS
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
    turn.set(pulse_s=None, low_cuts=0, refilled_s=turn.now_s)
    turn.resolve("sump-low-in-runs")
    turn.answer(order.order_id, True, f"refill entered: {amount}")
