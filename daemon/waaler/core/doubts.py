"""Advisers that may not be believed: one alert for each, however often it comes and goes."""

from dataclasses import replace
from math import inf

from waaler.core import life, texts
from waaler.core.facts import Severity
from waaler.core.standing import Doubt
from waaler.core.turn import Turn
from waaler.plan.advisers import AdviserState, invalid_because

__all__ = ["look"]

KIND = "not-valid-"
WELL_FOR_S = 3600.0
"""So long a sensor must read well before its alert is over. Common practice, no source."""

TOLD = (3, 10, 30, 100, 300, 1000)
"""Times after which the text of the alert says how often."""


def look(turn: Turn) -> float:
    """Raises, rewords and resolves; the instant of the next look."""
    known = {doubt.name: doubt for doubt in turn.state.doubts}
    names = {_kind(adviser.adviser.name) for adviser in turn.state.advisers}
    for kind in tuple(turn.state.alerts):
        if kind.startswith(KIND) and kind not in names:
            turn.resolve(kind)  # taken out of the file
    found = (_judge(turn, adviser, known.get(adviser.adviser.name)) for adviser in turn.state.advisers)
    doubts = tuple(doubt for doubt in found if doubt is not None)
    if doubts != turn.state.doubts:
        turn.set(doubts=doubts)
    return min((doubt.last_s + WELL_FOR_S for doubt in doubts if not doubt.is_now), default=inf)


def _judge(turn: Turn, adviser: AdviserState, doubt: Doubt | None) -> Doubt | None:
    """What is thought of it from now on; None: nothing against it."""
    name = adviser.adviser.name
    reason = invalid_because(adviser, turn.now_s)
    if reason is not None:
        before = doubt or Doubt(name)
        doubt = replace(before, times=before.times + (not before.is_now), last_s=turn.now_s, is_now=True)
        if _kind(name) in turn.state.alerts or turn.now_s - turn.state.started_s > adviser.adviser.stale_after_s:
            _tell(turn, before, doubt, reason)
        return doubt
    if doubt is None or turn.now_s >= doubt.last_s + WELL_FOR_S:
        turn.resolve(_kind(name))
        return None
    return replace(doubt, is_now=False)


def _tell(turn: Turn, before: Doubt, doubt: Doubt, reason: str) -> None:
    kind, at_least = _kind(doubt.name), _at_least(doubt)
    is_known = kind in turn.state.alerts
    turn.alert(kind, Severity.SOON, texts.not_valid(doubt.name, reason, at_least))
    if is_known and at_least > _at_least(before):
        life.reword(turn, kind)


def _at_least(doubt: Doubt) -> int:
    return max((times for times in TOLD if times <= doubt.times), default=1)


def _kind(name: str) -> str:
    return KIND + name.replace("_", "-").replace(" ", "-").lower()
