"""Which alerts stand, read off the state: pure, and the one place that says so.

An alert that stands already counts too: a forecast is over only with a margin, and levels that are odd while a
person works at the bed neither raise nor end anything.
"""

from collections.abc import Iterator
from math import inf

from waaler.bed import wear
from waaler.core.alert import (
    MOMENTS,
    Alert,
    AlertKind,
    CycleMissed,
    LowAtRest,
    NotSeen,
    NotValid,
    PausedLong,
    Severity,
    SoonLow,
    TooLow,
    Weaker,
)  # fmt: skip
from waaler.core.deduced import is_person_at_bed, low_at_rest_s, plan_now, today
from waaler.core.state import State
from waaler.core.sump_state import LeakSign
from waaler.guard.messages import HoldKind, Input, Trip
from waaler.plan.sensing import AdviserKind
from waaler.plan.timetable import longest_gap_s

__all__ = ["standing"]

DAY_S = 86_400.0
MOMENT_S = DAY_S
DUE_S = 12 * 3600.0
"""How far ahead a refill is due. With PATIENCE, MANY_SKIPS_SHARE and LEAST_SKIPS: common practice, no source."""

PATIENCE = 1.25
"""A forecast that stands is over only so much beyond its limit: a gauge that trembles would raise it every hour."""

MANY_SKIPS_SHARE = 1 / 3
LEAST_SKIPS = 2

STOPS = {
    Trip.HIGH_TRAY: AlertKind.TRAY_HIGH,
    Trip.OVERRUN: AlertKind.OVERRUN,
    Trip.NO_FLOW: AlertKind.NO_FLOW,
    Trip.FLOW_WHILE_OFF: AlertKind.FLOW_WHILE_OFF,
}


def standing(state: State) -> Iterator[Alert]:
    """Every alert that stands at this instant, each once."""
    yield from _stops(state)
    yield from _not_read(state)
    yield from _water(state)
    yield from _cycles(state)
    yield from _wear(state)
    for doubt in state.advice.doubts:
        if doubt.is_told:
            about = NotValid(doubt.name, doubt.reason, doubt.times)
            yield Alert(AlertKind.NOT_VALID, Severity.SOON, about, doubt.name)
    if state.proving.unproven:
        left = tuple(f"{name.value} {level.value}" for name, level in sorted(state.proving.unproven))
        yield Alert(AlertKind.NOT_COMMISSIONED, Severity.URGENT, NotSeen(left))
    if not state.at.is_sure:
        yield Alert(AlertKind.CLOCK_UNSURE, Severity.NOTE)
    yield from _found(state)


def _stops(state: State) -> Iterator[Alert]:
    for trip, kind in STOPS.items():
        is_odd = trip is Trip.HIGH_TRAY and is_person_at_bed(state)
        if trip in state.barriers.trips and (kind in state.alerts.standing or not is_odd):
            yield Alert(kind, Severity.URGENT)


def _not_read(state: State) -> Iterator[Alert]:
    """Each protective input that cannot be read stops the pump for itself, and is told for itself."""
    for name in Input:
        if name in state.barriers.not_read:
            alert = Alert(AlertKind.NOT_READ, Severity.URGENT, subject=name.value)
            if alert.name in state.alerts.standing or not is_person_at_bed(state):
                yield alert


def _water(state: State) -> Iterator[Alert]:
    """One alert a cause: soon low, then a refill due, then low at rest, each ending the one before."""
    leak = None if state.water.sump is None else state.water.sump.leak
    if leak is not None:
        if leak.sign is LeakSign.UNSEEN:
            yield Alert(AlertKind.LEAK_UNSEEN, Severity.SOON)
        else:
            yield Alert(AlertKind.LEAK, Severity.URGENT if leak.sign is LeakSign.AFTER_RUN else Severity.SOON)
    if _is_used_up(state):
        yield Alert(AlertKind.SOLUTION_DUE, Severity.NOTE)
    if Trip.LOW_SUMP not in state.barriers.trips:
        yield from _foreseen(state)
    elif AlertKind.SUMP_LOW in state.alerts.standing or state.at.long_s >= low_at_rest_s(state):
        is_soak = any(hold.kind is HoldKind.SOAK for hold in state.barriers.holds)
        yield Alert(AlertKind.SUMP_LOW, Severity.URGENT, LowAtRest(is_soak))
        return
    else:  # a dip, or low at rest in a while: until that is known nothing is new
        for kind in (AlertKind.SUMP_SOON_LOW, AlertKind.REFILL_DUE):
            if (known := state.alerts.standing.get(kind)) is not None:
                yield known.alert
    if state.dips.vain > 0:
        yield Alert(AlertKind.TOO_LOW, Severity.URGENT, TooLow(state.dips.vain))


