"""What runs and readings show: advisers not to be believed, whether the water came, how pump and drain wear."""

from dataclasses import replace
from math import inf

from waaler.bed import wear
from waaler.bed.wear import Upkeep, Wear
from waaler.core.alert import AlertKind, NoSign, Severity
from waaler.core.facts import Act, WearNoted
from waaler.core.messages import Order
from waaler.core.state import Doubt
from waaler.core.turn import Turn
from waaler.guard.messages import Ended
from waaler.plan.advisers import AdviserState, has_moved, invalid_because
from waaler.plan.sensing import WETNESS, Reading

__all__ = [
    "cleaned",
    "gauge",
    "hear_tray",
    "judge_signs",
    "look_for_doubts",
    "look_for_signs",
    "run_began",
    "run_over",
    "wait_for",
]

WELL_FOR_S = 3600.0
"""So long a sensor must read well before its alert is over. Common practice, no source."""

LEAST_RUN_S = 60.0
USUAL_RUNS = 3
"""A sign that moved in so many runs is a usual one. Common practice, no source."""

SUPPLY, FLOW = "supply", "flow"
WET = 0.5
NOTE_AT = (30, 60, 90)
"""Readings of a run's flow, one a second: a restart in its midst loses few of them."""


def look_for_doubts(turn: Turn) -> float:
    """What is held against each from now on; the instant of the next look."""
    known = {doubt.name: doubt for doubt in turn.state.advice.doubts}
    found = (_doubted(turn, adviser, known.get(adviser.adviser.name)) for adviser in turn.state.advice.advisers)
    doubts = tuple(doubt for doubt in found if doubt is not None)
    if doubts != turn.state.advice.doubts:
        turn.put(replace(turn.state.advice, doubts=doubts))
    return min((doubt.last_s + WELL_FOR_S for doubt in doubts if not doubt.is_now), default=inf)


def _doubted(turn: Turn, adviser: AdviserState, doubt: Doubt | None) -> Doubt | None:
    """What is thought of it from now on; None: nothing against it."""
    reason = invalid_because(adviser, turn.now_s)
    if reason is not None:
        before = doubt or Doubt(adviser.adviser.name)
        is_told = before.is_told or turn.now_s - turn.state.started_s > adviser.adviser.stale_after_s
        times = before.times + (not before.is_now)
        return Doubt(before.name, reason, times, turn.now_s, is_now=True, is_told=is_told)
    if doubt is None or turn.now_s >= doubt.last_s + WELL_FOR_S:
        return None
    return replace(doubt, is_now=False)


def wait_for(turn: Turn, ended: Ended) -> None:
    """A full run is over: what it showed by itself is kept, and the probes have until the media have drained."""
    if ended.seconds < LEAST_RUN_S:
        return
    known = {FLOW: ended.has_flowed, SUPPLY: ended.was_live}
    shown = tuple((name, seen) for name, seen in known.items() if seen is not None)
    until_s = turn.now_s + turn.setup.sensing.drained_after_s
    turn.put(replace(turn.state.signs, shown=shown, shown_until_s=until_s))


def look_for_signs(turn: Turn) -> float:
    """Judges once the time has come; the instant of the next look."""
    if turn.state.signs.shown is not None and turn.now_s >= turn.state.signs.shown_until_s:
        judge_signs(turn)
    return turn.state.signs.shown_until_s


def judge_signs(turn: Turn) -> None:
    """Raises the alert where nothing moved that usually does, or the supply was seen dead; else resolves it."""
    shown = turn.state.signs.shown
    if shown is None:
        return
    turn.put(replace(turn.state.signs, shown=None, shown_until_s=inf))
    signs = dict(shown) | {a.adviser.name: has_moved(a) for a in turn.state.advice.advisers if _can_show(a)}
    if any(signs.values()):
        turn.over(AlertKind.NO_SIGN)
        _learn(turn, signs)
        return
    usual = dict(turn.state.signs.usual)
    missed = [name for name in signs if name == SUPPLY or _is_usual(usual.get(name, ()))]
    if missed:
        turn.find(AlertKind.NO_SIGN, Severity.URGENT, NoSign(tuple(missed)))


def _learn(turn: Turn, signs: dict[str, bool]) -> None:
    before = dict(turn.state.signs.usual)
    after = {name: (*before.get(name, ()), moved)[-USUAL_RUNS:] for name, moved in signs.items()}
    turn.put(replace(turn.state.signs, usual=tuple(after.items())))


def _is_usual(moved: tuple[bool, ...]) -> bool:
    return len(moved) == USUAL_RUNS and all(moved)


def _can_show(state: AdviserState) -> bool:
    return state.adviser.kind in WETNESS and state.value is not None and state.has_seen_run


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
