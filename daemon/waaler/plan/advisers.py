"""What an adviser says, and whether it may be believed.

An adviser that is stale, out of range, stuck or jumps is not valid, and the plan then runs as written.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from math import inf

from waaler.plan.sensing import WETNESS, Adviser, AdviserKind, Reading

__all__ = ["AdviserState", "Says", "day_c", "has_moved", "hear", "invalid_because", "mark_start", "says"]

STUCK_RUNS = 3
"""Runs without a change that make an adviser stuck. Source: our own rule of advice."""

LEAST_CHANGE = 0.5
"""A run that moves a reading by less than this (percent, degrees) did not move it. Common practice, no source."""

LEAST_HOURS = 20
"""Of a day that must have been measured before its extremes count. Common practice, no source."""

JUMP_HOLDS_S = 600.0
"""How long a jump makes an adviser not valid. Common practice, no source."""


class Says(StrEnum):
    WET = "wet"
    DRY = "dry"
    NEITHER = "neither wet nor dry"


@dataclass(frozen=True, slots=True)
class AdviserState:
    """value None: never read, or the last read failed. All times by the long hand.

    lowest, highest: since the last run began, if has_seen_run. unmoved_runs: runs in a row that moved nothing.
    jumped_s: when it last jumped. hours: of a thermometer, each hour of the last day (by the long hand) with its
    lowest and highest reading.
    """

    adviser: Adviser
    value: float | None = None
    read_s: float = -inf
    has_seen_run: bool = False
    lowest: float = inf
    highest: float = -inf
    unmoved_runs: int = 0
    jumped_s: float = -inf
    hours: tuple[tuple[int, float, float], ...] = ()


def hear(state: AdviserState, reading: Reading, now_s: float) -> AdviserState:
    """The state after a reading; one without a value only shows that the device cannot be read."""
    value = reading.value
    if value is None:
        return replace(state, value=None, read_s=now_s)
    jumped_s = now_s if _is_jump(state, value, now_s) else state.jumped_s
    return replace(
        state,
        value=value,
        read_s=now_s,
        lowest=min(value, state.lowest),
        highest=max(value, state.highest),
        jumped_s=jumped_s,
        hours=_hours(state, value, now_s) if state.adviser.kind is AdviserKind.TEMPERATURE else (),
    )


def day_c(state: AdviserState, now_s: float) -> tuple[float, float] | None:
    """Lowest and highest reading of the last day; None while there is less than most of one."""
    hours = [hour for hour in state.hours if hour[0] > now_s // 3600 - 24]
    if len(hours) < LEAST_HOURS:
        return None
    return min(low for _, low, _ in hours), max(high for _, _, high in hours)


def _hours(state: AdviserState, value: float, now_s: float) -> tuple[tuple[int, float, float], ...]:
    hour = int(now_s // 3600)
    if state.hours and state.hours[-1][0] == hour:
        _, low, high = state.hours[-1]
        return (*state.hours[:-1], (hour, min(low, value), max(high, value)))
    return (*(one for one in state.hours if one[0] > hour - 24), (hour, value, value))


def mark_start(state: AdviserState) -> AdviserState:
    """A run begins: counts whether the one before moved the reading."""
    if state.value is None:
        return state
    is_moved = not state.has_seen_run or has_moved(state)
    return replace(
        state,
        has_seen_run=True,
        lowest=state.value,
        highest=state.value,
        unmoved_runs=0 if is_moved else state.unmoved_runs + 1,
    )


def has_moved(state: AdviserState) -> bool:
    """Whether its reading moved since the last run began."""
    return state.has_seen_run and state.highest - state.lowest >= _least_change(state)


def invalid_because(state: AdviserState, now_s: float) -> str | None:
    """Why this adviser is not valid, in words; None if it is."""
    adviser = state.adviser
    if state.read_s == -inf:
        return "no reading yet"
    if state.value is None:
        return "cannot be read"
    if not now_s - state.read_s <= adviser.stale_after_s:
        return f"no reading for {(now_s - state.read_s) / 60:.0f} min"
    if not adviser.lowest <= state.value <= adviser.highest:
        return f"reads {state.value:.3g}, outside {adviser.lowest:g} to {adviser.highest:g}"
    if now_s - state.jumped_s < JUMP_HOLDS_S:
        return "its reading jumped"
    if state.unmoved_runs >= STUCK_RUNS and adviser.kind in WETNESS:
        return f"has not changed through {state.unmoved_runs} runs"
    return None


def says(state: AdviserState) -> Says:
    """What the last reading means for the media. A dry tray is the usual thing and says nothing."""
    value, adviser = state.value, state.adviser
    if value is None or adviser.kind not in WETNESS:
        return Says.NEITHER
    if adviser.kind is AdviserKind.TRAY_WET:
        return Says.WET if value > 0.5 else Says.NEITHER
    if value < adviser.dry_below:
        return Says.DRY
    return Says.WET if value > adviser.wet_above else Says.NEITHER


def _is_jump(state: AdviserState, value: float, now_s: float) -> bool:
    if state.value is None or state.adviser.kind is AdviserKind.TRAY_WET:
        return False
    minutes = max((now_s - state.read_s) / 60, 1.0)
    return abs(value - state.value) > state.adviser.most_change_per_min * minutes


def _least_change(state: AdviserState) -> float:
    return 0.5 if state.adviser.kind is AdviserKind.TRAY_WET else LEAST_CHANGE
