"""Did the water come? After a full run something that usually moves must have: flow, supply, tray, a probe."""

from dataclasses import replace
from math import inf

from waaler.core.alert import AlertKind, NoSign, Severity
from waaler.core.turn import Turn
from waaler.guard.messages import Ended
from waaler.plan.advisers import AdviserState, has_moved
from waaler.plan.sensing import WETNESS

__all__ = ["judge", "look", "wait_for"]

LEAST_RUN_S = 60.0
USUAL_RUNS = 3
"""A sign that moved in so many runs is a usual one. Common practice, no source."""

SUPPLY, FLOW = "supply", "flow"


def wait_for(turn: Turn, ended: Ended) -> None:
    """A full run is over: what it showed by itself is kept, and the probes have until the media have drained."""
    if ended.seconds < LEAST_RUN_S:
        return
    known = {FLOW: ended.has_flowed, SUPPLY: ended.was_live}
    shown = tuple((name, seen) for name, seen in known.items() if seen is not None)
    until_s = turn.now_s + turn.setup.sensing.drained_after_s
    turn.put(replace(turn.state.signs, shown=shown, shown_until_s=until_s))


def look(turn: Turn) -> float:
    """Judges once the time has come; the instant of the next look."""
    if turn.state.signs.shown is not None and turn.now_s >= turn.state.signs.shown_until_s:
        judge(turn)
    return turn.state.signs.shown_until_s


def judge(turn: Turn) -> None:
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
