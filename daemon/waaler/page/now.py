"""What a bed does now, as far as its records tell: nobody is asked."""

from dataclasses import dataclass
from datetime import UTC, datetime

from waaler.plan.timetable import upcoming
from waaler.records.reader import Reader, Step
from waaler.records.rows import AlertRow, DeedRow, RunRow, SampleRow, TripRow
from waaler.report.bed import Bed
from waaler.report.plan_words import why_then
from waaler.report.sump import Sump, read_sump
from waaler.report.words import clock, day_and_clock, length

__all__ = ["Now", "read_now"]

NO_LIFE_S = 1500.0
"""The daemon notes every ten minutes that it lives: two and a half of these."""

END_LATE_S = 10.0
"""How long the end of a run may take to reach the disk."""

READING_S = 3600.0
WEEK_S = 7 * 86_400.0
STANDINGS = ("pause", "service", "soak")
ENDINGS = ("resume", *(f"{what}-over" for what in STANDINGS))


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
    trips = reader.open_trips()
    state, detail, is_alarm = _state(reader, bed, trips, now_s)
    cycle = next(iter(upcoming(bed.plan, datetime.fromtimestamp(now_s, UTC))), None)
    recent = reader.samples(now_s - READING_S, now_s + 60, Step.MINUTE)
    measured = reader.last_deed("measure")
    return Now(
        state=state,
        detail=detail,
        is_alarm=is_alarm,
        next_at="none within a year" if cycle is None else _soon(cycle.start.timestamp(), bed, now_s),
        next_why="" if cycle is None else f"{length(cycle.seconds)}; {why_then(bed.plan, cycle)}",
        last_run=reader.last_full(),
        sump=read_sump(reader, bed, now_s - 86_400, now_s, recent),
        readings=list({row.name: row for row in recent}.values()),
        measured=measured,
        is_ph_due=measured is not None and now_s - measured.at_s > WEEK_S,
        alerts=reader.open_alerts(),
        trips=trips,
    )


def _state(reader: Reader, bed: Bed, trips: list[TripRow], now_s: float) -> tuple[str, str, bool]:
    zone = bed.zone
    quiet = _silence(reader, bed, now_s)
    if quiet is not None:
        return quiet
    run = reader.run_in_progress()
    if run is not None and run.started_at_s is not None:
        left_s = run.started_at_s + (run.granted_s or run.asked_s) - now_s
        if left_s > -END_LATE_S:
            return "watering", f"{length(max(0.0, left_s))} more; {run.cause.value}: {run.reason}", False
    if trips:
        trip = trips[-1]
        state = "locked" if trip.is_locked else "stopped for safety"
        return state, f"since {day_and_clock(trip.began_at_s, zone)}: {trip.reason}", True
    order = reader.last_deed(*STANDINGS, *ENDINGS)
    if order is not None and order.what in STANDINGS and order.until_s is not None and order.until_s > now_s:
        by = f" by {order.by}" if order.by else ""
        return order.what, f"until {day_and_clock(order.until_s, zone)}{by}; it ends by itself", False
    return "waiting", "for the next cycle", False


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


def _soon(wall_s: float, bed: Bed, now_s: float) -> str:
    today = datetime.fromtimestamp(now_s, UTC).astimezone(bed.zone).date()
    is_today = datetime.fromtimestamp(wall_s, UTC).astimezone(bed.zone).date() == today
    return f"today, {clock(wall_s, bed.zone)}" if is_today else day_and_clock(wall_s, bed.zone)
