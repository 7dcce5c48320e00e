"""`waaler history`: what ran, what did not, and why."""

import sys
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from textwrap import wrap
from zoneinfo import ZoneInfo

import click

from waaler.cli.common import Day, echo, echo_json, file_argument, json_text, read_settings, refuse
from waaler.records.reader import Reader, Step
from waaler.records.schema import StoreError
from waaler.records.times import local
from waaler.report.charts.spark import spark_text
from waaler.report.history import as_csv, as_object, as_text, days_between, plain, read_history, run_object
from waaler.settings import Settings
from waaler.settings.places import records_file, rehearsal_file
from waaler.visible import visible

__all__ = ["command"]

SPARK_SPAN_H = 24
COLOURS = {
    "day": {"bold": True},
    "skipped": {"fg": "blue"},
    "refused": {"fg": "yellow"},
    "missed": {"fg": "yellow"},
    "taken away": {"fg": "blue"},
    "cut short": {"fg": "red"},
    "interrupted": {"fg": "red"},
    "stopped": {"fg": "yellow"},
}
"""Besides the words, never in their place; only on a terminal."""


@click.command("history")
@click.option(
    "--days", default=7, show_default=True, type=click.IntRange(1, 36_525), help="Today and the days before."
)
@click.option("--since", type=Day(), help="From this day on, such as 2026-06-21.")
@click.option("--until", type=Day(), help="Up to this day, itself included.")
@click.option("--why", "run_id", type=click.IntRange(1), help="Everything that is known of one run, by its number.")
@click.option("--export", type=click.Path(path_type=Path, dir_okay=False), help="A complete copy as a zip of CSV.")
@click.option("--rehearsal", is_flag=True, help="The last rehearsal instead of the bed itself.")
@click.option("--json", "form", flag_value="json", help="One JSON object.")
@click.option("--csv", "form", flag_value="csv", help="One row a run, for a spreadsheet.")
@file_argument
def command(
    file: Path | None,
    days: int,
    since: datetime | None,
    until: datetime | None,
    run_id: int | None,
    export: Path | None,
    rehearsal: bool,
    form: str | None,
) -> None:
    """What ran, was skipped, refused or cut short, and why.

    The number of a run, for --why, stands at the end of its line.

    Example: waaler history --since 2026-06-01 --until 2026-06-14
    """
    settings = read_settings(file)
    try:
        with Reader((rehearsal_file if rehearsal else records_file)(settings.id)) as reader:
            if run_id is not None:
                _tell_why(reader, settings, run_id, form)
            elif export is not None:
                _export(reader, settings, export)
            else:
                first, last = _days(reader, settings, days, since, until, rehearsal)
                click.echo(_tell(reader, settings, first, last, form), nl=False)
    except StoreError as problem:
        refuse(str(problem))


def _days(
    reader: Reader,
    settings: Settings,
    days: int,
    since: datetime | None,
    until: datetime | None,
    is_rehearsal: bool,
) -> tuple[date, date]:
    """First and last day. Ends with 2 where they are the wrong way round."""
    latest_s = reader.latest_s() if is_rehearsal else None
    today = local(time.time() if latest_s is None else latest_s, _zone(settings)).date()
    last = until.date() if until is not None else max(today, since.date()) if since is not None else today
    first = last - timedelta(days=days - 1) if since is None else since.date()
    if first > last:
        raise click.UsageError(f"--since {first} lies after --until {last}; swap them")
    return first, last


def _tell(reader: Reader, settings: Settings, first: date, last: date, form: str | None) -> str:
    """Safe for a terminal, colours included."""
    zone = _zone(settings)
    begin_s, end_s = _midnight_s(first, zone), _midnight_s(last + timedelta(days=1), zone)
    history = read_history(reader, begin_s, end_s, zone)
    if form == "csv":
        return visible(as_csv(history))
    if form == "json":
        told = {"bed": settings.id, "title": settings.title, **as_object(history, days_between(first, last))}
        return json_text(told) + "\n"
    return as_text(history, _moisture(reader, begin_s, end_s, zone), _painter())


def _moisture(reader: Reader, begin_s: float, end_s: float, zone: ZoneInfo) -> dict[date, str]:
    """Of each day with readings a line, an hour a step, from 0 to 100 %; several probes count as their mean."""
    hours: dict[date, dict[int, list[float]]] = {}
    for row in reader.samples(begin_s, end_s, Step.TEN_MINUTES, bundle=6):
        if row.unit == "%":
            at = local(row.at_s, zone)
            hours.setdefault(at.date(), {}).setdefault(at.hour, []).append(row.mean)
    return {day: _spark(values) for day, values in hours.items()}


def _spark(hours: dict[int, list[float]]) -> str:
    means = [sum(hours[h]) / len(hours[h]) if h in hours else None for h in range(SPARK_SPAN_H)]
    known = [mean for mean in means if mean is not None]
    return f"{spark_text(means, 0.0, 100.0)} {min(known):.0f} to {max(known):.0f} %, midnight to midnight"


def _painter() -> Callable[[str, str], str]:
    if not sys.stdout.isatty():
        return plain
    return lambda word, what: click.style(word, **COLOURS.get(what, {}))  # type: ignore[arg-type]


def _tell_why(reader: Reader, settings: Settings, run_id: int, form: str | None) -> None:
    from waaler.report.why import why_of

    run = reader.run(run_id)
    if run is None:
        refuse(f"no run has the number {run_id}; `waaler history --csv` lists them")
    facts = why_of(reader, run, _zone(settings))
    if form == "json":
        echo_json({**run_object(run, _zone(settings)), "facts": [{"name": f.name, "text": f.text} for f in facts]})
        return
    echo(f"Run {run_id} of {settings.title} ({settings.id})")
    for fact in facts:
        lines = wrap(fact.text, 80 - 18) or [""]
        echo("\n".join([f"  {fact.name:<15} {lines[0]}", *(" " * 18 + line for line in lines[1:])]))


def _export(reader: Reader, settings: Settings, out: Path) -> None:
    from waaler.report.export import export
    from waaler.settings.replacing import replaced

    try:
        with replaced(out) as new:
            counts = export(reader, settings.id, settings.title, new)
    except OSError as problem:
        refuse(f"{out}: cannot be written: {problem.strerror or problem}")
    rows = ", ".join(f"{count} {name}" for name, count in counts.items() if count)
    echo(f"{out} written: {rows or 'nothing yet'}; its README.txt says what is in it")


def _zone(settings: Settings) -> ZoneInfo:
    return ZoneInfo(settings.plan.place.timezone)


def _midnight_s(day: date, zone: ZoneInfo) -> float:
    return datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC).timestamp()
