"""One-line sabotages of the guard: for each row of the safety table, a way to break it.

Each must be caught by the exploration, the comparison with the naive guard or a plain test.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from math import inf
from typing import Any

import waaler.guard.asking as asking
import waaler.guard.contacts as contacts
import waaler.guard.moving as moving
import waaler.guard.state as state
import waaler.guard.step as stepping
import waaler.guard.watch as watching
from waaler.guard.messages import Trip

__all__ = ["SABOTAGES", "Sabotage", "sabotaged"]


@dataclass(frozen=True)
class Sabotage:
    """row: of the safety table. module, name: what is replaced. by: makes the sabotaged function of the true one."""

    row: str
    what: str
    module: Any
    name: str
    by: Callable[[Any], Any]


def _longer(true: Any) -> Any:
    return lambda s, ask: true(s, ask) + 1


def _never(true: Any) -> Any:
    return lambda *args: iter(())


SABOTAGES = (
    Sabotage("S1", "the deadline is looked at a second late", stepping, "_look_at_run",
             lambda true: lambda s: true(s) if s.run is None or s.now_s > s.run.until_s else (s, ())),
    Sabotage("S1", "a live supply with the relay off is not noticed", moving, "look",
             lambda true: lambda s: (s, ())),
    Sabotage("S1", "a contact that does not open is not noticed", contacts, "not_opening",
             lambda true: lambda s, run: None),
    Sabotage("S2", "a run is granted a second longer", stepping, "granted_until_s", _longer),
    Sabotage("S3", "pump time of the last day is not counted", asking, "energised_s", lambda true: lambda s, p: 0.0),
    Sabotage("S3", "pump time from before a restart is lost", state, "begin",
             lambda true: lambda lim, mem, now: true(lim, replace(mem, spans=()), now)),
    Sabotage("S4", "a bad level is confirmed a second late", watching, "_is_confirmed_bad",
             lambda true: lambda w, now: true(w, now - 1)),
    Sabotage("S4", "a read that fails is taken for no news", watching, "_cannot_be_read", lambda true: lambda w, now: False),
    Sabotage("S4", "an old reading counts for ever", watching, "_cannot_be_read",
             lambda true: lambda w, now: true(replace(w, read_until_s=inf), now)),
    Sabotage("S4", "the sump float is not asked before a start", asking, "_input_blocks",
             lambda true: lambda s, n, w: iter(()) if w.meaning is Trip.LOW_SUMP else true(s, n, w)),
    Sabotage("S5", "the tray float is not asked before a start", asking, "_input_blocks",
             lambda true: lambda s, n, w: iter(()) if w.meaning is Trip.HIGH_TRAY else true(s, n, w)),
    Sabotage("S5", "an input is trusted again at once", watching, "_acted",
             lambda true: lambda w, trip: replace(true(w, trip), hold_s=0.0)),
    Sabotage("S6", "no rest between two runs", asking, "_rest_blocks", _never),
    Sabotage("S7", "a lock is forgotten at a restart", state, "begin",
             lambda true: lambda lim, mem, now: true(lim, replace(mem, locks=frozenset()), now)),
    Sabotage("S7", "a lock does not refuse", stepping, "blocks",
             lambda true: lambda s, ask: true(replace(s, locks=frozenset()), ask)),
)  # fmt: skip


@contextmanager
def sabotaged(sabotage: Sabotage) -> Iterator[None]:
    true = getattr(sabotage.module, sabotage.name)
    setattr(sabotage.module, sabotage.name, sabotage.by(true))
    try:
        yield
    finally:
        setattr(sabotage.module, sabotage.name, true)
