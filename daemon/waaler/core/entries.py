"""What a person enters and no run depends on: measurements of solution and sump, and notes."""

from waaler.core import proving, sump
from waaler.core.alert import AlertKind, Outside, Severity
from waaler.core.facts import Amount
from waaler.core.messages import Order, OrderKind
from waaler.core.turn import Turn
from waaler.core.words import outside_text

__all__ = ["amount_text", "enter"]


def enter(turn: Turn, order: Order) -> None:
    """Writes it down; a measurement outside the file's range raises an alert, one inside ends it."""
    if order.kind in (OrderKind.NOTE, OrderKind.COMMISSION):
        turn.deed(order.kind.value, order.text, order.by, amounts=order.amounts)
        if order.wrong_float is not None:
            proving.doubt(turn)
        turn.answer(order.order_id, True, f"{order.kind.value} entered")
        return
    text = ", ".join(f"{amount.name} {amount_text(amount)}" for amount in order.amounts)
    turn.deed("measure", text, order.by, amounts=order.amounts)
    unfit = _take_up(turn, order.amounts)
    outside = [said for amount in order.amounts if (said := _look_at(turn, amount)) is not None]
    turn.answer(order.order_id, True, "; ".join([f"measurement entered: {text}", *unfit, *outside]))


def _take_up(turn: Turn, amounts: tuple[Amount, ...]) -> list[str]:
    """What the sump's reckoning makes of a measurement; what to say of one that it can't take."""
    for amount in amounts:
        if amount.name == "EC":
            sump.measured_ec(turn, amount.value)
        elif amount.name == sump.GAUGE and not sump.read(turn, amount.value):
            return ["the level is only written down: read it at rest, once the water of the last run is back"]
    return []


def amount_text(amount: Amount) -> str:
    """`1.8 mS/cm`; pH has no unit."""
    return f"{amount.value:.4g} {amount.unit}".rstrip()


def _look_at(turn: Turn, amount: Amount) -> str | None:
    """What to say of a value outside its range."""
    limit = next((one for one in turn.setup.sensing.ranges if one.name == amount.name), None)
    if limit is None or limit.lowest <= amount.value <= limit.highest:
        turn.over(AlertKind.OUTSIDE, amount.name)
        return None
    about = Outside(amount.name, amount.value, limit.unit, limit.lowest, limit.highest)
    turn.find(AlertKind.OUTSIDE, Severity.SOON, about, amount.name)
    return outside_text(about)
