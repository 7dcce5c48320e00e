"""What the core must still know after a restart; the records restore it."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from waaler.core.alert import OpenAlert
from waaler.core.sump_state import SumpState
from waaler.core.upkeep_state import Upkeep
from waaler.core.wear import Wear
from waaler.guard.memory import DAY_S, Span
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Input, Instant, Trip
from waaler.plan.timetable import due
from waaler.plan.types import CycleKey, Plan

__all__ = ["Given", "Memory", "after_loss"]


IDS_FROM_S = 1_700_000_000.0
"""Of the wall clock. Run ids rise by far less than one a second, a thousand at each start included."""


@dataclass(frozen=True, slots=True)
class Given:
    """A cycle that came due at at_s (long hand): what was planned and what it got, seconds; was it left out?"""

    at_s: float
    planned_s: float
    given_s: float
    is_skip: bool = False


@dataclass(frozen=True, slots=True)
class Memory:
    """The default is a first start. Times by the long hand of the present boot, except looked_at_s (wall).

    looked_at_s: up to when cycles were last looked for. done: keys of cycles already dealt with, and when.
    last_full_s: when the last run that ran its time ended, None if never. last_catch_up_s: the same of catch-ups.
    is_owed: a planned cycle was missed, refused or cut since the last full run. low_since_s: when the trip by a low
    sump that stands began. refilled_s: when a refill was last entered. sump: the ledger's last entry.
    """

    guard: GuardMemory = field(default_factory=GuardMemory)
    next_run_id: int = 1
    looked_at_s: float | None = None
    done: tuple[tuple[CycleKey, float], ...] = ()
    given: tuple[Given, ...] = ()
    skips_in_a_row: int = 0
    last_full_s: float | None = None
    last_catch_up_s: float | None = None
    is_owed: bool = False
    pulse_s: float | None = None
    low_since_s: float | None = None
    refilled_s: float | None = None
    open_alerts: tuple[OpenAlert, ...] = ()
    sump: SumpState | None = None
    upkeep: Upkeep = field(default_factory=Upkeep)
    wear: Wear = field(default_factory=Wear)


def after_loss(plan: Plan, at: Instant) -> Memory:
    """What is taken for true when nothing is known.

    The plan ran as written in the last 24 h, and every protective input had acted, so that it must be good for its
    whole settle time before the first run. That the floats were ever proven is not known. Run ids go on above any
    that the records may have, once they can be read again: by the clock, which gives one a second.
    """
    now = datetime.fromtimestamp(at.wall_s, UTC)
    ends = [
        (at.long_s - (now - cycle.start).total_seconds() + cycle.seconds, cycle.seconds)
        for cycle in due(plan, now - timedelta(seconds=DAY_S), now)
    ]
    spans = tuple(Span(min(end_s, at.long_s) - seconds, min(end_s, at.long_s)) for end_s, seconds in ends)
    tripped = frozenset({(Input.SUMP_LOW, Trip.LOW_SUMP), (Input.TRAY_HIGH, Trip.HIGH_TRAY)})
    taken = max(0, int(at.wall_s - IDS_FROM_S))
    guard = GuardMemory(spans=spans, tripped=tripped, reserved_run_id=taken)
    return Memory(guard=guard, next_run_id=taken + 1, looked_at_s=at.wall_s)
