"""Enter a refill."""

from pathlib import Path

import click

from waaler.cli.common import enter, file_argument, sure_option

__all__ = ["command"]


@click.command("refill")
@click.argument("amount")
@click.option("--of", type=click.Choice(["water", "solution"]), default="water", show_default=True)
@sure_option
@click.option("--new", is_flag=True, help="The sump was emptied first: the whole solution was made anew.")
@file_argument
def command(amount: str, of: str, new: bool, sure: bool, file: Path | None) -> None:
    """Enter that AMOUNT of water or solution was added to the sump.

    Example: waaler refill 60L --of solution
    """
    from waaler.settings.units import VOLUME, UnitError
    from waaler.settings.units import amount as parse

    try:
        litres = parse(amount, VOLUME)
    except UnitError as problem:
        raise click.BadParameter(str(problem)) from None
    enter(file, {"do": "refill", "amounts": {of: litres}, "is_renewal": new}, sure)
