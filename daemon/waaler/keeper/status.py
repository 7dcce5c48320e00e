"""The present state, built from frozen states: it asks nobody and waits for nobody."""

from collections.abc import Mapping
from dataclasses import fields, replace
from datetime import UTC, datetime
from math import inf
from zoneinfo import ZoneInfo

from waaler.core.deduced import expected
from waaler.core.facts import PresentNoted
from waaler.core.present import present
from waaler.core.state import State as CoreState
from waaler.core.status import (
    AlertNow,
    BedState,
    HeldBy,
    LastRun,
    Present,
    ReadingNow,
    Status,
    SumpNow,
    is_same,
    moment_words,
    steady,
    wait_words,
)
from waaler.guard.asking import held_by
from waaler.guard.messages import Instant, Level
from waaler.guard.state import PLAN_PURSES, energised_s
from waaler.guard.state import State as GuardState
from waaler.guard.words import words
from waaler.plan.advisers import AdviserState, invalid_because
from waaler.plan.sensing import UNITS

__all__ = ["UNITS", "Alerts", "local", "noted", "one_line", "status"]

Alerts = Mapping[str, AlertNow]

LATE_BEAT_S = 10.0
FUZZ_S = 1e-3
"""What adding and taking away the long hand may cost a wall time."""


def local(wall_s: float, zone: str) -> datetime:
    """A wall time by the bed's clock: the second that has begun, as the records tell it."""
    return datetime.fromtimestamp(int(wall_s + FUZZ_S), UTC).astimezone(ZoneInfo(zone))


def status(
    core: CoreState, guard: GuardState, alerts: Alerts, at: Instant, beat_s: float, before: Present | None = None
) -> Status:
    """What the bed does now, what comes next, and what stands in the way. before: as it was told last."""
    zone = core.setup.plan.place.timezone
    now = steady(before, present(core, guard, at))
    if at.long_s - beat_s > LATE_BEAT_S:
        now = replace(now, state=BedState.HANGS)
    return Status(
        **{field.name: getattr(now, field.name) for field in fields(Present)},
        at=local(at.wall_s, zone),
        clock="sure" if at.is_sure else "unsure",
        last_run=_last_run(guard, at, zone),
        last_full_at=None if core.account.last_full_s == -inf else _moment(core.account.last_full_s, at, zone),
        alerts=tuple(alert for _, alert in sorted(alerts.items())),
        announced_for_seconds=round(max(0.0, core.announcing.announced_until_s - at.long_s), 1),
        held_by=_held_by(guard, at),
        to_be_seen=tuple(sorted(f"{name.value} {level.value}" for name, level in core.proving.unproven)),
        flow_l_per_min=guard.flow_l_per_min,
        is_live=guard.is_read_back_on if guard.limits.has_read_back else None,
        inputs={name.value: Level.NOT_READ if w.level is None else w.level for name, w in guard.watches},
        trips=_trips(guard),
        sump=_sump(core, at, zone),
        readings=tuple(_reading(adviser, at, zone) for adviser in core.advice.advisers),
        pump_seconds_24h=round(energised_s(guard, PLAN_PURSES), 1),
        most_seconds_24h=guard.limits.most_per_day_s,
        warnings=() if guard.limits.has_sump_float else ("no sump float: the pump may run dry",),
    )


def noted(before: Present | None, core: CoreState, guard: GuardState, at: Instant) -> PresentNoted | None:
    """What the records should be told of the bed now, None where they were told it before."""
    now = present(core, guard, at)
    return None if is_same(before, now) else PresentNoted(at, now)


def one_line(now: Present, at: datetime) -> str:
    """The same in a few words, for the service manager. at: by the bed's clock."""
    following = "" if now.next is None else f"; next run {moment_words(now.next.start, at)}"
    waits = wait_words(now, at)
    return f"{now.state}{following}" + (f"; {waits}" if waits else "")


def _moment(long_s: float, at: Instant, zone: str) -> datetime:
    return local(at.wall_s + long_s - at.long_s, zone)


def _trips(guard: GuardState) -> tuple[str, ...]:
    found = {words(watch.trip, name) for name, watch in guard.watches if watch.trip}
    return tuple(sorted(found | {words(lock) for lock in guard.locks}))


def _last_run(guard: GuardState, at: Instant, zone: str) -> LastRun | None:
    if not guard.ran:
        return None
    last = guard.ran[-1]
    return LastRun(_moment(last.ended_s, at, zone), round(last.ended.seconds, 1), last.ended.reason)


def _held_by(guard: GuardState, at: Instant) -> HeldBy | None:
    """What would refuse a run by hand now, and for how many seconds more, if that is known."""
    block = held_by(guard)
    if block is None:
        return None
    left_s = None if block.free_at_s is None else round(max(0.0, block.free_at_s - at.long_s), 1)
    return HeldBy(block.reason, left_s)


def _sump(core: CoreState, at: Instant, zone: str) -> SumpNow | None:
    """The level at rest, the first planned run that would be cut, and when the level at rest is low."""
    found = expected(core, at)
    if found is None:
        return None
    days = found.days_left(datetime.fromtimestamp(at.wall_s, ZoneInfo(zone)))
    has_tank = core.setup.care.book is not None and core.setup.care.book.tank is not None
    return SumpNow(
        round(found.entry.litres, 1),
        round(found.entry.ec, 2),
        round(found.entry.tank_l, 1) if has_tank else None,
        found.needs_water_at,
        found.low_at,
        None if days is None else round(days, 2),
    )


def _reading(state: AdviserState, at: Instant, zone: str) -> ReadingNow:
    reason = invalid_because(state, at.long_s)
    return ReadingNow(
        state.adviser.name,
        None if state.value is None else round(state.value, 2),
        UNITS[state.adviser.kind],
        None if state.value is None else _moment(state.read_s, at, zone),
        reason is None,
        reason,
    )