def _foreseen(state: State) -> Iterator[Alert]:
    """What counts is the first run that would be cut."""
    foreseen, known = state.water.forecast, state.alerts.standing
    ahead_s = foreseen.low_s - state.at.long_s
    if ahead_s <= DUE_S * (PATIENCE if AlertKind.REFILL_DUE in known else 1):
        yield Alert(AlertKind.REFILL_DUE, Severity.URGENT)
    elif ahead_s <= foreseen.notice_s * (PATIENCE if AlertKind.SUMP_SOON_LOW in known else 1):
        yield Alert(AlertKind.SUMP_SOON_LOW, Severity.SOON, SoonLow(foreseen.low_s))


def _is_used_up(state: State) -> bool:
    """The solution is old, or as much was topped up as the sump holds."""
    if state.water.sump is None or state.setup.care.book is None:
        return False
    age_s = state.at.long_s - state.water.sump.renewed_s
    is_old = age_s >= state.setup.care.renew_after_days * DAY_S
    return age_s < inf and (is_old or state.water.forecast.is_used_up)


def _cycles(state: State) -> Iterator[Alert]:
    """Plants that wait, and what keeps cycles away from them."""
    now_s, last_full_s, known = state.at.long_s, state.account.last_full_s, state.alerts.standing
    if state.account.is_owed:
        waited_s = now_s - max(last_full_s, state.kept_since_s)
        if AlertKind.CYCLE_MISSED in known or waited_s > longest_gap_s(plan_now(state), today(state)):
            since_s = last_full_s if last_full_s > -inf else state.started_s
            yield Alert(AlertKind.CYCLE_MISSED, Severity.URGENT, CycleMissed(since_s))
    for hold in state.barriers.holds:
        if hold.kind is HoldKind.PAUSE:
            is_long = hold.until_s - now_s > longest_gap_s(plan_now(state), today(state))
            if is_long or AlertKind.PAUSED_LONG in known:
                yield Alert(AlertKind.PAUSED_LONG, Severity.SOON, PausedLong(hold.until_s, hold.by))
    recent = [given for given in state.account.given if given.at_s > now_s - DAY_S]
    skips = sum(given.is_skip for given in recent)
    if skips >= LEAST_SKIPS and skips >= MANY_SKIPS_SHARE * len(recent):
        yield Alert(AlertKind.MANY_SKIPS, Severity.SOON)


def _wear(state: State) -> Iterator[Alert]:
    """What told of the drain is over with the sensor that showed it."""
    normal = state.setup.limits.normal_flow_l_per_min
    if normal is not None and wear.is_weaker(state.wear, normal):
        yield Alert(AlertKind.PUMP_WEAKER, Severity.SOON, Weaker(state.wear.means[-1], normal))
    has_sensor = any(one.adviser.kind is AdviserKind.TRAY_WET for one in state.advice.advisers)
    if has_sensor and wear.is_drain_slowing(state.wear):
        yield Alert(AlertKind.DRAIN_SLOWING, Severity.SOON)
    upkeep, care = state.upkeep, state.setup.care
    if upkeep.pumped_s >= care.clean_after_s or upkeep.starts >= care.clean_after_starts:
        yield Alert(AlertKind.CLEANING_DUE, Severity.NOTE)


def _found(state: State) -> Iterator[Alert]:
    for name, alert in state.alerts.found.items():
        known = state.alerts.standing.get(name)
        if alert.kind in MOMENTS and known is not None and state.at.long_s - known.raised_s >= MOMENT_S:
            continue
        yield alert
