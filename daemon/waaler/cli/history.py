"""`waaler history`: what ran, what did not, and why."""

import json
import time
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from waaler.cli.common import file_argument, read_settings, refuse
from waaler.records.reader import Reader
from waaler.records.schema import StoreError
from waaler.records.times import local
from waaler.report.history import as_csv, as_object, as_text, days_between, read_history
from waaler.settings import Settings
from waaler.settings.places import state_folder

__all__ = ["command"]

FOR_EVER_S = 1e12


@click.command("history")
@click.option(
    "--days", default=7, show_default=True, type=click.IntRange(1, 36_525), help="Today and the days before."
)
@click.option("--rehearsal", is_flag=True, help="The last rehearsal instead of the bed itself.")
@click.option("--json", "form", flag_value="json", help="One JSON object.")
@click.option("--csv", "form", flag_value="csv", help="One row a run, for a spreadsheet.")
@file_argument
def command(file: Path | None, days: int, rehearsal: bool, form: str | None) -> None:
    """What ran, was skipped, refused or cut short, and why."""
    settings = read_settings(file)
    try:
        click.echo(_tell(settings, days, rehearsal, form), nl=False)
    except StoreError as problem:
        refuse(str(problem))


def _tell(settings: Settings, days: int, is_rehearsal: bool, form: str | None) -> str:
    zone = ZoneInfo(settings.plan.place.timezone)
    tail = ".rehearsal.db" if is_rehearsal else ".db"
    with Reader(state_folder(settings.id) / f"{settings.id}{tail}") as reader:
        latest_s = reader.latest_s() if is_rehearsal else None
        last = local(time.time() if latest_s is None else latest_s, zone).date()
        first = last - timedelta(days=days - 1)
        history = read_history(reader, _midnight_s(first, zone), FOR_EVER_S, zone)
    if form == "csv":
        return as_csv(history)
    if form == "json":
        told = {"bed": settings.id, "title": settings.title, **as_object(history, days_between(first, last))}
        return json.dumps(told, ensure_ascii=False, indent=2) + "\n"
    return as_text(history)


def _midnight_s(day: date, zone: ZoneInfo) -> float:
    return datetime(day.year, day.month, day.day, tzinfo=zone).timestamp()
