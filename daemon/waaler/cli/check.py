"""Is a bed's file valid, and is it wise?"""

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from waaler.cli.common import echo, echo_json, file_argument, json_option, read_settings, refuse, three_digits

if TYPE_CHECKING:
    from waaler.settings import Settings

__all__ = ["command"]


@click.command("check")
@click.option("--records", "with_records", is_flag=True, help="Also try this version on a copy of the records.")
@click.option("--beside", is_flag=True, help="Also hold it against the other files of its folder.")
@json_option
@file_argument
def command(with_records: bool, beside: bool, as_json: bool, file: Path | None) -> None:
    """Check a bed's file: faults with their places (exit 2), else warnings and the plan's day.

    With --beside, or below /etc/waaler, no other file there may name the same bed or the same pins.
    With --records, exit 1 if this version could not go on with the bed's records.

    Example: waaler check terrace.yaml
    """
    from waaler.plan.timetable import cycles_of_day, day_seconds
    from waaler.settings.warnings import warnings

    settings = read_settings(file)
    _hold_beside(settings, beside)
    if with_records:
        _try_records(settings.id)
    today = date.today()
    found = warnings(settings, today)
    count, seconds = len(cycles_of_day(settings.plan, today)), day_seconds(settings.plan, today)
    if as_json:
        echo_json(
            {
                "bed": settings.id,
                "warnings": [
                    {"line": w.line, "column": w.column, "what": w.what, "remedy": w.remedy} for w in found
                ],
                "today": {"cycles": count, "seconds": seconds},
            }
        )
        return
    for warning in found:
        echo(f"warning: {warning}")
    litres = settings.figures.pump_l_per_min * seconds / 60
    echo(
        f"{settings.id}: valid. Today {count} cycles, {three_digits(seconds / 60)} min of pump in all,"
        f" about {three_digits(litres)} L lifted."
    )


def _hold_beside(settings: "Settings", is_asked: bool) -> None:
    """Ends with 2 where another file of the folder is the same bed, or has its pins."""
    from waaler.settings.neighbours import clashes
    from waaler.settings.places import ETC

    file = Path(settings.source.name).absolute()
    found = list(clashes(settings, file)) if is_asked or file.parent == ETC else []
    for fault in found:
        echo(str(fault), err=True)
    if found:
        sys.exit(2)


def _try_records(bed: str) -> None:
    from waaler.records.schema import StoreError
    from waaler.records.trying import try_on_copy
    from waaler.settings.places import records_file

    records = records_file(bed)
    try:
        if records.exists():
            try_on_copy(records)
    except (StoreError, OSError) as problem:
        refuse(str(problem))
