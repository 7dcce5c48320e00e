"""Take on an alert."""

import sys
from pathlib import Path

import click

from waaler.cli.common import ask_daemon, echo, file_argument

__all__ = ["command"]


@click.command("acknowledge")
@click.option("--alert", "kind", default="", metavar="KIND", help="One alert, by its name in `status --json`.")
@file_argument
def command(kind: str, file: Path | None) -> None:
    """Say that you take on the alerts that stand, or one of them: nobody else is called, and it is told less often.

    Example: waaler acknowledge --alert sump-low
    """
    answer = ask_daemon(file, {"do": "acknowledge", "text": kind})
    echo(answer["text"])
    sys.exit(0 if answer.get("ok") else 1)
