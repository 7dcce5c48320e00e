"""What the bed does now, when its next run can come, and what keeps one from coming before: for every face.

Pure: from the states of both machines. What nobody can know, such as what a sensor will say, is left out: a run is
told at the first moment at which it can come.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from math import inf
from zoneinfo import ZoneInfo

from waaler.core.barriers import REFUSAL
from waaler.core.cycles import ready_s
from waaler.core.demand import is_believed
from waaler.core.doses import FRESH_S, TOO_LOW, is_full
from waaler.core.facts import Cause
from waaler.core.state import Stage, State
from waaler.core.status import REMEDIES, BedState, NextRun, Present, RunNow, Standing, Wait
from waaler.guard.asking import Block, blocks
from waaler.guard.messages import Ask, Hold, HoldKind, Instant, Purse
from waaler.guard.names import Hindrance
from waaler.guard.state import State as GuardState
from waaler.plan.timetable import as_begun, daytime_gap_s, due, hot_day_cycles, longest_gap_s, upcoming
from waaler.plan.types import Cycle, Plan

__all__ = ["bed_state", "present"]

LOOKED_AHEAD = 60
"""Planned cycles, where most are fallbacks that may not count."""

PASSING = frozenset({Hindrance.INPUT, Hindrance.REST, Hindrance.RUN, Hindrance.ALLOWANCE})
"""They end by themselves, and are told only where a run comes later for them."""


@dataclass(frozen=True, slots=True)
class _Bed:
    """Both machines at an instant."""

    state: State
    guard: GuardState
    at: Instant

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.state.setup.plan.place.timezone)

    @property
    def plan(self) -> Plan:
        plan = self.state.setup.plan
        return plan if self.at.is_sure else as_begun(plan, self.day(self.at.long_s))

    @property
    def is_being_watered(self) -> bool:
        """Whether the run in progress will be a full one."""
        active = self.state.runs.active
        if active is None or active.stage is not Stage.RUNNING:
            return False
        return is_full(active.wanted, active.until_s - active.since_s)

    @property
    def last_full_s(self) -> float:
        """When the last full run ended, or will have ended."""
        active = self.state.runs.active
        return active.until_s if active is not None and self.is_being_watered else self.state.account.last_full_s

    @property
    def is_owed(self) -> bool:
        return not self.at.is_sure or (self.state.account.is_owed and not self.is_being_watered)

    def day(self, long_s: float) -> date:
        return self.local(long_s).date()

    def local(self, long_s: float) -> datetime:
        """The bed's wall time of an instant of the long hand, to the second."""
        return datetime.fromtimestamp(round(self.at.wall_s + long_s - self.at.long_s), self.zone)

    def long_s(self, moment: datetime) -> float:
        return self.at.long_s + moment.timestamp() - self.at.wall_s

    def gap_s(self, long_s: float) -> float:
        """The longest time without a full run once one is owed, as it counts at an instant."""
        gap_s = longest_gap_s if self.at.is_sure else daytime_gap_s
        return gap_s(self.plan, self.day(long_s))


@dataclass(frozen=True, slots=True)
class _Coming:
    """A run that can come at at_s."""

    at_s: float
    seconds: float
    cause: Cause
    window: str = ""


def present(state: State, guard: GuardState, at: Instant) -> Present:
    """What both machines' states make of this instant; its moments by the bed's clock."""
    bed = _Bed(state, guard, at)
    coming, wait = _next(bed)
    return Present(
        bed_state(state, guard),
        _run(bed),
        None if not guard.holds else _standing(bed, guard.holds[0]),
        None if coming is None else _next_run(bed, coming),
        None if wait is None else _wait(bed, wait),
    )


def bed_state(state: State, guard: GuardState) -> BedState:
    """The one word for it."""
    if guard.run is not None:
        return BedState.RUNNING
    if guard.locks:
        return BedState.LOCKED
    if any(watch.trip for _, watch in guard.watches):
        return BedState.STOPPED
    if guard.holds:
        return BedState(guard.holds[0].kind.value)
    return BedState.NOT_COMMISSIONED if state.proving.unproven else BedState.WAITING


def _run(bed: _Bed) -> RunNow | None:
    run, active = bed.guard.run, bed.state.runs.active
    if run is None:
        return None
    wanted = active.wanted if active is not None and active.run_id == run.run_id else None
    return RunNow(
        run.run_id,
        bed.local(run.until_s),
        round(max(0.0, run.until_s - bed.at.long_s), 1),
        None if wanted is None else wanted.cause.value,
        None if wanted is None else wanted.reason,
    )


def _standing(bed: _Bed, hold: Hold) -> Standing:
    return Standing(hold.kind, bed.local(hold.until_s), hold.by)


