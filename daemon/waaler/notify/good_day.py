"""One line about a day, at a fixed hour: that it comes is the good news."""

from waaler.core.facts import Outcome, Severity
from waaler.core.status import next_words, wait_words
from waaler.notify.note import Note
from waaler.records.days import day_totals
from waaler.records.reader import Reader
from waaler.records.times import local
from waaler.report.bed import Bed
from waaler.report.state import read_state
from waaler.report.sump import read_sump

__all__ = ["good_day", "line"]

SOON_DAYS = 6.0


def good_day(reader: Reader, bed: Bed, minute: int | None, now_s: float) -> Note | None:
    """The day's note once its hour has come; None before, and without one. minute: after midnight."""
    now = local(now_s, bed.zone)
    if minute is None or now.hour * 60 + now.minute < minute:
        return None
    text = line(reader, bed, now_s)
    return Note(
        id=f"{bed.id}-day-{now:%Y-%m-%d}",
        subject=f"[{bed.title}] {text}",
        body=f"{now:%A %-d %B}: {text}.",
        severity=Severity.NOTE,
        person=0,
        about={"bed": bed.id, "title": bed.title, "what": "good-day", "day": f"{now:%Y-%m-%d}"},
    )


def line(reader: Reader, bed: Bed, now_s: float) -> str:
    """`5 of 5 runs, 62 L, needs water about Thursday`, for today up to now."""
    now = local(now_s, bed.zone)
    midnight = now.replace(hour=0, minute=0, second=0, microsecond=0).timestamp()
    runs = reader.runs(midnight, now_s)
    planned = [run for run in runs if run.key is not None]
    totals = day_totals(planned, bed.zone)
    done = sum(total.outcomes.get(Outcome.DONE, 0) for total in totals)
    lifted_l = sum(run.actual_s for run in runs) / 60 * bed.figures.pump_l_per_min
    parts = [
        f"{done} of {sum(total.cycles for total in totals)} runs",
        f"{lifted_l:.0f} L",
        _low(reader, bed, now_s),
        _waits(reader, bed, now_s),
    ]
    stand = len(reader.open_alerts())
    if stand:
        parts.append(f"{stand} alert{'s' if stand > 1 else ''} stand{'' if stand > 1 else 's'}")
    return ", ".join(part for part in parts if part)


def _waits(reader: Reader, bed: Bed, now_s: float) -> str:
    """When the next run can come, where it waits for something; a daemon that is silent."""
    told, now = read_state(reader, bed, now_s), bed.local(now_s)
    if told.present is None:
        return f"{told.state} ({told.detail})"
    if told.present.wait is None:
        return ""
    when, _ = next_words(told.present, now)
    return f"next run: {when} ({wait_words(told.present, now)})"


def _low(reader: Reader, bed: Bed, now_s: float) -> str:
    sump = read_sump(reader, bed, now_s - 86_400, now_s, [])
    low, left = None if sump.outlook is None else sump.outlook.needs_water_at, sump.days_left
    if low is None or left is None:
        return ""
    return f"needs water about {low:%A}" if left < SOON_DAYS else f"needs water about {low:%-d %B}"
