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
import waaler.guard.holds as holding
import waaler.guard.moving as moving
import waaler.guard.state as state
import waaler.guard.step as stepping
import waaler.guard.watch as watching
from waaler.core import runs
from waaler.guard.messages import Hold, HoldKind, Purse, Trip
from waaler.guard_process import keeper_child, pump

__all__ = ["ELSEWHERE", "SABOTAGES", "Sabotage", "sabotaged"]

WALL_S = 1_750_000_000.0 - 5000.0
"""Between the two hands of the tests' clock."""


@dataclass(frozen=True)
class Sabotage:
    """row: of the safety table. module, name: what is replaced. by: makes the sabotaged function of the true one."""

    row: str
    what: str
    module: Any
    name: str
    by: Callable[[Any], Any]


NOBODY = Hold(HoldKind.SERVICE, inf, "nobody", inf)


def _longer(true: Any) -> Any:
    return lambda s, ask: true(s, ask) + 1


def _lengthened(s: Any) -> Any:
    return s if s.run is None else replace(s, run=replace(s.run, until_s=s.run.started_s + s.limits.longest_run_s))


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
    Sabotage("S3", "soak and attended runs need nobody's word", asking, "allowance",
             lambda true: lambda s, p: NOBODY if p in (Purse.SOAK, Purse.ATTENDED) else None),
    Sabotage("S3", "soak and attended runs are counted with nobody", asking, "energised_s",
             lambda true: lambda s, p: true(s, p) if Purse.PLAN in p else 0.0),
    Sabotage("S7", "water that moves with the pump off is not noticed", moving, "flow",
             lambda true: lambda s, l_per_min: (true(s, l_per_min)[0] if s.run is not None else s, ())),
    Sabotage("S7", "a dry pump goes on", moving, "is_dry", lambda true: lambda s, run: False),
    Sabotage("S7", "a lock is forgotten at a restart", state, "begin",
             lambda true: lambda lim, mem, now: true(lim, replace(mem, locks=frozenset()), now)),
    Sabotage("S7", "a lock does not refuse", stepping, "blocks",
             lambda true: lambda s, ask: true(replace(s, locks=frozenset()), ask)),
    Sabotage("S9", "the wall clock moves the guard's time", stepping, "step",
             lambda true: lambda s, e: true(s, replace(e, at=replace(e.at, long_s=e.at.wall_s - WALL_S)))),
    Sabotage("S14", "a service refuses nothing", asking, "forbids", lambda true: lambda hold, purse: False),
    Sabotage("S14", "a service cuts nothing", holding, "CUTTING", lambda true: frozenset()),
    Sabotage("S14", "a service is forgotten at a restart", state, "begin",
             lambda true: lambda lim, mem, now: true(lim, replace(mem, holds=()), now)),
    Sabotage("S12", "a stricter limit waits for the next run", stepping, "_take_limits",
             lambda true: lambda s, lim: replace(true(s, lim), run=s.run)),
    Sabotage("S12", "a looser limit lengthens the run in progress", stepping, "_take_limits",
             lambda true: lambda s, lim: _lengthened(true(s, lim))),
)  # fmt: skip

ELSEWHERE = (
    Sabotage("S8", "a keeper that hangs is never noticed", keeper_child.KeeperChild, "look", lambda true: lambda self: None),
    Sabotage("S10", "a run waits for the disk without end", runs, "INTENT_WAIT_S", lambda true: inf),
    Sabotage("S11", "the guard waits for whoever hears it", pump.Pump, "tell",
             lambda true: lambda self, message: (self._say(self._clock.now(), message), true(self, message))),
    Sabotage("S13", "levels are read seldom while the relay is on", pump, "POLL_ON_S", lambda true: 0.2),
)  # fmt: skip
"""Sabotages of what stands around the guard's machine; each is caught by the test of its row."""


@contextmanager
def sabotaged(sabotage: Sabotage) -> Iterator[None]:
    true = getattr(sabotage.module, sabotage.name)
    setattr(sabotage.module, sabotage.name, sabotage.by(true))
    try:
        yield
    finally:
        setattr(sabotage.module, sabotage.name, true)