def _next_run(bed: _Bed, coming: _Coming) -> NextRun:
    is_on_demand = any(
        window.on_demand is not None
        and is_believed(window.on_demand.trigger, bed.state.advice.advisers, bed.at.long_s)
        for window in bed.plan.windows
    )
    start = bed.local(coming.at_s)
    return NextRun(start, coming.seconds, coming.window, coming.cause.value, is_on_demand)


def _wait(bed: _Bed, block: Block) -> Wait:
    until = None if block.free_at_s is None else bed.local(block.free_at_s)
    return Wait(block.what, block.reason, until, REMEDIES.get(block.what, ""))


# --- what comes, and what keeps it away -----------------------------------------------------------


def _next(bed: _Bed) -> tuple[_Coming | None, Block | None]:
    """The first run that can come, and what holds it."""
    if (soak := _soak_hold(bed.guard)) is not None:
        found = _kept_by(bed, _waits(bed, Purse.SOAK, bed.state.setup.limits.longest_run_s), soak)
        if found is not None:
            return found
    following = next(iter(upcoming(bed.plan, datetime.fromtimestamp(bed.at.wall_s, UTC))), None)
    waits = _waits(bed, Purse.PLAN, 1.0 if following is None else following.seconds)
    first = _first(bed, waits)
    return first, _told(waits, first, _first(bed, ()))


def _soak_hold(guard: GuardState) -> Hold | None:
    return next((hold for hold in guard.holds if hold.kind is HoldKind.SOAK), None)


def _kept_by(bed: _Bed, waits: tuple[Block, ...], soak: Hold) -> tuple[_Coming | None, Block | None] | None:
    """The soak's next run and what holds it; None where its time is over before, or its pump time is used up."""
    if any(block.what is Hindrance.ALLOWANCE and block.free_at_s is None for block in waits):
        return None
    at_s = max(bed.at.long_s, bed.state.later.soak_at_s)
    free_s = _free_s(waits)
    if not max(at_s, free_s) < soak.until_s and free_s < inf:
        return None
    run = _Coming(max(at_s, free_s), bed.state.setup.limits.longest_run_s, Cause.SOAK)
    first = None if free_s == inf else run
    return first, _told(waits, first, _Coming(at_s, run.seconds, Cause.SOAK))


def _waits(bed: _Bed, purse: Purse, seconds: float) -> tuple[Block, ...]:
    """What keeps such a run away now. An input in doubt for a moment is none: it trips, or is good again."""
    guard = bed.guard
    asked = tuple(blocks(guard, Ask(guard.last_run_id + 1, seconds, purse, guard.now_s)))
    waits = [
        block
        for block in asked
        if (block.what is not Hindrance.INPUT or block.free_at_s is not None)
        and (block.free_at_s is None or block.free_at_s > bed.at.long_s)
    ]
    if bed.state.proving.unproven:
        waits.append(Block(Hindrance.COMMISSIONING, REFUSAL))
    if bed.state.dips.try_at_s > bed.at.long_s:
        waits.append(Block(Hindrance.TOO_LOW, TOO_LOW, bed.state.dips.try_at_s))
    return tuple(waits)


def _told(waits: tuple[Block, ...], first: _Coming | None, unhindered: _Coming | None) -> Block | None:
    """Of all that keeps a run away the one whose end is not known, else the last to end; None if none matters.

    That a run is in progress, the state says.
    """
    is_later = unhindered is not None and (first is None or unhindered.at_s < first.at_s - 1.0)
    found = [b for b in waits if b.what is not Hindrance.RUN and (is_later or b.what not in PASSING)]
    return max(found, key=lambda block: inf if block.free_at_s is None else block.free_at_s, default=None)


def _free_s(waits: tuple[Block, ...]) -> float:
    """When the last of them ends: inf if one's end is not known, -inf without any."""
    return max((inf if block.free_at_s is None else block.free_at_s for block in waits), default=-inf)


def _first(bed: _Bed, waits: tuple[Block, ...]) -> _Coming | None:
    if _free_s(waits) == inf:
        return None
    found = [*_on_its_way(bed, waits), *_planned(bed, waits), *_catch_up(bed, waits), *_extra(bed, waits)]
    return min(found, key=lambda coming: coming.at_s, default=None)


