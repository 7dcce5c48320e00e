"""What the reader asks for of each table, and the rows that it makes of the answers."""

import json
from datetime import date
from functools import lru_cache
from typing import Any

from waaler.core.facts import Amount, Cause, Outcome, Severity
from waaler.guard.messages import Trip
from waaler.plan.types import CycleKey
from waaler.records.rows import AlertRow, DeedRow, RunRow, SampleRow, TripRow

__all__ = ["ALERT", "DEED", "RUN", "TRIP", "alert_row", "deed_row", "run_row", "sample_row", "trip_row"]

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
    "SELECT wall_s, what, text, by, until_wall_s, (SELECT json_group_array(json_array(name, value, unit))"
    " FROM amount WHERE amount.deed = deed.id)"
)
TRIP = "SELECT trip, reason, is_locked, began_wall_s, over_wall_s, by FROM trip"

CAUSES = {cause.value: cause for cause in Cause}
OUTCOMES: dict[str | None, Outcome | None] = {None: None, **{outcome.value: outcome for outcome in Outcome}}


def run_row(row: tuple[Any, ...]) -> RunRow:
    run_id, when_s, cause, asked_s, planned_s, reason, day, window, n, planned_at_s, pulse, pulses, by, *rest = row
    decided_at_s, is_sure, started_at_s, granted_s, outcome, ended_at_s, actual_s, result_reason = rest
    return RunRow(
        run_id,
        when_s,
        CAUSES[cause],
        asked_s,
        planned_s,
        reason,
        None if day is None else CycleKey(planned_at_s, window, _day(day), n),
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


@lru_cache(maxsize=512)
def _day(text: str) -> date:
    return date.fromisoformat(text)


def alert_row(row: tuple[Any, ...]) -> AlertRow:
    alert_id, kind, severity, *rest = row
    return AlertRow(alert_id, kind, Severity(severity), *rest)


def deed_row(row: tuple[Any, ...]) -> DeedRow:
    at_s, what, text, by, until_s, amounts = row
    return DeedRow(at_s, what, text, by, until_s, tuple(Amount(*amount) for amount in json.loads(amounts)))


def trip_row(row: tuple[Any, ...]) -> TripRow:
    trip, reason, is_locked, *moments = row
    return TripRow(Trip(trip), reason, bool(is_locked), *moments)


def sample_row(row: tuple[Any, ...]) -> SampleRow:
    name, unit, at_s, minutes, *milli = row
    return SampleRow(name, unit, at_s, minutes, *(value / 1000 for value in milli))
