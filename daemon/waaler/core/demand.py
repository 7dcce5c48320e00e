"""Cycles that something asks for: a probe that reads dry, light that fell, or what the crop has drunk since.

What is summed up is summed since the last full run. A start of the daemon begins at nothing: a cycle may come later
for that, never twice, and the window's own cycles count once nothing ran for the longest gap.
"""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from waaler.core.doses import want
from waaler.core.facts import Cause
from waaler.core.state import Wanted
from waaler.core.turn import Turn
from waaler.guard.messages import Purse
from waaler.plan.advisers import AdviserState, day_c, invalid_because
from waaler.plan.decide import valid
from waaler.plan.sensing import Reading
from waaler.plan.timetable import is_open
from waaler.plan.types import Below, OnDemand, PerDemand, PerLight, Trigger, Window

__all__ = ["add_drink", "add_light", "count", "is_believed", "is_valid", "look"]

LONGEST_STEP_S = 900.0
"""What was drunk is not summed over a longer time than this: nobody looked. Common practice, no source."""

W_S_PER_MJ = 1e6


def add_light(turn: Turn, readings: dict[str, Reading]) -> None:
    """Adds the light between each sensor's last reading and this one, if both can be believed."""
    for window in turn.plan.windows:
        trigger = None if window.on_demand is None else window.on_demand.trigger
        if isinstance(trigger, PerLight) and trigger.sensor in readings:
            before = valid(turn.state.advice.advisers, trigger.sensor, turn.now_s)
            value = readings[trigger.sensor].value
            if before is not None and before.value is not None and value is not None:
                mean = (max(0.0, before.value) + max(0.0, value)) / 2
                _add(turn, window, mean * (turn.now_s - before.read_s) / W_S_PER_MJ)


def add_drink(turn: Turn) -> None:
    """Adds what the thirstiest pot drank since the last step."""
    thirst, seconds = turn.setup.thirst, turn.now_s - turn.before.long_s
    if thirst is None or not 0 < seconds <= LONGEST_STEP_S:
        return
    until = turn.local
    since = until - timedelta(seconds=seconds)
    for window in turn.plan.windows:
        trigger = None if window.on_demand is None else window.on_demand.trigger
        if isinstance(trigger, PerDemand) and is_valid(turn, trigger):
            _add(turn, window, thirst.litres(since, until, _measured_c(turn, trigger)))


def is_valid(turn: Turn, trigger: Trigger) -> bool:
    """Whether what this goes by may be believed now."""
    return is_believed(trigger, turn.state.advice.advisers, turn.now_s)


def is_believed(trigger: Trigger, advisers: tuple[AdviserState, ...], now_s: float) -> bool:
    """The same of these advisers."""
    if isinstance(trigger, PerDemand):
        return trigger.thermometer is None or valid(advisers, trigger.thermometer, now_s) is not None
    return valid(advisers, trigger.probe if isinstance(trigger, Below) else trigger.sensor, now_s) is not None


def look(turn: Turn) -> None:
    """Asks for the first cycle that is wanted now."""
    for window in turn.plan.windows:
        rule = window.on_demand
        reason = None if rule is None or not _may_ask(turn, window, rule) else _reason(turn, window, rule.trigger)
        if reason is not None:
            turn.put(replace(turn.state.demand, demanded_at_s=turn.now_s))
            want(turn, Wanted(Cause.ON_DEMAND, Purse.SPARE, window.seconds, reason))
            return


def count(turn: Turn) -> None:
    """A cycle on demand was granted: one less of the day's. One that was refused leaves them as they are."""
    day, before = _demanded_today(turn)
    turn.put(replace(turn.state.demand, demanded=(day, before + 1)))


def _may_ask(turn: Turn, window: Window, rule: OnDemand) -> bool:
    """In its window, long enough after the last run and the last asking, and not too often a day."""
    since_s = turn.now_s - max(turn.state.account.last_stop_s, turn.state.demand.demanded_at_s)
    if since_s < rule.least_gap_s or _demanded_today(turn)[1] >= rule.most_per_day:
        return False
    return is_open(turn.plan, window, datetime.fromtimestamp(turn.at.wall_s, UTC))


def _reason(turn: Turn, window: Window, trigger: Trigger) -> str | None:
    """Why a cycle is wanted now; None if it is not."""
    match trigger:
        case Below(name, percent):
            probe = _adviser(turn, name)
            if probe is None or probe.value is None or not probe.value < percent:
                return None
            return f"{name} reads {round(probe.value)} %, below {percent:g} %"
        case PerLight(name, mj_per_m2):
            light = _sum(turn, window)
            if not light >= mj_per_m2 or _adviser(turn, name) is None:
                return None
            return f"{name}: {light:.2f} MJ/m2 of light since the last full run, {mj_per_m2:g} wanted"
        case PerDemand(litres):
            drunk_l = _sum(turn, window)
            if not drunk_l >= litres or not is_valid(turn, trigger):
                return None
            return f"a pot drank {1000 * drunk_l:.0f} mL since the last full run, {1000 * litres:g} mL wanted"


def _adviser(turn: Turn, name: str) -> AdviserState | None:
    return valid(turn.state.advice.advisers, name, turn.now_s)


def _measured_c(turn: Turn, trigger: PerDemand) -> tuple[float, float] | None:
    """None too where the thermometer has not yet seen most of a day: the weather counts until then."""
    if trigger.thermometer is None:
        return None
    found = next((state for state in turn.state.advice.advisers if state.adviser.name == trigger.thermometer), None)
    return None if found is None or invalid_because(found, turn.now_s) else day_c(found, turn.now_s)


def _sum(turn: Turn, window: Window) -> float:
    return dict(turn.state.demand.sums).get(window.name, 0.0)


def _add(turn: Turn, window: Window, amount: float) -> None:
    sums = dict(turn.state.demand.sums)
    sums[window.name] = sums.get(window.name, 0.0) + amount
    turn.put(replace(turn.state.demand, sums=tuple(sums.items())))


def _demanded_today(turn: Turn) -> tuple[date, int]:
    day, count = turn.state.demand.demanded or (None, 0)
    return (turn.today, count if day == turn.today else 0)
