"""What wears: drain and pump, run by run, and both due for cleaning."""

from dataclasses import replace

from waaler.core import wear
from waaler.core.facts import Act, WearNoted
from waaler.core.messages import Order
from waaler.core.turn import Turn
from waaler.core.wear import Upkeep, Wear
from waaler.guard.messages import Ended
from waaler.plan.sensing import Reading

__all__ = ["cleaned", "gauge", "hear_tray", "run_began", "run_over"]

WET = 0.5
NOTE_AT = (30, 60, 90)
"""Readings of a run's flow, one a second: a restart in its midst loses few of them."""


def run_began(turn: Turn) -> None:
    """Readings of a run that nobody saw end are of no other."""
    turn.put(replace(turn.state.wear, flows=()))


def gauge(turn: Turn, l_per_min: float) -> None:
    """A reading of the flow meter."""
    if turn.state.runs.active is not None:
        _take(turn, wear.gauge(turn.state.wear, l_per_min))


def run_over(turn: Turn, ended: Ended) -> None:
    """Counts a run's time and start, and keeps its flow."""
    if ended.seconds <= 0:
        return
    upkeep = turn.state.upkeep
    turn.put(Upkeep(upkeep.pumped_s + ended.seconds, upkeep.starts + 1))
    _take(turn, wear.run_over(turn.state.wear))


def hear_tray(turn: Turn, reading: Reading) -> None:
    """The tray's wet spot: how long after a run it falls dry."""
    state = turn.state
    if reading.value is None or state.runs.active is not None:
        return
    if reading.value > WET and not state.wear.is_wet:
        _take(turn, replace(state.wear, is_wet=True))
    elif reading.value <= WET and state.wear.is_wet:
        _take(turn, wear.has_dried(state.wear, turn.now_s - state.account.last_stop_s))


def cleaned(turn: Turn, order: Order) -> None:
    """A person cleaned pump and filter."""
    turn.put(Upkeep())
    turn.deed(Act.CLEANED, order.text or "pump and filter", order.by)
    turn.answer(order.order_id, True, "cleaning entered; pump hours and starts count anew")


def _take(turn: Turn, new: Wear) -> None:
    """For the records too, if it tells more than before; of a flow that is being read now and then."""
    before = turn.state.wear
    turn.put(new)
    is_news = (new.means, new.dried_s, new.is_wet) != (before.means, before.dried_s, before.is_wet)
    if is_news or len(new.flows) in NOTE_AT:
        turn.write(WearNoted(turn.at, new))
