"""Enter a refill."""

import sys
from pathlib import Path

import click

from waaler.cli.common import ask_daemon, echo, file_argument

__all__ = ["command"]


@click.command("refill")
@click.argument("amount")
@click.option("--of", type=click.Choice(["water", "solution"]), default="water", show_default=True)
@click.option("--new", is_flag=True, help="The sump was emptied first: the whole solution was made anew.")
@file_argument
def command(amount: str, of: str, new: bool, file: Path | None) -> None:
    """Enter that AMOUNT of water or solution was added to the sump.

    Example: waaler refill 60L --of solution
    """
    from waaler.settings.units import VOLUME, UnitError
    from waaler.settings.units import amount as parse

    try:
        litres = parse(amount, VOLUME)
    except UnitError as problem:
        raise click.BadParameter(str(problem)) from None
    order: dict[str, object] = {"do": "refill", "litres": litres, "amounts": {of: litres}, "is_renewal": new}
    answer = ask_daemon(file, order)
    echo(answer["text"])
    sys.exit(0 if answer.get("ok") else 1)
