"""Many beds in a terminal."""

import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from waaler.cli.common import echo, echo_json, json_option, refuse

if TYPE_CHECKING:
    from waaler.notify.fleet import Fleet, Row

__all__ = ["command"]

FIRST_S = 3.0
EVERY_S = 1.0
WIDTH = 80


@click.command("watch")
@click.option("--broker", "host", required=True, help="The MQTT broker's name or address.")
@click.option("--port", type=click.IntRange(1, 65_535), help="8883 with --ca-file, else 1883.")
@click.option("--user", help="Who you are there.")
@click.option("--password-file", type=click.Path(path_type=Path), help="A file whose first line is the password.")
@click.option(
    "--ca-file", type=click.Path(path_type=Path), help="The authority that signed the broker's certificate."
)
@click.option("--plain", is_flag=True, help="Let the password travel without TLS.")
@click.option("--once", is_flag=True, help="Listen for three seconds, print, and end.")
@json_option
def command(
    host: str,
    port: int | None,
    user: str | None,
    password_file: Path | None,
    ca_file: Path | None,
    plain: bool,
    once: bool,
    as_json: bool,
) -> None:
    """Show every bed of a broker: state, next run, sump, alerts, and who is silent; those in need first.

    With --once the exit is 1 if a bed is silent or has an urgent alert.

    Example: waaler watch --broker broker.example.org --once
    """
    from waaler.notify.broker import Broker
    from waaler.notify.fleet import rows
    from waaler.notify.secrets import read_secret
    from waaler.notify.watching import watch
    from waaler.settings.path_keys import SecretFile
    from waaler.settings.telling import LOOPBACK

    has_password = user is not None or password_file is not None
    if has_password and ca_file is None and host not in LOOPBACK and not plain:
        refuse("a password would travel without TLS; add --ca-file, or --plain to let it", 2)
    try:
        password = None if password_file is None else read_secret(SecretFile(password_file))
        broker = Broker(host, port or (8883 if ca_file else 1883), user, password, ca_file)
        seen = watch(broker, FIRST_S if once or as_json else EVERY_S)
        if once or as_json:
            fleet, trouble = next(seen)
            _print_once(rows(fleet, time.time()), trouble, as_json)
        _show(seen)
    except OSError as problem:
        refuse(str(problem))


def _print_once(found: "list[Row]", trouble: str, as_json: bool) -> None:
    if trouble:
        refuse(f"the broker: {trouble}")
    if as_json:
        echo_json([{key: value for key, value in row.items() if key != "rank"} for row in found])
    else:
        echo("\n".join(lines(found)))
    sys.exit(1 if any(row["silent"] or row["rank"] == 0 for row in found) else 0)


def lines(found: "list[Row]") -> Iterator[str]:
    """A table of at most 80 columns."""
    silent = sum(row["silent"] for row in found)
    yield f"{len(found)} beds, {silent} silent, {sum(bool(row['alerts']) for row in found)} with alerts"
    yield f"  {'bed':<20} {'state':<18} {'next':<11} sump"
    for row in found:
        state = _silence(row) if row["silent"] else row["state"]
        yield f"  {row['bed'][:20]:<20} {state[:18]:<18} {row['next']:<11} {row['sump']}"[:WIDTH]
        if row["wait"]:
            yield f"      waits: {row['wait']}"[:WIDTH]
        for alert in row["alerts"]:
            yield f"      {alert['severity']}: {alert['what']}"[:WIDTH]


def _silence(row: "Row") -> str:
    if not row["online"]:
        return "SILENT, offline"
    seconds = row["silent_seconds"]
    return "SILENT" if seconds is None else f"SILENT {_length(seconds)}"


def _length(seconds: float) -> str:
    if seconds < 7200:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.0f} h" if seconds < 172_800 else f"{seconds / 86_400:.0f} d"


def _show(seen: "Iterator[tuple[Fleet, str]]") -> None:
    """Until Ctrl-C; as many lines as the terminal has."""
    from rich.console import Console
    from rich.live import Live
    from rich.text import Text

    from waaler.notify.fleet import rows

    console = Console()
    try:
        with Live(console=console, auto_refresh=False, screen=console.is_terminal) as live:
            for fleet, trouble in seen:
                told = list(lines(rows(fleet, time.time())))
                if trouble:
                    told.insert(0, f"the broker: {trouble}")
                room = console.height - 2
                if len(told) > room:
                    told = [*told[:room], f"  and {len(told) - room} lines more"]
                live.update(Text("\n".join(told)), refresh=True)
    except KeyboardInterrupt:
        return
