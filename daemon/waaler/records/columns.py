"""What the reader asks for of each table, and the rows that it makes of the answers.

A row that was damaged on the disk raises ValueError, TypeError or KeyError here: nobody above has to doubt one.
"""

import json
from datetime import date
from functools import lru_cache
from math import isfinite
from typing import Any

from waaler.bed.ledger import Entry
from waaler.core.facts import Amount, Cause, Outcome, Severity
from waaler.core.status import present_of
from waaler.guard.messages import Trip
from waaler.plan.types import CycleKey
from waaler.records.rows import (
    AlertRow,
    DeedRow,
    PresentRow,
    RunRow,
    SampleRow,
    SumpRow,
    TellingRow,
    Told,
    TripRow,
)  # fmt: skip

__all__ = [
    "ALERT", "DEED", "PRESENT", "RUN", "SUMP", "TELLING", "TRIP", "alert_row", "deed_row", "moment", "present_row",
    "run_row", "sample_row", "severity_of", "sump_row", "telling_row", "total_row", "trip_row",
]  # fmt: skip

RUN = (
    "run.id, run.when_s, run.cause, run.asked_s, run.planned_s, run.reason, run.day, run.window, run.n,"
    " run.planned_at_s, run.pulse, run.pulses, run.by, run.intent_wall_s, run.intent_is_sure, run.started_wall_s,"
    " run.granted_s, run.outcome, run.ended_wall_s, run.actual_s, run.result_reason"
)
ALERT = (
    "alert.id, alert.kind, alert.severity, alert.text, alert.times, alert.raised_wall_s, alert.resolved_wall_s,"
    " alert.reminders, alert.person, alert.acknowledged_by"
)
DEED = (
    "id, wall_s, what, text, by, until_wall_s, (SELECT json_group_array(json_array(name, value, unit))"
    " FROM amount WHERE amount.deed = deed.id)"
)
TELLING = "id, alert, kind, what, severity, text, wall_s"
TRIP = "id, trip, reason, is_locked, began_wall_s, over_wall_s, by"
PRESENT = "id, wall_s, told"
SUMP = "id, wall_s, litres, ec, tank_l, added_l, is_read"

CAUSES = {cause.value: cause for cause in Cause}
OUTCOMES: dict[str | None, Outcome | None] = {None: None, **{outcome.value: outcome for outcome in Outcome}}
EARLIEST_S, LATEST_S = -86_400.0, 7_258_118_400.0
"""Wall times, from a day before 1970 to 2200: what every calendar of ours can tell."""

MOST = 1e9
"""Of a count, a length in seconds, or an amount: more was never meant."""

Kinds = tuple[frozenset[type], ...]


def _kinds(letters: str) -> Kinds:
    """i a whole number, f a number, t text; capital: or nothing."""
    known = {"i": int, "f": float, "t": str}
    return tuple(
        frozenset({known[letter.lower()]} | ({type(None)} if letter.isupper() else set())) for letter in letters
    )


RUN_KINDS = _kinds("iftfftTTIFiiTfiFFTFFT")
ALERT_KINDS = _kinds("itttifFiiT")
TELLING_KINDS = _kinds("iittttf")
DEED_KINDS = _kinds("ifttTFt")
TRIP_KINDS = _kinds("ittifFT")
SUMP_KINDS = _kinds("ifffffi")
PRESENT_KINDS = _kinds("ift")
_runs_seen: set[tuple[type, ...]] = set()
"""Kinds of runs that were found right: there are few, and a long history asks thousands of times."""


def _check(row: tuple[Any, ...], kinds: Kinds) -> None:
    found = tuple(map(type, row))
    if len(found) != len(kinds) or not all(kind in allowed for kind, allowed in zip(found, kinds, strict=True)):
        raise TypeError(f"a row of other kinds: {found}")


def _moments(*walls_s: float | None) -> None:
    for wall_s in walls_s:
        if wall_s is not None and not EARLIEST_S <= wall_s <= LATEST_S:
            raise ValueError(f"{wall_s} is no time")


def _counts(*values: float | None) -> None:
    for value in values:
        if value is not None and not -MOST <= value <= MOST:
            raise ValueError(f"{value} is no count or length")


def number(value: object) -> float | None:
    """A finite number; None for nothing. Raises ValueError for anything else."""
    if value is None:
        return None
    if not isinstance(value, int | float) or not isfinite(value):
        raise ValueError(f"{value!r} is no number")
    return float(value)


def moment(value: object) -> float | None:
    """A wall time; None for nothing. Raises ValueError for anything else."""
    wall_s = number(value)
    _moments(wall_s)
    return wall_s


def total_row(row: tuple[Any, ...]) -> tuple[str, int, float]:
    """How runs ended, how many did, and the seconds of the pump."""
    outcome, count, seconds = row
    found = number(seconds)
    if outcome not in OUTCOMES or found is None:
        raise ValueError("a total of nothing that is known")
    return str(outcome), int(count), found


