"""What becomes of a cycle that is due: run as planned, lengthened, or left out, and why, in words.

Advice is weaker than the plan: whatever sensors say, the first cycle of the day runs, no more than a few are
left out in a row, none past the longest gap, and half of the planned minutes of any 24 h run.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from waaler.plan.advisers import AdviserState, Says, invalid_because, says
from waaler.plan.sensing import WETNESS, AdviserKind, Sensing

__all__ = ["Choice", "Day", "choose", "is_still_dry", "valid"]


@dataclass(frozen=True, slots=True)
class Day:
    """What the choice must know of the bed's last 24 h; times by the long hand, seconds.

    planned_s, given_s: of the cycles that came due in the last 24 h, this one not included.
    since_full_run_s: age of the last run that gave its dose. until_next_s: to the plan's next cycle after this one.
    since_stop_s: age of the last stop. longest_gap_s: how long the bed may wait in all. longest_run_s: the guard's
    limit.
    """

    now_s: float
    is_first_of_day: bool
    skips_in_a_row: int
    planned_s: float
    given_s: float
    since_full_run_s: float
    since_stop_s: float
    longest_gap_s: float
    longest_run_s: float
    until_next_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Choice:
    """seconds: 0 leaves the cycle out."""

    seconds: float
    reason: str
    is_extended: bool = False


def choose(sensing: Sensing, advisers: tuple[AdviserState, ...], planned_s: float, day: Day) -> Choice:
    """The seconds that a cycle of planned_s seconds gets, with the reason."""
    heard = _heard(sensing, advisers, day)
    dry = [state for state in heard if says(state) is Says.DRY]
    if dry:
        return _extended(sensing, min(dry, key=_dryness), planned_s, day)
    if not heard or not all(says(state) is Says.WET for state in heard):
        return Choice(planned_s, "as planned")
    names = " and ".join(_reading(state) for state in heard)
    veto = next(_vetoes(sensing, advisers, planned_s, day), None)
    if veto is not None:
        return Choice(planned_s, f"as planned: {names}, but {veto}")
    return Choice(0.0, f"{names}: wet enough")


def is_still_dry(sensing: Sensing, advisers: tuple[AdviserState, ...], day: Day) -> AdviserState | None:
    """The driest adviser that says dry now; None if none does."""
    dry = [state for state in _heard(sensing, advisers, day) if says(state) is Says.DRY]
    return min(dry, key=_dryness, default=None)


def valid(advisers: tuple[AdviserState, ...], name: str, now_s: float) -> AdviserState | None:
    """The adviser of this name if it is valid now."""
    return next((s for s in advisers if s.adviser.name == name and invalid_because(s, now_s) is None), None)


def _heard(sensing: Sensing, advisers: tuple[AdviserState, ...], day: Day) -> list[AdviserState]:
    """The valid advisers on wetness whose reading was taken late enough after the last run to mean anything."""
    last_stop_s = day.now_s - day.since_stop_s
    return [
        state
        for state in advisers
        if state.adviser.kind in WETNESS
        and invalid_because(state, day.now_s) is None
        and state.read_s - last_stop_s >= sensing.drained_after_s
    ]


def _extended(sensing: Sensing, state: AdviserState, planned_s: float, day: Day) -> Choice:
    """Longer by the share that the reading lies below its dry mark; at most `extend_at_most`."""
    share = min(1 - _dryness(state), sensing.extend_at_most)
    seconds = min(planned_s * (1 + share), max(planned_s, day.longest_run_s))
    reason = f"{_reading(state)}, below its dry mark {state.adviser.dry_below:g} %"
    return Choice(seconds, f"{reason}: {seconds - planned_s:.0f} s longer", is_extended=True)


def _vetoes(sensing: Sensing, advisers: tuple[AdviserState, ...], planned_s: float, day: Day) -> Iterator[str]:
    """Why this cycle may not be left out, though every adviser says wet."""
    if day.is_first_of_day:
        yield "the day's first cycle always runs"
    if not day.skips_in_a_row < sensing.skip_at_most:
        yield f"{day.skips_in_a_row} left out in a row already"
    if not day.since_full_run_s <= day.longest_gap_s:
        yield "the last full run is too long ago"
    elif not day.since_full_run_s + day.until_next_s <= day.longest_gap_s:
        yield "the next cycle would come too late"
    if not day.given_s >= sensing.least_share * (day.planned_s + planned_s):
        yield f"less than {100 * sensing.least_share:.0f} % of the day's plan would run"
    for state in advisers:
        if state.adviser.kind is AdviserKind.MOISTURE and not state.adviser.is_calibrated:
            yield f"{state.adviser.name} was never calibrated"
        if _is_hot(sensing, state, day.now_s):
            yield f"{state.adviser.name} reads {state.value:.3g} C"


def _is_hot(sensing: Sensing, state: AdviserState, now_s: float) -> bool:
    if state.adviser.kind is not AdviserKind.TEMPERATURE or invalid_because(state, now_s) is not None:
        return False
    return state.value is not None and state.value > sensing.hot_above_c


def _dryness(state: AdviserState) -> float:
    """The reading as a share of its dry mark: 1 at the mark, less below it."""
    if state.value is None or not state.adviser.dry_below > 0:
        return 1.0
    return max(0.0, state.value) / state.adviser.dry_below


def _reading(state: AdviserState) -> str:
    if state.adviser.kind is AdviserKind.TRAY_WET:
        return f"{state.adviser.name} is wet"
    return f"{state.adviser.name} reads {round(state.value or 0.0)} %"
