"""What an adviser says, and whether it may be believed.

An adviser that is stale, out of range, stuck or jumps is not valid, and the plan then runs as written.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from math import inf

from waaler.plan.sensing import Adviser, AdviserKind, Reading

__all__ = ["AdviserState", "Says", "has_moved", "hear", "invalid_because", "mark_start", "says"]

STUCK_RUNS = 3
"""Runs without a change that make an adviser stuck. Source: our own rule of advice."""

LEAST_CHANGE = 0.5
"""A run that moves a reading by less than this (percent, degrees) did not move it. Common practice, no source."""

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
    jumped_s: when it last jumped.
    """

    adviser: Adviser
    value: float | None = None
    read_s: float = -inf
    has_seen_run: bool = False
    lowest: float = inf
    highest: float = -inf
    unmoved_runs: int = 0
    jumped_s: float = -inf


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
    )


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
    if state.unmoved_runs >= STUCK_RUNS and adviser.kind is not AdviserKind.TEMPERATURE:
        return f"has not changed through {state.unmoved_runs} runs"
    return None


def says(state: AdviserState) -> Says:
    """What the last reading means for the media. A dry tray is the usual thing and says nothing."""
    value, adviser = state.value, state.adviser
    if value is None or adviser.kind is AdviserKind.TEMPERATURE:
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
