"""What a bed does now, as its daemon last wrote it down: nobody is asked."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from waaler.core.status import CALM, BedState, Present, moment_words, next_words, reason_words, state_words
from waaler.plan.timetable import upcoming
from waaler.plan.types import Cycle, Plan
from waaler.records.reader import Reader, Step
from waaler.records.rows import AlertRow, DeedRow, PresentRow, RunRow, SampleRow, TripRow
from waaler.report.bed import Bed
from waaler.report.plan_words import why_then
from waaler.report.sump import Sump, read_sump
from waaler.report.words import day_and_clock, length

__all__ = ["Now", "read_now"]

NO_LIFE_S = 1500.0
"""The daemon notes every ten minutes that it lives: two and a half of these."""

SECOND = timedelta(seconds=1)
END_LATE = timedelta(seconds=10)
"""How long the end of a run may take to reach the disk."""

READING_S = 3600.0
WEEK_S = 7 * 86_400.0
A_FEW = 12
"""Cycles that may begin within the same second."""


@dataclass(frozen=True, slots=True)
class Now:
    """state: in a few words; detail: why, or how long. is_alarm: a person should look at the bed."""

    state: str
    detail: str
    is_alarm: bool
    next_at: str
    next_why: str
    last_run: RunRow | None
    sump: Sump
    readings: list[SampleRow]
    measured: DeedRow | None
    is_ph_due: bool
    alerts: list[AlertRow]
    trips: list[TripRow]


def read_now(reader: Reader, bed: Bed, now_s: float) -> Now:
    trips = [trip for trip in reader.open_trips() if trip.stops_the_plan]
    now, told = bed.local(now_s), reader.present()
    silence = _silence(reader, bed, now_s)
    state, detail, is_alarm = silence or _state(told, trips, now)
    next_at, next_why = ("none", "nothing waters this bed") if silence else _next(told, bed, now)
    recent = reader.samples(now_s - READING_S, now_s + 60, Step.MINUTE)
    measured = reader.last_deed("measure")
    return Now(
        state=state,
        detail=detail,
        is_alarm=is_alarm,
        next_at=next_at,
        next_why=next_why,
        last_run=reader.last_full(),
        sump=read_sump(reader, bed, now_s - 86_400, now_s, recent),
        readings=list({row.name: row for row in recent}.values()),
        measured=measured,
        is_ph_due=measured is not None and now_s - measured.at_s > WEEK_S,
        alerts=reader.open_alerts(),
        trips=trips,
    )


def _state(told: PresentRow | None, trips: list[TripRow], now: datetime) -> tuple[str, str, bool]:
    if told is None:
        return "not known", "the daemon has told nothing yet", True
    present, words = told.present, state_words(told.present, now)
    if present.run is not None and now - present.run.until > END_LATE:
        return str(present.state), f"{words}; nothing later is in the records", True
    if trips and present.state in (BedState.LOCKED, BedState.STOPPED):
        words = f"since {moment_words(_local(trips[-1].began_at_s, now), now)}: {words}"
    return str(present.state), words, present.state not in CALM


def _next(told: PresentRow | None, bed: Bed, now: datetime) -> tuple[str, str]:
    """When the next run can come, which that is and why then, and what it waits for."""
    if told is None:
        return "not known", ""
    when, what = next_words(told.present, now)
    cycle = _cycle(told.present, bed.plan)
    if cycle is not None:
        what = f"{length(cycle.seconds)}; {why_then(bed.plan, cycle)}"
    return when, "; ".join(part for part in (what, reason_words(told.present, now)) if part)


def _cycle(present: Present, plan: Plan) -> Cycle | None:
    """The cycle of the plan that the next run is, None for any other run."""
    run = present.next
    if run is None or not run.window:
        return None
    just_before = run.start.astimezone(UTC) - SECOND
    return next((one for one in upcoming(plan, just_before, A_FEW) if one.key.window == run.window), None)


def _local(wall_s: float, now: datetime) -> datetime:
    return datetime.fromtimestamp(wall_s, now.tzinfo)


def _silence(reader: Reader, bed: Bed, now_s: float) -> tuple[str, str, bool] | None:
    """A daemon that was stopped, or that no longer writes."""
    last = reader.last_deed("start", "stop")
    if last is None or last.what == "stop":
        told = "it has not been started yet" if last is None else f"since {day_and_clock(last.at_s, bed.zone)}"
        return "the daemon is not running", f"{told}; nothing waters this bed", True
    alive_s = max(reader.alive_s() or last.at_s, last.at_s)
    if now_s - alive_s > NO_LIFE_S:
        return (
            "no sign of the daemon",
            f"since {day_and_clock(alive_s, bed.zone)}: look at the Pi and its log",
            True,
        )
    return None
