"""A report of a period as one HTML file."""

import sys
import time
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from waaler.cli.common import echo, file_argument, read_settings, refuse

if TYPE_CHECKING:
    from waaler.report.bed import Bed
    from waaler.settings import Settings

__all__ = ["command", "write_report"]


@click.command("report")
@click.option(
    "--days", default=30, show_default=True, type=click.IntRange(1, 3660), help="Today and the days before."
)
@click.option("--out", required=True, type=click.Path(path_type=Path, dir_okay=False), help="The file to write.")
@click.option("--rehearsal", is_flag=True, help="The last rehearsal instead of the bed itself.")
@file_argument
def command(days: int, out: Path, rehearsal: bool, file: Path | None) -> None:
    """Write what ran, was skipped and was cut, with moisture, sump and reasons, as one HTML page.

    The page needs nothing from outside; it reads on a phone and prints. Exit 1 if something stands stopped for
    safety, or there are no records.

    Example: waaler report --days 30 --out june.html
    """
    from waaler.records.schema import StoreError

    settings = read_settings(file)
    try:
        is_stopped = write_report(settings, out, days, rehearsal)
    except StoreError as problem:
        refuse(str(problem))
    except OSError as problem:
        refuse(f"{out}: cannot be written: {problem.strerror or problem}")
    echo(f"{out} written")
    sys.exit(1 if is_stopped else 0)


def write_report(
    settings: "Settings",
    out: Path,
    days: int,
    is_rehearsal: bool,
    told: str | None = None,
    is_alarm: bool = False,
    assumed: tuple[str, ...] = (),
) -> bool:
    """The last days of a bed's records, or of its rehearsal's; whether something stands stopped for safety.

    told, is_alarm, assumed: the verdict and assumptions of a rehearsal. Raises StoreError and OSError.
    """
    from waaler.records.reader import Reader
    from waaler.records.times import local
    from waaler.report.bed import Bed
    from waaler.report.page_of_period import page_of_period
    from waaler.report.period import read_period
    from waaler.settings.places import records_file, rehearsal_file
    from waaler.settings.replacing import replaced

    bed = Bed.of(settings)
    with Reader((rehearsal_file if is_rehearsal else records_file)(settings.id)) as reader:
        latest_s = reader.latest_s() if is_rehearsal else None
        now_s = time.time() if latest_s is None else latest_s
        last = local(now_s, bed.zone).date()
        begin_s = _midnight_s(last - timedelta(days=days - 1), bed)
        period = read_period(reader, bed, begin_s, _midnight_s(last + timedelta(days=1), bed), now_s)
        is_stopped = bool(reader.open_trips())
    with replaced(out) as new:
        new.write_text(page_of_period(period, told, is_alarm, assumed), encoding="utf-8")
    return is_stopped


def _midnight_s(day: date, bed: "Bed") -> float:
    return datetime(day.year, day.month, day.day, tzinfo=bed.zone).timestamp()
