"""What a bed does now, as its daemon last wrote it down: nobody is asked."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from waaler.core.facts import Act
from waaler.core.status import Present, next_words, reason_words
from waaler.plan.timetable import upcoming
from waaler.plan.types import Cycle, Plan
from waaler.records.reader import Reader, Step
from waaler.records.rows import AlertRow, DeedRow, RunRow, SampleRow
from waaler.report.bed import Bed
from waaler.report.plan_words import why_then
from waaler.report.state import Told, read_state
from waaler.report.sump import Sump, read_sump
from waaler.report.words import length

__all__ = ["Now", "read_now"]

SECOND = timedelta(seconds=1)
READING_S = 3600.0
WEEK_S = 7 * 86_400.0
A_FEW = 12
"""Cycles that may begin within the same second."""


@dataclass(frozen=True, slots=True)
class Now:
    """next_at, next_why: of the next run, in words."""

    told: Told
    next_at: str
    next_why: str
    last_run: RunRow | None
    sump: Sump
    readings: list[SampleRow]
    measured: DeedRow | None
    is_ph_due: bool
    alerts: list[AlertRow]


def read_now(reader: Reader, bed: Bed, now_s: float) -> Now:
    told = read_state(reader, bed, now_s)
    next_at, next_why = _next(told.present, bed, bed.local(now_s))
    recent = reader.samples(now_s - READING_S, now_s + 60, Step.MINUTE)
    measured = reader.last_deed(Act.MEASURE)
    return Now(
        told=told,
        next_at=next_at,
        next_why=next_why,
        last_run=reader.last_full(),
        sump=read_sump(reader, bed, now_s - 86_400, now_s, recent),
        readings=list({row.name: row for row in recent}.values()),
        measured=measured,
        is_ph_due=measured is not None and now_s - measured.at_s > WEEK_S,
        alerts=reader.open_alerts(),
    )


def _next(present: Present | None, bed: Bed, now: datetime) -> tuple[str, str]:
    """When the next run can come, which that is and why then, and what it waits for."""
    if present is None:
        return "none", "nothing waters this bed"
    when, what = next_words(present, now)
    cycle = _cycle(present, bed.plan)
    if cycle is not None:
        what = f"{length(cycle.seconds)}; {why_then(bed.plan, cycle)}"
    return when, "; ".join(part for part in (what, reason_words(present, now)) if part)


def _cycle(present: Present, plan: Plan) -> Cycle | None:
    """The cycle of the plan that the next run is, None for any other run."""
    run = present.next
    if run is None or not run.window:
        return None
    just_before = run.start.astimezone(UTC) - SECOND
    return next((one for one in upcoming(plan, just_before, A_FEW) if one.key.window == run.window), None)
