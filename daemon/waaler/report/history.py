"""The history of a period: as days for people, and as objects and rows for other programs."""

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from textwrap import wrap
from typing import Any
from zoneinfo import ZoneInfo

from waaler.core.facts import Outcome
from waaler.records.days import DayTotal, day_totals
from waaler.records.reader import Reader
from waaler.records.rows import AlertRow, DeedRow, RunRow, TellingRow, Told
from waaler.records.times import local, rfc3339
from waaler.visible import visible

__all__ = [
    "COLUMNS",
    "PLAIN_REASONS",
    "History",
    "alike",
    "as_csv",
    "as_object",
    "as_text",
    "cell",
    "csv_row",
    "days_between",
    "read_history",
    "run_object",
    "unread_words",
]

Paint = Callable[[str, str], str]
"""A word and what it is, such as an outcome, to the word as the terminal shall show it."""

WIDTH = 80
HEAD = (
    f"  {'due':<7}  {'start':<8}  {'end':<8}  {'asked':>7}  {'ran':>7}  {'cause':<9}  {'outcome':<11}  {'run':>6}"
)
INDENT = " " * 11
PLAIN_REASONS = frozenset({"as planned", "ran its time"})
"""What goes without saying in the table."""

COLUMNS = (
    "run", "decided", "planned", "started", "ended", "planned_seconds", "asked_seconds", "ran_seconds", "cause",
    "window", "cycle", "pulse", "pulses", "by", "outcome", "reason", "ended_because",
)  # fmt: skip
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes a cell that begins with one of these for a formula."""


def plain(word: str, what: str) -> str:  # noqa: ARG001
    return word


@dataclass(frozen=True, slots=True)
class History:
    """tellings: what was told of alerts, as it was told. unread: rows of the records that could not be read; they
    are left out.
    """

    zone: ZoneInfo
    runs: list[RunRow]
    alerts: list[AlertRow]
    deeds: list[DeedRow]
    unread: int = 0
    tellings: tuple[TellingRow, ...] = ()

    @property
    def totals(self) -> list[DayTotal]:
        return day_totals(self.runs, self.zone)


def read_history(reader: Reader, since_s: float, until_s: float, zone: ZoneInfo) -> History:
    """Everything of a period, oldest first."""
    runs, alerts = reader.runs(since_s, until_s), reader.alerts(since_s, until_s)
    deeds = reader.deeds(since_s, until_s)
    tellings = tuple(row for row in reader.tellings(since_s, until_s) if row.what is not Told.REWORDED)
    return History(zone, runs, alerts, deeds, reader.unread, tellings)


def alike(runs: Iterable[RunRow], zone: ZoneInfo) -> list[list[RunRow]]:
    """Runs one after the other that gave no water, on one day and for the same reason, together; others alone."""
    found: list[list[RunRow]] = []
    for run in runs:
        if found and _are_alike(found[-1][-1], run, zone):
            found[-1].append(run)
        else:
            found.append([run])
    return found


def _are_alike(run: RunRow, other: RunRow, zone: ZoneInfo) -> bool:
    is_dry = run.actual_s == 0 and other.actual_s == 0 and run.outcome is not None
    is_of_one_day = local(run.when_s, zone).date() == local(other.when_s, zone).date()
    ends = [(one.cause, one.outcome, one.result_reason) for one in (run, other)]
    return is_dry and is_of_one_day and ends[0] == ends[1]


# --- for people ---------------------------------------------------------------------------------


def as_text(history: History, moisture: Mapping[date, str] | None = None, paint: Paint = plain) -> str:
    """A table of at most 80 columns: each day, its rows, its total, its line of moisture if there is one.

    paint: colours a word for a terminal.
    """
    entries = sorted(_entries(history, paint), key=lambda entry: entry[0])
    totals = {total.day: total for total in history.totals}
    lines: list[str] = []
    for day in sorted({local(when_s, history.zone).date() for when_s, _ in entries}):
        rows = [text for when_s, text in entries if local(when_s, history.zone).date() == day]
        lines += [paint(f"{day:%A %d %B %Y}", "day"), HEAD, *rows, _total_line(totals.get(day))]
        lines += [f"  moisture {moisture[day]}", ""] if moisture and day in moisture else [""]
    told = "\n".join(lines) if lines else "nothing ran, and nothing was due, in this period\n"
    return told + (f"\n{unread_words(history.unread)}\n" if history.unread else "")


def unread_words(count: int) -> str:
    """Why something may be missing; count: of rows that could not be read."""
    rows = "1 row of the records" if count == 1 else f"{count} rows of the records"
    return f"{rows} cannot be read any more and {'is' if count == 1 else 'are'} left out: look at the card"


def _entries(history: History, paint: Paint) -> Iterator[tuple[float, str]]:
    zone = history.zone
    for runs in alike(history.runs, zone):
        yield runs[0].when_s, _run_lines(runs, zone, paint)
    for told in history.tellings:
        yield told.at_s, _note_line(told.at_s, f"{told.what}, {told.severity}: {told.headline}", zone)
    for alert in history.alerts:
        if alert.resolved_at_s is not None:
            yield alert.resolved_at_s, _note_line(alert.resolved_at_s, f"alert over: {alert.kind}", zone)
    for deed in history.deeds:
        by = f" by {deed.by}" if deed.by else ""
        yield deed.at_s, _note_line(deed.at_s, f"{deed.what}{by}: {deed.text}", zone)


def _run_lines(runs: list[RunRow], zone: ZoneInfo, paint: Paint) -> str:
    """A run; or several that gave no water alike, from the first one's time to the last one's."""
    run, last = runs[0], runs[-1]
    outcome = "no end yet" if run.outcome is None else run.outcome.value
    is_one = run is last
    started = _clock(run.started_at_s, zone, "%H:%M:%S") if is_one else f"to {_clock(_due_s(last), zone, '%H:%M')}"
    cells = (
        f"{_clock(_due_s(run), zone, '%H:%M'):<7}",
        f"{started:<8}",
        f"{_clock(_stopped_s(run) if is_one else None, zone, '%H:%M:%S'):<8}",
        f"{run.asked_s:>5.0f} s" if is_one else f"{'-':>7}",
        f"{run.actual_s:>5.0f} s" if run.actual_s > 0 else f"{'-':>7}",
        f"{run.cause.value:<9}",
        paint(f"{outcome:<11}", outcome),
        f"{last.run_id:>6}",
    )
    first = "  " + "  ".join(cells)
    if not is_one:
        told = f"{len(runs)} times, runs {run.run_id} to {last.run_id}: {run.result_reason or run.reason}"
        return "\n".join([first, *_folded(told)])
    reasons = [reason for reason in (run.reason, run.result_reason) if reason and reason not in PLAIN_REASONS]
    return "\n".join([first, *_folded("; ".join(dict.fromkeys(reasons)))])


def _due_s(run: RunRow) -> float:
    """When it was planned for; without a plan, when it was wanted."""
    return run.decided_at_s if run.planned_at_s is None else run.planned_at_s


def _stopped_s(run: RunRow) -> float | None:
    """When the pump stopped; None if it never ran, or if nobody saw the end."""
    return None if run.started_at_s is None or run.outcome is Outcome.INTERRUPTED else run.ended_at_s


def _note_line(at_s: float, text: str, zone: ZoneInfo) -> str:
    first, *others = _folded(text)
    return "\n".join([f"  {_clock(at_s, zone, '%H:%M'):<7}  {first.lstrip()}", *others])


def _folded(text: str) -> list[str]:
    return wrap(visible(text), WIDTH, initial_indent=INDENT, subsequent_indent=INDENT)


def _clock(wall_s: float | None, zone: ZoneInfo, form: str) -> str:
    return "-" if wall_s is None else local(wall_s, zone).strftime(form)


def _total_line(total: DayTotal | None) -> str:
    if total is None:
        return "  total    no cycles"
    cycles = "1 cycle" if total.cycles == 1 else f"{total.cycles} cycles"
    ends = ", ".join(
        f"{count} {'no end yet' if outcome is None else outcome.value}"
        for outcome, count in sorted(total.outcomes.items(), key=lambda item: _rank(item[0]))
    )
    starts = "1 start" if total.starts == 1 else f"{total.starts} starts"
    minutes, seconds = divmod(round(total.pump_s), 60)
    return f"  total    {cycles}: {ends}\n{INDENT}{starts}, pump on for {minutes} min {seconds} s"


def _rank(outcome: Outcome | None) -> int:
    return len(Outcome) if outcome is None else list(Outcome).index(outcome)


# --- for programs -------------------------------------------------------------------------------


def as_object(history: History, days: list[date]) -> dict[str, Any]:
    """JSON of the period; `days` has every day of it, also those on which nothing ran."""
    totals = {total.day: total for total in history.totals}
    return {
        "runs": [run_object(run, history.zone) for run in history.runs],
        "alerts": [_alert_object(alert, history) for alert in history.alerts],
        "deeds": [_deed_object(deed, history.zone) for deed in history.deeds],
        "unread_rows": history.unread,
        "days": [_total_object(totals.get(day, DayTotal(day, {}, 0, 0.0))) for day in days],
    }


def run_object(run: RunRow, zone: ZoneInfo) -> dict[str, Any]:
    """One run, skip, refusal or missed cycle; times in RFC 3339, None for what did not happen."""
    return {
        "run": run.run_id,
        "decided": rfc3339(run.decided_at_s, zone),
        "planned": rfc3339(run.planned_at_s, zone),
        "started": rfc3339(run.started_at_s, zone),
        "ended": rfc3339(_stopped_s(run), zone),
        "planned_seconds": round(run.planned_s, 1),
        "asked_seconds": round(run.asked_s, 1),
        "ran_seconds": round(run.actual_s, 1),
        "cause": run.cause.value,
        "window": None if run.key is None else run.key.window,
        "cycle": None if run.key is None else run.key.n,
        "pulse": run.pulse,
        "pulses": run.pulses,
        "by": run.by,
        "outcome": None if run.outcome is None else run.outcome.value,
        "reason": run.reason,
        "ended_because": run.result_reason,
    }


def as_csv(history: History) -> str:
    """One row for each run, skip, refusal and missed cycle."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    writer.writerows(csv_row(run, history.zone) for run in history.runs)
    return out.getvalue()


