"""A dose in pulses: while the sump dips too far for a whole run, each is given in several, `run_back` apart."""

from dataclasses import replace
from math import ceil

from waaler.core import texts
from waaler.core.facts import Cause, Severity
from waaler.core.state import Wanted
from waaler.core.sump import LEAK
from waaler.core.turn import Turn
from waaler.guard.messages import Purse

__all__ = ["BY_PEOPLE", "drop", "shorten", "space", "want"]

BY_PEOPLE = frozenset({Cause.HAND, Cause.ATTENDED, Cause.SOAK})
LEAST_PULSE_S = 30.0
PULSE_SHARE = 0.8
"""In pulses a run takes this share of the time after which the sump's float fell. Common practice, no source."""

CUTS_BEFORE_PULSES = 2


def want(turn: Turn, wanted: Wanted) -> None:
    """Queues a run, in pulses while the sump dips too far for a whole one, halved while water is lost."""
    wanted = _spared(turn, wanted)
    pulse_s = turn.state.pulse_s
    if pulse_s is None or wanted.seconds <= pulse_s or wanted.purse is Purse.SOAK:
        turn.set(queue=(*turn.state.queue, wanted))
        return
    pulses = ceil(wanted.seconds / pulse_s)
    parts = tuple(
        replace(
            wanted,
            seconds=wanted.seconds / pulses,
            planned_s=wanted.planned_s / pulses,
            pulse=n,
            pulses=pulses,
            reason=f"{wanted.reason}; pulse {n} of {pulses}, since the sump dips too far for a whole run",
        )
        for n in range(1, pulses + 1)
    )
    turn.set(queue=(*turn.state.queue, *parts))


def _spared(turn: Turn, wanted: Wanted) -> Wanted:
    """Half of it where a run loses water; what a person ordered stays whole."""
    leak = turn.state.alerts.get(LEAK)
    if leak is None or leak.severity is not Severity.URGENT or wanted.cause in BY_PEOPLE:
        return wanted
    return replace(wanted, seconds=wanted.seconds / 2, reason=f"{wanted.reason}; halved, since a leak is suspected")


def shorten(turn: Turn, seconds: float) -> None:
    """A sump that dips cut a run after so many seconds. Twice in a row: shorter runs from now on."""
    turn.set(low_cuts=turn.state.low_cuts + 1)
    if turn.state.low_cuts < CUTS_BEFORE_PULSES:
        return
    pulse_s = max(LEAST_PULSE_S, PULSE_SHARE * seconds)
    turn.set(pulse_s=pulse_s)
    turn.deed("pulses", f"runs of at most {pulse_s:.0f} s until a refill", seconds=pulse_s)
    turn.alert("sump-low-in-runs", Severity.URGENT, texts.low_in_runs(turn.state.low_cuts, pulse_s))


def drop(turn: Turn, wanted: Wanted) -> None:
    """A person stopped the run: what is left of its dose goes too."""
    if wanted.pulses > 1:
        turn.set(queue=tuple(other for other in turn.state.queue if other.key != wanted.key))


def space(turn: Turn) -> None:
    """The next pulse waits until the water is back."""
    next_s = turn.now_s + turn.state.limits.run_back_s
    turn.set(
        queue=tuple(
            replace(other, not_before_s=max(other.not_before_s, next_s)) if other.pulses > 1 else other
            for other in turn.state.queue
        )
    )
