"""Enter what was measured in the nutrient solution."""

from collections.abc import Callable
from pathlib import Path

import click

from waaler.cli.common import enter, file_argument, sure_option

__all__ = ["command"]


@click.command("measure")
@click.option("--ec", help="Conductivity at 25 C: '1.8 mS/cm', '1800 uS/cm', or by a meter's scale '900 ppm500'.")
@click.option("--ph", help="Perlite has no buffer: read it weekly.")
@click.option("--temp", help="Of the solution: 23C or 73F.")
@click.option("--sump", help="What the sump holds at rest, as its marks say: 120L or 30gal.")
@sure_option
@file_argument
def command(
    ec: str | None, ph: str | None, temp: str | None, sump: str | None, sure: bool, file: Path | None
) -> None:
    """Enter EC, pH and temperature of the solution, and the sump's level; outside `solution:` raises an alert.

    Example: waaler measure --ec '1.8 mS/cm' --ph 5.9 --temp 23C
    """
    from waaler.settings import solution
    from waaler.settings.units import VOLUME, amount, temperature_c

    amounts: dict[str, float] = {}
    _take(amounts, "EC", ec, solution.ec_ms_per_cm, "--ec")
    _take(amounts, "pH", ph, solution.ph, "--ph")
    _take(amounts, "temperature", temp, temperature_c, "--temp")
    _take(amounts, "sump", sump, lambda text: amount(text, VOLUME), "--sump")
    if not amounts:
        raise click.UsageError("nothing was measured; give --ec, --ph, --temp or --sump")
    enter(file, {"do": "measure", "amounts": amounts}, sure)


def _take(
    amounts: dict[str, float], name: str, text: str | None, parse: Callable[[str], float], option: str
) -> None:
    from waaler.settings.units import UnitError

    if text is None:
        return
    try:
        amounts[name] = parse(text)
    except UnitError as problem:
        raise click.BadParameter(str(problem), param_hint=option) from None
