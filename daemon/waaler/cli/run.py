"""The daemon: the guard's process, which begins the keeper."""

import os
import sys
from pathlib import Path

import click

from waaler.cli.common import Mishap, file_argument, refuse

__all__ = ["command", "log_option"]

log_option = click.option(
    "--log", "log_format", type=click.Choice(["console", "json"]), default="console", show_default=True
)


@click.command("run")
@click.option(
    "--simulated", is_flag=True, help="On mock pins moved by a simulated bed, in real time: no Pi needed."
)
@log_option
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

    Two processes: the guard, which alone holds the pump, and the keeper, which it begins and begins again.

    Mains and water: see hardware/cautions.md first; a certified device must hold the last line of defence.

    Example: waaler run --simulated
    """
    from waaler.settings import SettingsError
    from waaler.settings.places import bed_id, find, runtime_folder, state_folder

    if wrong is not None and not simulated:
        raise click.UsageError("--wrong goes with --simulated")
    try:
        path = find(file).resolve()
    except SettingsError as problem:
        refuse(str(problem), 2)
    bed = bed_id(path)
    keeper = [sys.executable, "-P", "-m", "waaler.cli.main", "keep", "--log", log_format]
    keeper += ["--simulated"] if simulated else []
    keeper += ["--as-new"] if as_new else []
    keeper += ["--wrong", wrong] if wrong is not None else []
    guard = [
        sys.executable,
        "-P",
        "-m",
        "waaler.guard_process",
        bed,
        str(runtime_folder(bed)),
        str(state_folder(bed)),
    ]
    guard += ["--simulated"] if simulated else []
    guard += ["--relay-trace", str(relay_trace)] if relay_trace is not None else []
    sys.stdout.flush()
    os.execv(sys.executable, [*guard, "--", *keeper, str(path)])