def csv_row(run: RunRow, zone: ZoneInfo) -> list[Any]:
    """The cells of COLUMNS."""
    row = run_object(run, zone)
    return [cell(row[column]) for column in COLUMNS]


def cell(value: Any) -> Any:
    """Text that a spreadsheet would take for a formula gets a quote in front."""
    return f"'{value}" if isinstance(value, str) and value.startswith(FORMULA_SIGNS) else value


def _alert_object(alert: AlertRow, history: History) -> dict[str, Any]:
    zone = history.zone
    return {
        "kind": alert.kind,
        "severity": alert.severity.value,
        "text": alert.text,
        "told": [
            {"at": rfc3339(one.at_s, zone), "what": one.what.value, "text": one.text}
            for one in history.tellings
            if one.alert_id == alert.alert_id
        ],
        "raised": rfc3339(alert.raised_at_s, zone),
        "resolved": rfc3339(alert.resolved_at_s, zone),
        "times": alert.times,
        "reminders": alert.reminders,
        "acknowledged_by": alert.acknowledged_by,
    }


def _deed_object(deed: DeedRow, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "at": rfc3339(deed.at_s, zone),
        "what": deed.what,
        "text": deed.text,
        "by": deed.by,
        "until": rfc3339(deed.until_s, zone),
        "amounts": [{"name": one.name, "value": one.value, "unit": one.unit} for one in deed.amounts],
    }


def _total_object(total: DayTotal) -> dict[str, Any]:
    return {
        "day": total.day.isoformat(),
        "cycles": total.cycles,
        "outcomes": {outcome.value: total.outcomes.get(outcome, 0) for outcome in Outcome},
        "starts": total.starts,
        "pump_seconds": round(total.pump_s, 1),
    }


def days_between(first: date, last: date) -> list[date]:
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]
