"""Advisers that may not be believed: one doubt against each, however often it comes and goes."""

from dataclasses import replace
from math import inf

from waaler.core.doubt import Doubt
from waaler.core.turn import Turn
from waaler.plan.advisers import AdviserState, invalid_because

__all__ = ["look"]

WELL_FOR_S = 3600.0
"""So long a sensor must read well before its alert is over. Common practice, no source."""


def look(turn: Turn) -> float:
    """What is held against each from now on; the instant of the next look."""
    known = {doubt.name: doubt for doubt in turn.state.advice.doubts}
    found = (_judge(turn, adviser, known.get(adviser.adviser.name)) for adviser in turn.state.advice.advisers)
    doubts = tuple(doubt for doubt in found if doubt is not None)
    if doubts != turn.state.advice.doubts:
        turn.put(replace(turn.state.advice, doubts=doubts))
    return min((doubt.last_s + WELL_FOR_S for doubt in doubts if not doubt.is_now), default=inf)


def _judge(turn: Turn, adviser: AdviserState, doubt: Doubt | None) -> Doubt | None:
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