def _on_its_way(bed: _Bed, waits: tuple[Block, ...]) -> Iterator[_Coming]:
    """What was decided on: an intent, doses that wait for their turn, and what is to follow a run in progress."""
    state, now_s = bed.state, bed.at.long_s
    free_s = max(now_s, _free_s(waits))
    active = state.runs.active
    if active is not None and active.stage is not Stage.RUNNING and not _is_held(waits):
        yield _Coming(free_s, active.wanted.seconds, active.wanted.cause, _window(active.wanted.key))
    if active is not None and active.stage is Stage.RUNNING and active.wanted.rest_s > 0:
        at_s = max(free_s, active.until_s + state.setup.limits.run_back_s)
        yield _Coming(at_s, active.wanted.rest_s, active.wanted.cause, _window(active.wanted.key))
    for wanted in state.runs.queue:
        at_s = max(free_s, wanted.not_before_s, state.announcing.announced_until_s)
        if at_s < wanted.expires_s:
            yield _Coming(at_s, wanted.seconds, wanted.cause, _window(wanted.key))


def _window(key: object) -> str:
    return getattr(key, "window", "")


def _is_held(waits: tuple[Block, ...]) -> bool:
    return any(block.what is Hindrance.HOLD for block in waits)


def _held_until_s(waits: tuple[Block, ...]) -> float:
    """When the last hold ends, and the wait for a fuller sump: cycles before that are missed."""
    return _free_s(tuple(block for block in waits if block.what in (Hindrance.HOLD, Hindrance.TOO_LOW)))


def _planned(bed: _Bed, waits: tuple[Block, ...]) -> Iterator[_Coming]:
    """The first cycle that is not missed: one that is kept away for another reason than a hold may begin late."""
    held_s, free_s = _held_until_s(waits), _free_s(waits)
    after_s = max(bed.at.long_s, held_s, free_s - FRESH_S)
    for cycle in _cycles_after(bed, after_s):
        at_s = bed.long_s(cycle.start)
        if _counts(bed, cycle, at_s):
            yield _Coming(max(at_s, free_s), cycle.seconds, Cause.PLAN, cycle.key.window)
            return


def _cycles_after(bed: _Bed, long_s: float) -> list[Cycle]:
    after = datetime.fromtimestamp(bed.at.wall_s + long_s - bed.at.long_s, UTC)
    has_fallbacks = any(window.on_demand is not None for window in bed.plan.windows)
    cycles = [*upcoming(bed.plan, after, LOOKED_AHEAD if has_fallbacks else 1)]
    if bed.state.calendar.hot_day is not None:
        cycles += [cycle for cycle in hot_day_cycles(bed.plan, bed.state.calendar.hot_day) if cycle.start > after]
    return sorted(cycles, key=lambda cycle: cycle.start)


def _counts(bed: _Bed, cycle: Cycle, at_s: float) -> bool:
    """As `core.cycles` will judge at its time, if its input says no more than now."""
    window = next((one for one in bed.plan.windows if one.name == cycle.key.window), None)
    if not cycle.is_fallback or window is None or window.on_demand is None:
        return True
    if not is_believed(window.on_demand.trigger, bed.state.advice.advisers, bed.at.long_s):
        return True
    return at_s - bed.last_full_s >= longest_gap_s(bed.plan, bed.day(at_s))


def _catch_up(bed: _Bed, waits: tuple[Block, ...]) -> Iterator[_Coming]:
    """One run for a bed that waits too long for one that it should have had, or will have missed by then."""
    state, at = bed.state, bed.at
    if not (bed.is_owed or _will_miss(bed, waits)):
        return
    least_s = max(at.long_s, state.later.catch_up_at_s, ready_s(state), _free_s(waits))
    at_s = max(least_s, bed.last_full_s + bed.gap_s(least_s))
    at_s = max(least_s, bed.last_full_s + bed.gap_s(at_s))
    following = next(iter(_cycles_after(bed, at_s)), None)
    if following is not None:
        yield _Coming(at_s, following.seconds, Cause.CATCH_UP)


def _will_miss(bed: _Bed, waits: tuple[Block, ...]) -> bool:
    """Whether a cycle comes due before what keeps runs away is over; in a soak alone it is part of that."""
    held_s = max((hold.until_s for hold in bed.guard.holds if hold.kind is not HoldKind.SOAK), default=-inf)
    until_s = max(held_s, _free_s(waits) - FRESH_S) if _soak_hold(bed.guard) is None else held_s
    if not until_s > bed.at.long_s:
        return False
    now, until = (datetime.fromtimestamp(bed.at.wall_s + s - bed.at.long_s, UTC) for s in (bed.at.long_s, until_s))
    return any(_counts(bed, cycle, bed.long_s(cycle.start)) for cycle in due(bed.plan, now, until))


def _extra(bed: _Bed, waits: tuple[Block, ...]) -> Iterator[_Coming]:
    """A pot that was dry is looked at again."""
    if bed.state.later.extra_at_s < inf:
        at_s = max(bed.at.long_s, bed.state.later.extra_at_s, _free_s(waits))
        yield _Coming(at_s, bed.state.later.extra_seconds, Cause.EXTRA)