def run_row(row: tuple[Any, ...]) -> RunRow:
    if (kinds := tuple(map(type, row))) not in _runs_seen:
        _check(row, RUN_KINDS)
        _runs_seen.add(kinds)
    run_id, when_s, cause, asked_s, planned_s, reason, day, window, n, planned_at_s, pulse, pulses, by, *rest = row
    decided_at_s, is_sure, started_at_s, granted_s, outcome, ended_at_s, actual_s, result_reason = rest
    if not (  # written out: a long history asks this thousands of times
        EARLIEST_S <= when_s <= LATEST_S
        and EARLIEST_S <= decided_at_s <= LATEST_S
        and (planned_at_s is None or EARLIEST_S <= planned_at_s <= LATEST_S)
        and (started_at_s is None or EARLIEST_S <= started_at_s <= LATEST_S)
        and (ended_at_s is None or EARLIEST_S <= ended_at_s <= LATEST_S)
        and -MOST <= asked_s <= MOST
        and -MOST <= planned_s <= MOST
        and (granted_s is None or -MOST <= granted_s <= MOST)
        and (actual_s is None or -MOST <= actual_s <= MOST)
        and -MOST <= pulse <= MOST
        and -MOST <= pulses <= MOST
    ):
        raise ValueError("a run at no time, or of no length")
    return RunRow(
        run_id,
        when_s,
        CAUSES[cause],
        asked_s,
        planned_s,
        reason,
        None if day is None else _key(planned_at_s, window, day, n),
        pulse,
        pulses,
        by,
        decided_at_s,
        bool(is_sure),
        started_at_s,
        granted_s,
        OUTCOMES[outcome],
        ended_at_s,
        actual_s or 0.0,
        result_reason,
    )


def _key(planned_at_s: float | None, window: str | None, day: str, n: int | None) -> CycleKey:
    if planned_at_s is None or window is None or n is None:
        raise ValueError("a cycle without its instant, window or number")
    return CycleKey(planned_at_s, window, _day(day), n)


@lru_cache(maxsize=512)
def _day(text: str) -> date:
    return date.fromisoformat(text)


def alert_row(row: tuple[Any, ...]) -> AlertRow:
    _check(row, ALERT_KINDS)
    alert_id, kind, severity, text, times, raised_at_s, resolved_at_s, reminders, person, acknowledged_by = row
    _moments(raised_at_s, resolved_at_s)
    _counts(times, reminders, person)
    known = severity_of(severity)
    return AlertRow(
        alert_id, kind, known, text, times, raised_at_s, resolved_at_s, reminders, max(0, person), acknowledged_by
    )


def telling_row(row: tuple[Any, ...]) -> TellingRow:
    _check(row, TELLING_KINDS)
    _, alert_id, kind, what, severity, text, at_s = row
    _moments(at_s)
    return TellingRow(alert_id, kind, Told(what), severity_of(severity), text, at_s)


def severity_of(text: str) -> Severity:
    """One that cannot be read is urgent: somebody has to look."""
    return Severity(text) if text in list(Severity) else Severity.URGENT


def deed_row(row: tuple[Any, ...]) -> DeedRow:
    _check(row, DEED_KINDS)
    _, at_s, what, text, by, until_s, amounts = row
    _moments(at_s, until_s)
    return DeedRow(at_s, what, text, by, until_s, tuple(_amount(*amount) for amount in json.loads(amounts)))


def _amount(name: object, value: object, unit: object) -> Amount:
    found = number(value)
    _counts(found)
    if not isinstance(name, str) or not isinstance(unit, str) or found is None:
        raise ValueError("an amount without name, value or unit")
    return Amount(name, found, unit)


def sump_row(row: tuple[Any, ...]) -> SumpRow:
    _check(row, SUMP_KINDS)
    _, at_s, litres, ec, tank_l, added_l, is_read = row
    _moments(at_s)
    _counts(litres, ec, tank_l, added_l)
    return SumpRow(at_s, Entry(litres, ec, tank_l, added_l), bool(is_read))


def present_row(row: tuple[Any, ...]) -> PresentRow:
    _check(row, PRESENT_KINDS)
    _, at_s, told = row
    _moments(at_s)
    try:
        return PresentRow(at_s, present_of(json.loads(told)))
    except RecursionError:
        raise ValueError("nested too deeply") from None


def trip_row(row: tuple[Any, ...]) -> TripRow:
    _check(row, TRIP_KINDS)
    _, trip, reason, is_locked, began_at_s, over_at_s, by = row
    _moments(began_at_s, over_at_s)
    return TripRow(Trip(trip), reason, bool(is_locked), began_at_s, over_at_s, by)


def sample_row(row: tuple[Any, ...]) -> SampleRow:
    name, unit, at_s, minutes, *milli = row
    if not isinstance(name, str) or not isinstance(unit, str) or not isinstance(at_s, int):
        raise TypeError("a sample without sensor or time")
    _moments(at_s)
    mean, least, most = (number(value / 1000) for value in milli)
    _counts(minutes, mean, least, most)
    if mean is None or least is None or most is None:
        raise ValueError("a sample without a value")
    return SampleRow(name, unit, at_s, minutes, mean, least, most)
