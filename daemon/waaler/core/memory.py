"""What the core must still know after a restart: as the records restore it, the state made of that, and the facts
that tell it to new records.
"""

from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from math import inf
from zoneinfo import ZoneInfo

from waaler.bed.wear import Upkeep, Wear
from waaler.core.alert import FOUND, AlertKind, NotValid, OpenAlert, Severity
from waaler.core.facts import AlertRaised, Fact, SumpNoted, WearNoted
from waaler.core.state import (
    Account,
    Active,
    Advice,
    Alerts,
    Barriers,
    Calendar,
    Dips,
    Doubt,
    Given,
    Later,
    Proving,
    Runs,
    Setup,
    State,
    Water,
)  # fmt: skip
from waaler.core.sump_state import Leak, LeakSign, SumpState
from waaler.core.words import compose
from waaler.guard.limits import Limits
from waaler.guard.memory import DAY_S, Span
from waaler.guard.memory import Memory as GuardMemory
from waaler.guard.messages import Input, Instant, Level, Trip
from waaler.plan.advisers import AdviserState
from waaler.plan.sensing import Sensing
from waaler.plan.timetable import due, longest_gap_s
from waaler.plan.types import CycleKey, Plan

__all__ = ["Memory", "after_loss", "begin", "retold", "with_doubt"]


SHORT_AWAY_S = 900.0
"""In so short a time no cycle goes by unseen. Common practice, no source."""

IDS_FROM_S = 1_700_000_000.0
"""Of the wall clock. Run ids rise by far less than one a second, a thousand at each start included."""


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
    dips: Dips = field(default_factory=Dips)
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


def with_doubt(known: Memory, plan: Plan, at: Instant) -> Memory:
    """What is known where the guard's journal is lost and some of the records too: nothing is known to be missing.

    The plan ran as written, and every protective input had acted, beside all that the records still tell.
    """
    guard, assumed = known.guard, after_loss(plan, at).guard
    return replace(
        known,
        guard=replace(
            guard,
            spans=max(guard.spans, assumed.spans, key=lambda spans: sum(s.ended_s - s.started_s for s in spans)),
            tripped=guard.tripped | assumed.tripped,
            last_stop_s=None,
            reserved_run_id=max(guard.reserved_run_id, assumed.reserved_run_id),
        ),
    )


def begin(setup: Setup, memory: Memory, at: Instant, active: Active | None = None) -> State:
    """The state at a start of the daemon. active: the run that the guard makes meanwhile.

    With an unsure clock nothing is known of the time the power was off: no cycle counts as missed, and the bed
    counts as overdue.
    """
    guard, limits = memory.guard, setup.limits
    looked_at_s, is_short_away = _away(memory, at)
    must_prove = _must_prove(memory, limits) if setup.must_be_proven else frozenset()
    return State(
        setup=setup,
        at=at,
        started_s=at.long_s,
        kept_since_s=-inf if is_short_away else at.long_s,
        calendar=Calendar(looked_at_s, done=memory.done),
        runs=Runs(max(memory.next_run_id, guard.last_run_id + 1, guard.reserved_run_id + 1), active),
        account=Account(
            memory.given,
            memory.skips_in_a_row,
            is_owed=memory.is_owed or not at.is_sure,
            last_stop_s=_or_never(guard.last_stop_s),
            last_full_s=_or_never(memory.last_full_s) if at.is_sure else -inf,
        ),
        later=Later(catch_up_at_s=_or_never(memory.last_catch_up_s) + longest_gap_s(setup.plan, _day(setup, at))),
        dips=memory.dips,
        barriers=Barriers(
            guard.holds,
            guard.locks | {trip for _, trip in _tripped(memory, limits)},
            frozenset(name for name, trip in _tripped(memory, limits) if trip is Trip.NOT_READ),
            _or_never(memory.low_since_s),
        ),
        advice=Advice(
            tuple(AdviserState(adviser) for adviser in setup.sensing.advisers), _doubts(memory, setup.sensing, at)
        ),
        alerts=Alerts(
            {one.alert.name: one for one in memory.open_alerts},
            {one.alert.name: one.alert for one in memory.open_alerts if one.alert.kind in FOUND},
        ),
        water=Water(_sump(memory), refilled_s=_or_never(memory.refilled_s)),
        upkeep=memory.upkeep,
        wear=memory.wear,
        proving=Proving(must_prove, must_prove - guard.seen),
    )


def _or_never(long_s: float | None) -> float:
    return -inf if long_s is None else long_s


def _away(memory: Memory, at: Instant) -> tuple[float, bool]:
    """Up to when cycles were looked for, and whether nobody was there for a short while only."""
    looked_at_s = memory.looked_at_s
    if not at.is_sure or looked_at_s is None or looked_at_s > at.wall_s:
        return at.wall_s, False
    return looked_at_s, at.wall_s - looked_at_s <= SHORT_AWAY_S


def _day(setup: Setup, at: Instant) -> date:
    return datetime.fromtimestamp(at.wall_s, ZoneInfo(setup.plan.place.timezone)).date()


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


def _tripped(memory: Memory, limits: Limits) -> frozenset[tuple[Input, Trip]]:
    """The trips of inputs that the guard begins with."""
    fitted = {Input.SUMP_LOW: limits.has_sump_float, Input.TRAY_HIGH: limits.has_tray_float}
    return frozenset((name, trip) for name, trip in memory.guard.tripped if fitted[name])


def retold(state: State, at: Instant) -> list[Fact]:
    """The facts of the present, each with the instant since when it is true."""
    found: list[Fact] = [
        AlertRaised(
            _earlier(at, one.raised_s),
            name,
            one.severity,
            compose(state, one.alert, one.raised_s),
            one.alert.about,
            bool(one.says_refill),
        )
        for name, one in state.alerts.standing.items()
    ]
    sump = state.water.sump
    if sump is not None:
        ages_s = (sump.at_s - sump.weighed_s, sump.at_s - sump.renewed_s)
        found.append(
            SumpNoted(_earlier(at, sump.at_s), sump.entry, sump.weighed_l, *ages_s, sump.first_ec, sump.last_ec)
        )
    return [*found, WearNoted(at, state.wear)]


def _earlier(at: Instant, long_s: float) -> Instant:
    return Instant(long_s, at.wall_s - (at.long_s - long_s), at.is_sure)
