"""End the run in progress."""

import sys
from pathlib import Path

import click

from waaler.cli.common import ask_guard, echo, file_argument

__all__ = ["command"]


@click.command("stop")
@file_argument
def command(file: Path | None) -> None:
    """End the run in progress; the plan goes on with its next cycle.

    The guard itself is asked, so that it works while everything else hangs.

    Example: waaler stop
    """
    answer = ask_guard(file, "stop")
    echo(answer["text"])
    sys.exit(0 if answer.get("ok") else 1)
