"""Switches the relay off when the daemon is gone."""

import sys
from pathlib import Path

import click

from waaler.cli.common import daemon_socket, file_argument, guard_socket, refuse

__all__ = ["command"]


@click.command("off")
@file_argument
def command(file: Path | None) -> None:
    """Switch the relay off after the daemon's death, by the lines that it wrote down.

    While a daemon lives its lines cannot be claimed: it is asked to end its run instead. Off by software is not
    isolated: pull the pump's plug before you reach in.

    Example: waaler off
    """
    from waaler.notify.asking import ask
    from waaler.off import main

    bed, socket = daemon_socket(file)
    try:
        answer = ask(guard_socket(socket), {"do": "stop"}, 6.0)
    except (OSError, ValueError):
        if not (socket.parent / f"{bed}.off").exists():
            refuse(f"no daemon answers for {bed}, and none has left its lines in {socket.parent}")
        sys.exit(main([str(socket.parent), bed]))
    click.echo(f"a daemon keeps {bed}; it was asked to end its run: {answer['text']}")
