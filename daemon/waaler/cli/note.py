"""Enter a note."""

import sys
from pathlib import Path

import click

from waaler.cli.common import ask_daemon, file_argument

__all__ = ["command"]


@click.command("note")
@click.argument("text")
@file_argument
def command(text: str, file: Path | None) -> None:
    """Write TEXT, one line, into the history with the present time and your name.

    Example: waaler note "aphids on pot 3, washed off"
    """
    answer = ask_daemon(file, {"do": "note", "text": text})
    click.echo(answer["text"])
    sys.exit(0 if answer.get("ok") else 1)
