"""What wears: the drain that slows, the pump that weakens, both due for cleaning; and a sensor that skips much."""

from dataclasses import replace

from waaler.core import texts, wear
from waaler.core.facts import Severity
from waaler.core.messages import Order
from waaler.core.turn import Turn
from waaler.core.upkeep_state import Upkeep
from waaler.guard.messages import Ended
from waaler.plan.sensing import AdviserKind, Reading

__all__ = ["cleaned", "hear_tray", "look", "run_over"]

DAY_S = 86_400.0
MANY_SKIPS_SHARE = 1 / 3
LEAST_SKIPS = 2
WET = 0.5


def run_over(turn: Turn, ended: Ended) -> None:
    """Counts a run's time and start, and judges its flow."""
    if ended.seconds <= 0:
        return
    upkeep = turn.state.upkeep
    turn.set(
        upkeep=Upkeep(upkeep.pumped_s + ended.seconds, upkeep.starts + 1),
        wear=wear.run_over(turn.state.wear),
    )
    normal = turn.state.limits.normal_flow_l_per_min
    if normal is not None and wear.is_weaker(turn.state.wear, normal):
        turn.alert("pump-weaker", Severity.SOON, texts.pump_weaker(turn.state.wear.means[-1], normal))
    else:
        turn.resolve("pump-weaker")


def hear_tray(turn: Turn, reading: Reading) -> None:
    """The tray's wet spot: how long after a run it falls dry."""
    state = turn.state
    if reading.value is None or state.active is not None:
        return
    if reading.value > WET:
        turn.set(wear=replace(state.wear, is_wet=True))
    elif state.wear.is_wet:
        turn.set(wear=wear.has_dried(state.wear, turn.now_s - state.last_stop_s))
        if wear.is_drain_slowing(turn.state.wear):
            turn.alert("drain-slowing", Severity.SOON, texts.DRAIN_SLOWING)
        else:
            turn.resolve("drain-slowing")


def cleaned(turn: Turn, order: Order) -> None:
    """A person cleaned pump and filter."""
    turn.set(upkeep=Upkeep())
    turn.deed("cleaned", order.text or "pump and filter", order.by)
    turn.answer(order.order_id, True, "cleaning entered; pump hours and starts count anew")


def look(turn: Turn) -> None:
    """Raises what hours, starts and skips show; what told of the drain is over with the sensor that showed it."""
    state, care = turn.state, turn.state.care
    if not any(one.adviser.kind is AdviserKind.TRAY_WET for one in state.advisers):
        turn.resolve("drain-slowing")
    if state.upkeep.pumped_s >= care.clean_after_s or state.upkeep.starts >= care.clean_after_starts:
        turn.alert("cleaning-due", Severity.NOTE, texts.CLEANING_DUE)
    else:
        turn.resolve("cleaning-due")
    recent = [given for given in state.given if given.at_s > turn.now_s - DAY_S]
    skips = sum(given.is_skip for given in recent)
    if skips >= LEAST_SKIPS and skips >= MANY_SKIPS_SHARE * len(recent):
        turn.alert("many-skips", Severity.SOON, texts.MANY_SKIPS)
    else:
        turn.resolve("many-skips")
