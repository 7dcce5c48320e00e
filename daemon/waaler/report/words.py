"""What happened, in sentences and lines for people."""

from collections.abc import Iterator
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from waaler.core.facts import Act, Outcome
from waaler.guard.names import HoldKind
from waaler.records.rows import RunRow, Told
from waaler.records.times import local
from waaler.report.history import PLAIN_REASONS, alike
from waaler.report.period import Period, is_lengthened

__all__ = ["Event", "clock", "day_and_clock", "events", "length", "outcome_words", "verdict", "why"]

FAILED = (Outcome.MISSED, Outcome.REFUSED, Outcome.CUT_SHORT, Outcome.INTERRUPTED)
DEEDS_TOLD = frozenset(
    {*HoldKind, Act.RESUME, Act.CLEAR, Act.REFILL, Act.MEASURE, Act.NOTE, Act.PULSES, Act.TOO_LOW, Act.HIGH_ENOUGH}
)


@dataclass(frozen=True, slots=True)
class Event:
    """A line of what was out of the ordinary. run_id: of a run, None otherwise."""

    at_s: float
    what: str
    why: str
    run_id: int | None = None


def clock(wall_s: float, zone: ZoneInfo) -> str:
    return f"{local(wall_s, zone):%H:%M}"


def day_and_clock(wall_s: float, zone: ZoneInfo) -> str:
    return f"{local(wall_s, zone):%a %-d %b, %H:%M}"


def length(seconds: float) -> str:
    """`45 s`, `2 min 30 s`, `3 h 5 min`, `2 days`."""
    seconds = round(seconds)
    if seconds < 60:
        return f"{seconds} s"
    if seconds < 3600:
        minutes, rest = divmod(seconds, 60)
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    if seconds < 172_800:
        hours, rest = divmod(round(seconds / 60), 60)
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    return f"{round(seconds / 86_400)} days"


def outcome_words(run: RunRow) -> str:
    if run.outcome is None:
        return "running" if run.started_at_s is not None else "no end yet"
    return "lengthened" if run.outcome is Outcome.DONE and is_lengthened(run) else run.outcome.value


def why(run: RunRow) -> str:
    """Both reasons, without what goes without saying."""
    reasons = [reason for reason in (run.reason, run.result_reason) if reason and reason not in PLAIN_REASONS]
    return "; ".join(dict.fromkeys(reasons)) or "as planned"


def verdict(period: Period) -> str:
    """The period in a sentence or two."""
    counts = period.cycles
    counts.pop(Outcome.TAKEN_AWAY, None)
    total = sum(counts.values())
    standing = [trip for trip in period.trips if trip.over_at_s is None and trip.stops_the_plan]
    if standing:
        return f"Stopped for safety since {day_and_clock(standing[-1].began_at_s, period.span.zone)}:" \
               f" {standing[-1].reason}. Nothing runs until that is over."  # fmt: skip
    if total == 0:
        return "No cycle was due in this period."
    failed = {outcome: counts[outcome] for outcome in FAILED if counts.get(outcome)}
    skipped = counts.get(Outcome.SKIPPED, 0)
    if failed:
        told = ", ".join(f"{count} {outcome.value}" for outcome, count in failed.items())
        return (
            f"{sum(failed.values())} of {_cycles(total)} did not run their time: {told}. The reasons stand below."
        )
    if skipped:
        return f"All went as it should: {total - skipped} of {_cycles(total)} ran, {skipped} skipped on advice."
    return f"All went as it should: {_cycles(total)}, every one ran." if total > 1 else "The one cycle ran."


def _cycles(count: int) -> str:
    return "1 cycle" if count == 1 else f"{count} cycles"


def events(period: Period) -> list[Event]:
    """Every skip, extension, cut, refusal, trip, alert and deed, the latest first."""
    found = [*_runs(period), *_trips(period), *_alerts(period), *_deeds(period)]
    return sorted(found, key=lambda event: event.at_s, reverse=True)


def _runs(period: Period) -> Iterator[Event]:
    """Each run that was not plain; those that ended alike are told as one."""
    for runs in alike(period.history.runs, period.span.zone):
        run = runs[-1]
        is_plain = run.outcome is Outcome.DONE and run.key is not None and not is_lengthened(run)
        if not is_plain and run.outcome is not None:
            yield _told(runs, period.span.zone)


def _told(runs: list[RunRow], zone: ZoneInfo) -> Event:
    run = runs[-1]
    what = outcome_words(run)
    if len(runs) > 1:
        what = f"{what} {len(runs)} times, {clock(runs[0].when_s, zone)} to {clock(run.when_s, zone)}"
        return Event(run.when_s, what, run.result_reason or why(run), run.run_id)
    if run.outcome is Outcome.DONE and is_lengthened(run):
        what = f"{what}: {length(run.planned_s)} to {length(run.asked_s)}"
    elif run.outcome is Outcome.DONE:
        what = f"{run.cause.value}: {length(run.actual_s)}"
    elif run.actual_s > 0:
        what = f"{what} after {length(run.actual_s)}"
    return Event(run.when_s, what, why(run), run.run_id)


def _trips(period: Period) -> Iterator[Event]:
    for trip in period.trips:
        what = "locked" if trip.is_locked else "stopped for safety"
        if trip.over_at_s is None:
            over = "it stands"
        else:
            by = f", released by {trip.by}" if trip.by else ""
            over = f"over after {length(trip.over_at_s - trip.began_at_s)}{by}"
        yield Event(trip.began_at_s, what, f"{trip.reason}; {over}")


def _alerts(period: Period) -> Iterator[Event]:
    """Each as it was told. When it was over is said where it was raised."""
    zone = period.span.zone
    ended = {one.alert_id: one.resolved_at_s for one in period.history.alerts if one.resolved_at_s is not None}
    for told in period.history.tellings:
        over_s = ended.get(told.alert_id) if told.what is Told.ALERT else None
        over = "" if over_s is None else f" (over {day_and_clock(over_s, zone)})"
        yield Event(told.at_s, f"{told.what.value}, {told.severity.value}", f"{told.headline}{over}")


def _deeds(period: Period) -> Iterator[Event]:
    for deed in period.history.deeds:
        if deed.what in DEEDS_TOLD:
            by = f"{deed.what} by {deed.by}" if deed.by else deed.what
            yield Event(deed.at_s, by, deed.text)
