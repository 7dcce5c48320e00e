"""Enter a note."""

import sys
from pathlib import Path

import click

from waaler.cli.common import ask_daemon, echo, file_argument

__all__ = ["command"]


@click.command("note")
@click.argument("text")
@click.option("--cleaned", is_flag=True, help="Pump and filter were cleaned: their hours and starts count anew.")
@file_argument
def command(text: str, cleaned: bool, file: Path | None) -> None:
    """Write TEXT, one line, into the history with the present time and your name.

    Example: waaler note "aphids on pot 3, washed off"
    """
    answer = ask_daemon(file, {"do": "cleaned" if cleaned else "note", "text": text})
    echo(answer["text"])
    sys.exit(0 if answer.get("ok") else 1)
