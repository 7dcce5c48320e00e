"""The decisions' memory of the present: frozen, replaced at every step."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from enum import StrEnum
from math import inf
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from waaler.bed.thirst import Thirst
from waaler.core.alert import FOUND, Alert, AlertKind, NotValid, OpenAlert, Severity
from waaler.core.care import Care
from waaler.core.doubt import Doubt
from waaler.core.facts import Cause
from waaler.core.memory import Given, Memory
from waaler.core.sump_state import Forecast, Leak, LeakSign, SumpState
from waaler.core.upkeep_state import Upkeep
from waaler.core.wear import Wear
from waaler.guard.limits import Limits
from waaler.guard.messages import Hold, Input, Instant, Level, Purse, Trip
from waaler.plan.advisers import AdviserState
from waaler.plan.sensing import Sensing
from waaler.plan.timetable import longest_gap_s
from waaler.plan.types import CycleKey, Plan

__all__ = ["Active", "Stage", "State", "Wanted", "begin", "changed"]

T = TypeVar("T")
SHORT_AWAY_S = 900.0
"""In so short a time no cycle goes by unseen. Common practice, no source."""


class Stage(StrEnum):
    INTENT = "intent"
    ASKED = "asked"
    RUNNING = "running"


@dataclass(frozen=True, slots=True)
class Wanted:
    """A run that shall be asked for, at not_before_s or later (long hand).

    planned_s: seconds of the plan that it stands for; 0 for what the plan did not ask for, or another row has.
    rest_s, rest_planned_s: what comes after it of its dose; given_s: what the dose has had before. full_s: what
    makes it a full one. expires_s: when its cycle's time is over. refusals: of this run so far.
    """

    cause: Cause
    purse: Purse
    seconds: float
    reason: str
    not_before_s: float = -inf
    planned_s: float = 0.0
    key: CycleKey | None = None
    pulse: int = 1
    pulses: int = 1
    by: str | None = None
    order_id: int | None = None
    is_extended: bool = False
    rest_s: float = 0.0
    rest_planned_s: float = 0.0
    given_s: float = 0.0
    full_s: float = inf
    expires_s: float = inf
    refusals: int = 0


@dataclass(frozen=True, slots=True)
class Active:
    """The one run that is on its way. since_s: when this stage began; asked_s: when the guard was asked."""

    run_id: int
    wanted: Wanted
    stage: Stage
    since_s: float
    until_s: float = inf
    asked_s: float = inf


@dataclass(frozen=True)
class State:
    """All instants by the long hand but looked_at_s, the wall time up to which cycles were looked for.

    started_s: when this keeper began. kept_since_s: since when the bed is kept; -inf where only a short while was
    nobody there before this start.

    last_full_s, full_before_s: ends of the last two runs that gave their dose, -inf if never. low_cuts: runs in a
    row cut by low sump. pulse_s: longest run while the sump dips too far, None otherwise. trips: what stands in the
    guard's way now; not_read: the protective inputs that cannot be read. holds: a person's, as the guard has them,
    strictest first.
    given_up: the last runs whose ends the guard did not tell in time.
    doubts: of advisers that are not valid, or were a while ago.
    shown: what the last full run has shown by itself, None once it was judged; shown_until_s: when it is judged.
    usual: for each sign of water whether it moved in the last runs, newest last.
    quiet: two wall times between which no cycle begins, None if not known; it saves looking through the plan.
    demanded: the day of the last cycle on demand, and how many were granted that day. sums: of each window that
    goes by light or by demand, MJ/m2 or litres since the last full run. thirst: what demand is reckoned by.
    must_prove: what of the protective inputs must be seen before the first unattended run, nothing for a bed that
    has watered; unproven: what of it was not seen yet; empty: the run may come.
    announce_s: how long a start after a trip, a boot or a pause is announced, 0 without light and buzzer.
    must_announce: whether the next start is such a one; announced_until_s: when it comes, -inf while none does.
    confirmed_s: when a person last said that they stand by.
    extra_at_s: when a bed that was dry is looked at again, and for how long it would then be watered.
    low_since_s: when the trip by a low sump last began. refilled_s: when a refill was last entered.
    sump: what is known of it. forecast: what is foreseen of it.
    alerts: what people were told and stands, by the alert's name. found: by name, alerts that an event showed and
    that another takes back.
    """

    plan: Plan
    sensing: Sensing
    limits: Limits
    at: Instant
    started_s: float
    kept_since_s: float
    looked_at_s: float
    quiet: tuple[float, float] | None = None
    next_run_id: int = 1
    done: tuple[tuple[CycleKey, float], ...] = ()
    given: tuple[Given, ...] = ()
    skips_in_a_row: int = 0
    last_stop_s: float = -inf
    last_run_s: float = 0.0
    last_full_s: float = -inf
    full_before_s: float = -inf
    is_owed: bool = False
    catch_up_at_s: float = -inf
    extra_at_s: float = inf
    extra_seconds: float = 0.0
    low_cuts: int = 0
    low_since_s: float = -inf
    refilled_s: float = -inf
    pulse_s: float | None = None
    active: Active | None = None
    given_up: tuple[Active, ...] = ()
    queue: tuple[Wanted, ...] = ()
    holds: tuple[Hold, ...] = ()
    soak_at_s: float = -inf
    trips: frozenset[Trip] = frozenset()
    not_read: frozenset[Input] = frozenset()
    advisers: tuple[AdviserState, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    hot_day: date | None = None
    demanded: tuple[date, int] | None = None
    demanded_at_s: float = -inf
    sums: tuple[tuple[str, float], ...] = ()
    thirst: Thirst | None = None
    alerts: Mapping[str, OpenAlert] = field(default_factory=dict)
    found: Mapping[str, Alert] = field(default_factory=dict)
    care: Care = field(default_factory=Care)
    sump: SumpState | None = None
    upkeep: Upkeep = field(default_factory=Upkeep)
    wear: Wear = field(default_factory=Wear)
    forecast: Forecast = field(default_factory=Forecast)
    shown: tuple[tuple[str, bool], ...] | None = None
    shown_until_s: float = inf
    usual: tuple[tuple[str, tuple[bool, ...]], ...] = ()
    must_prove: frozenset[tuple[Input, Level]] = frozenset()
    unproven: frozenset[tuple[Input, Level]] = frozenset()
    confirmed_s: float = -inf
    announce_s: float = 0.0
    must_announce: bool = True
    announced_until_s: float = -inf

    @property
    def hold(self) -> Hold | None:
        """The one of all holds that forbids most."""
        return self.holds[0] if self.holds else None


def changed(state: T, **changes: Any) -> T:
    """A frozen dataclass without slots with other values, several times as quick as `dataclasses.replace`: a season
    has a million of them.
    """
    assert changes.keys() <= state.__dict__.keys(), changes.keys()
    new = object.__new__(type(state))
    new.__dict__.update(state.__dict__, **changes)
    return new


def begin(
    plan: Plan,
    sensing: Sensing,
    limits: Limits,
    memory: Memory,
    at: Instant,
    care: Care = Care(),  # noqa: B008
    thirst: Thirst | None = None,
    must_be_proven: bool = False,
    announce_s: float = 0.0,
) -> State:
    """The state at a start of the daemon.

    must_be_proven: no unattended run before every protective input was seen in both states, once in a bed's life.
    With an unsure clock nothing is known of the time the power was off: no cycle counts as missed, and the bed
    counts as overdue.
    """
    looked_at_s = memory.looked_at_s
    is_known = at.is_sure and looked_at_s is not None and looked_at_s <= at.wall_s
    today = datetime.fromtimestamp(at.wall_s, ZoneInfo(plan.place.timezone)).date()
    must_prove = _must_prove(memory, limits) if must_be_proven else frozenset()
    last_catch_up_s = -inf if memory.last_catch_up_s is None else memory.last_catch_up_s
    return State(
        plan=plan,
        sensing=sensing,
        limits=limits,
        at=at,
        started_s=at.long_s,
        kept_since_s=-inf if is_known and at.wall_s - (looked_at_s or 0.0) <= SHORT_AWAY_S else at.long_s,
        looked_at_s=looked_at_s if is_known and looked_at_s is not None else at.wall_s,
        next_run_id=max(memory.next_run_id, memory.guard.last_run_id + 1, memory.guard.reserved_run_id + 1),
        done=memory.done,
        given=memory.given,
        skips_in_a_row=memory.skips_in_a_row,
        low_since_s=-inf if memory.low_since_s is None else memory.low_since_s,
        refilled_s=-inf if memory.refilled_s is None else memory.refilled_s,
        last_stop_s=-inf if memory.guard.last_stop_s is None else memory.guard.last_stop_s,
        last_full_s=-inf if memory.last_full_s is None or not at.is_sure else memory.last_full_s,
        is_owed=memory.is_owed or not at.is_sure,
        catch_up_at_s=last_catch_up_s + longest_gap_s(plan, today),
        pulse_s=memory.pulse_s,
        holds=memory.guard.holds,
        trips=_standing_trips(memory, limits),
        not_read=frozenset(name for name, trip in _tripped(memory, limits) if trip is Trip.NOT_READ),
        advisers=tuple(AdviserState(adviser) for adviser in sensing.advisers),
        alerts={one.alert.name: one for one in memory.open_alerts},
        found={one.alert.name: one.alert for one in memory.open_alerts if one.alert.kind in FOUND},
        doubts=_doubts(memory, sensing, at),
        wear=memory.wear,
        care=care,
        upkeep=memory.upkeep,
        sump=_sump(memory),
        thirst=thirst,
        must_prove=must_prove,
        unproven=must_prove - memory.guard.seen,
        announce_s=announce_s,
    )


def _doubts(memory: Memory, sensing: Sensing, at: Instant) -> tuple[Doubt, ...]:
    """Against the advisers of which people were told; the restart itself counts for nothing."""
    told = {one.alert.name: one.alert.about for one in memory.open_alerts}
    doubts: list[Doubt] = []
    for adviser in sensing.advisers:
        about = told.get(AlertKind.NOT_VALID.of(adviser.name))
        if isinstance(about, NotValid):
            doubts.append(Doubt(adviser.name, about.reason, about.times, at.long_s, is_now=True, is_told=True))
    return tuple(doubts)


def _sump(memory: Memory) -> SumpState | None:
    """With the leak that people were told of."""
    if memory.sump is None:
        return None
    told = {one.alert.kind: one for one in memory.open_alerts}
    sign = None
    if (leak := told.get(AlertKind.LEAK)) is not None:
        sign = LeakSign.AFTER_RUN if leak.severity is Severity.URGENT else LeakSign.SLOW
    elif (leak := told.get(AlertKind.LEAK_UNSEEN)) is not None:
        sign = LeakSign.UNSEEN
    return memory.sump if leak is None or sign is None else replace(memory.sump, leak=Leak(sign, leak.raised_s))


def _must_prove(memory: Memory, limits: Limits) -> frozenset[tuple[Input, Level]]:
    """A bed that has watered by itself before is past this, whatever its records have lost since."""
    if memory.guard.has_watered:
        return frozenset()
    fitted = ((Input.SUMP_LOW, limits.has_sump_float), (Input.TRAY_HIGH, limits.has_tray_float))
    return frozenset((name, level) for name, is_there in fitted if is_there for level in (Level.GOOD, Level.BAD))


def _standing_trips(memory: Memory, limits: Limits) -> frozenset[Trip]:
    return memory.guard.locks | {trip for _, trip in _tripped(memory, limits)}


def _tripped(memory: Memory, limits: Limits) -> frozenset[tuple[Input, Trip]]:
    """The trips of inputs that the guard begins with."""
    fitted = {Input.SUMP_LOW: limits.has_sump_float, Input.TRAY_HIGH: limits.has_tray_float}
    return frozenset((name, trip) for name, trip in memory.guard.tripped if fitted[name])
