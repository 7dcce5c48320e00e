"""The daemon."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from waaler.cli.common import Mishap, file_argument, refuse

__all__ = ["command"]


@contextmanager
def _without(library: str) -> Iterator[None]:
    """As if it were not installed: structlog loads rich for tracebacks that a daemon never prints, 4 MB of it."""
    if library in sys.modules:
        yield
        return
    sys.modules[library] = None  # type: ignore[assignment]
    try:
        yield
    finally:
        del sys.modules[library]


@click.command("run")
@click.option(
    "--simulated", is_flag=True, help="On mock pins moved by a simulated bed, in real time: no Pi needed."
)
@click.option("--log", "log_format", type=click.Choice(["console", "json"]), default="console", show_default=True)
@click.option(
    "--relay-trace", type=int, hidden=True, help="A pipe that hears of each change of the simulated relay."
)
@click.option("--wrong", type=Mishap(), help="Simulated, with a mistake in its wiring, such as chattering-sump.")
@click.option("--as-new", is_flag=True, hidden=True, help="Simulated, as a bed that was never commissioned.")
@file_argument
def command(
    simulated: bool, log_format: str, relay_trace: int | None, as_new: bool, wrong: str | None, file: Path | None
) -> None:
    """Keep the bed: plan, sensors, guard, records. Ends on SIGTERM or Ctrl-C with the relay off.

    Mains and water: see hardware/cautions.md first; a certified device must hold the last line of defence.

    Example: waaler run --simulated
    """
    with _without("rich"):
        import structlog  # noqa: F401
    from waaler.devices.lines import NoLines
    from waaler.keeper.daemon import run
    from waaler.keeper.logs import log_to
    from waaler.keeper.opening import AlreadyRunning
    from waaler.settings import SettingsError
    from waaler.settings.places import find

    if wrong is not None and not simulated:
        raise click.UsageError("--wrong goes with --simulated")
    log_to(log_format)
    try:
        status = run(find(file), simulated, relay_trace, as_new, wrong)
    except SettingsError as problem:
        refuse(str(problem), 2)
    except (NoLines, AlreadyRunning, OSError) as problem:
        refuse(str(problem))
    sys.exit(status)
