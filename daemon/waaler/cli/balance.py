"""What a bucket test tells: how alike the outlets are, which to pinch, and the bed as it truly is."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from waaler.cli.common import echo, echo_json, file_argument, json_option, read_settings, refuse, three_digits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from waaler.bed.cups import Cup

__all__ = ["command"]

GOOD_PERCENT = 80.0
CLASSES = ((90.0, "excellent"), (80.0, "good"), (70.0, "fair"), (0.0, "poor"))
"""Of the low quarter. Source: Merriam and Keller 1978 (from memory, not confirmed in a text)."""


@click.command("balance")
@click.argument("cups", type=click.Path(path_type=Path))
@json_option
@file_argument
def command(cups: Path, as_json: bool, file: Path | None) -> None:
    """Read a bucket test and say which outlets to open or pinch for the next try.

    CUPS is a table of outlet,ml,seconds: all outlets in one run of the planned length from an empty line, each cup
    at its tube's own height. Exit 1 if an outlet is blocked or the low quarter is under 80 %.

    Example: waaler balance cups.csv
    """
    settings = read_settings(file)
    read = _read(cups)
    flows = [cup.l_per_min for cup in read]
    if sum(flows) <= 0:
        refuse(f"{cups}:2:1: no outlet gave anything; look at plug, pump and filter first", 2)
    told = _judged(flows, settings.layout)
    if as_json:
        echo_json(told)
    else:
        for line in _as_lines(told):
            echo(line)
    sys.exit(1 if told["blocked"] or told["low_quarter_percent"] < GOOD_PERCENT else 0)


def _read(path: Path) -> "tuple[Cup, ...]":
    from waaler.bed.cups import CupsError, cups_of_csv
    from waaler.settings import SettingsError
    from waaler.settings.outside_file import text_of

    try:
        return cups_of_csv(text_of(path, remedy="name a table outlet,ml,seconds"))
    except SettingsError as problem:
        refuse(str(problem), 2)
    except CupsError as problem:
        refuse(f"{path}:{problem}", 2)


def _judged(flows: "Sequence[float]", layout: Any) -> dict[str, Any]:
    from waaler.bed.balancing import fitted, is_blocked, next_try
    from waaler.bed.uniformity import christiansen_percent, low_quarter_percent, statistical_percent

    openings, note = [1.0] * len(flows), "no pump curve in the layout: nothing is fitted"
    over: tuple[int, ...] = ()
    if layout is not None:
        try:
            fit, over = fitted(layout, flows)
            openings, note = [tube.opening for tube in fit.tubes], ""
        except ValueError as problem:
            note = str(problem)
    low = low_quarter_percent(flows)
    return {
        "litres_per_minute": sum(flows),
        "christiansen_percent": christiansen_percent(flows),
        "low_quarter_percent": low,
        "emission_uniformity_percent": low,
        "statistical_percent": statistical_percent(flows),
        "class": next(name for least, name in CLASSES if low >= least),
        "blocked": [n for n, is_out in enumerate(is_blocked(flows), start=1) if is_out],
        "outlets": [
            {"outlet": n, "l_per_min": flow, "opening_percent": 100 * opening}
            for n, (flow, opening) in enumerate(zip(flows, openings, strict=True), start=1)
        ],
        "next": [
            {"outlet": n, "of_present_percent": 100 * share} for n, share in next_try(flows, openings).items()
        ],
        "more_than_the_model": list(over),
        "note": note,
    }


def _as_lines(told: dict[str, Any]) -> list[str]:
    lines = [
        f"  alike     Christiansen {told['christiansen_percent']:.0f} %,"
        f" low quarter (emission uniformity) {told['low_quarter_percent']:.0f} %,",
        f"            statistical {told['statistical_percent']:.0f} %: {told['class']} (limits from memory)",
        f"  all       {three_digits(60 * told['litres_per_minute'])} L/h",
    ]
    if told["blocked"]:
        lines.append(f"  BLOCKED   outlets {_list(told['blocked'])}: clean them before anything is balanced")
    elif not told["next"]:
        lines.append("  next try  nothing: no outlet is worth touching")
    for change in told["next"]:
        n, share = change["outlet"], change["of_present_percent"]
        deed = "pinch" if share < 100 else "open"
        lines.append(f"  next try  outlet {n}: {deed} it until it gives {share:.0f} % of what it gives now")
    lines += ["", "  outlet   gives        as if open to"]
    lines += [
        f"  {row['outlet']:6}   {three_digits(60 * row['l_per_min']):>5} L/h   {row['opening_percent']:8.0f} %"
        for row in told["outlets"]
    ]
    if told["note"]:
        return [*lines, "", f"  {told['note']}"]
    if told["more_than_the_model"]:
        lines += ["", f"  outlets {_list(told['more_than_the_model'])} gave more than the layout can: look at pump"]
        lines += ["  curve, lift and bores in the file"]
    return [*lines, "", "  to paste under layout:", *_each(told["outlets"])]


def _each(outlets: list[dict[str, Any]]) -> list[str]:
    throttled = [row for row in outlets if row["opening_percent"] < 98]
    rows = [f"    - {{outlet: {row['outlet']}, opening: {row['opening_percent']:.0f} %}}" for row in throttled]
    return ["  each:", *rows] if rows else ["  (every outlet is as open as the layout says)"]


def _list(numbers: list[int]) -> str:
    return ", ".join(str(number) for number in numbers)
