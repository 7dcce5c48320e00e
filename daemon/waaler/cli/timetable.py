"""The cycles of a day or more."""

from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from waaler.cli.common import Day, echo, echo_json, file_argument, json_option, read_settings

__all__ = ["command"]


@click.command("timetable")
@click.option("--on", "first", type=Day(), help="First day; today if left out.")
@click.option("--days", type=click.IntRange(1, 366), default=1, show_default=True, help="How many days.")
@json_option
@file_argument
def command(first: datetime | None, days: int, as_json: bool, file: Path | None) -> None:
    """Print the plan's cycles with their starts and lengths.

    Example: waaler timetable --on 2026-06-21 --days 2
    """
    from waaler.plan.timetable import cycles_of_day

    settings = read_settings(file)
    zone = ZoneInfo(settings.plan.place.timezone)
    begin = date.today() if first is None else first.date()
    cycles = [
        (cycle.start.astimezone(zone), cycle)
        for n in range(days)
        for cycle in cycles_of_day(settings.plan, begin + timedelta(days=n))
    ]
    if as_json:
        echo_json(
            {
                "cycles": [
                    {
                        "start": start.isoformat(timespec="seconds"),
                        "seconds": cycle.seconds,
                        "window": cycle.key.window,
                    }
                    for start, cycle in cycles
                ]
            }
        )
        return
    for start, cycle in cycles:
        note = "  fallback" if cycle.is_fallback else ""
        echo(f"{start:%a %Y-%m-%d %H:%M:%S %z}  {cycle.seconds:5.0f} s  {cycle.key.window}{note}")
    total_s = sum(cycle.seconds for _, cycle in cycles)
    echo(f"{len(cycles)} cycles, {total_s / 60:.3g} min of pump in all")
