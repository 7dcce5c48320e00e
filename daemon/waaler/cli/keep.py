"""The keeper, which the guard's process begins."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from waaler.cli.common import Mishap, file_argument, refuse
from waaler.cli.run import log_option

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


@click.command("keep", hidden=True)
@click.option("--simulated", is_flag=True)
@log_option
@click.option("--wrong", type=Mishap())
@click.option("--as-new", is_flag=True)
@file_argument
def command(simulated: bool, log_format: str, as_new: bool, wrong: str | None, file: Path) -> None:
    """Decide, record and answer; the guard, which begins this process, holds the pump."""
    with _without("rich"):
        import structlog  # noqa: F401
    from waaler.devices.lines import NoLines
    from waaler.keeper.daemon import keep
    from waaler.keeper.guard_link import GuardGone
    from waaler.keeper.logs import log_to
    from waaler.settings import SettingsError

    lines = log_to(log_format)
    try:
        status = keep(file, simulated, as_new, wrong)
        lines.end(1.0)
    except SettingsError as problem:
        refuse(str(problem), 2)
    except (NoLines, GuardGone, OSError) as problem:
        refuse(str(problem))
    sys.exit(status)
