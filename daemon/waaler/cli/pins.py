"""The header as a picture: what goes where."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from waaler.cli.common import echo, echo_json, file_argument, json_option, read_settings

if TYPE_CHECKING:
    from waaler.settings.wire_words import Wire

__all__ = ["command"]

SIDE = 21
USED, BUS, FREE, KEPT, SUPPLY = "●", "◆", "○", "×", "·"


@click.command("pins")
@json_option
@file_argument
def command(as_json: bool, file: Path | None) -> None:
    """Draw the Pi's header with what the file has where, as seen with the square pad (pin 1) at the top left.

    Example: waaler pins terrace.yaml
    """
    from waaler.settings.wire_words import wires

    settings = read_settings(file)
    if settings.file.pins is None:
        from waaler.cli.common import refuse

        place = settings.source.fault((), "no pins are written out", "add `pins:` as in `waaler example`")
        refuse(str(place), 2)
    found, count = wires(settings.file), int(settings.file.pins.header)
    if as_json:
        echo_json({"bed": settings.id, "header": count, "pins": [_row(wire) for wire in found]})
        return
    echo(f"{settings.title} ({settings.id}): the header of {count} pins")
    for line in (*_picture(found, count), *_list(found)):
        echo(line)


def _row(wire: "Wire") -> dict[str, Any]:
    return {
        "pin": wire.position,
        "gpio": wire.gpio,
        "name": wire.name,
        "words": wire.words,
        "back_to_pin": wire.back,
    }


def _picture(found: "tuple[Wire, ...]", count: int) -> Iterator[str]:
    """Two columns of pins, each with its number, what it is and what is wired to it."""
    by_position = {wire.position: wire for wire in found}
    yield ""
    yield f"{'':{SIDE + 13}}┌─────┐"
    for odd in range(1, count, 2):
        left, right = by_position.get(odd), by_position.get(odd + 1)
        pads = f"│ {_pad(odd, left)} {_pad(odd + 1, right)} │"
        line = (
            f"{_job(left):>{SIDE}}  {_what(odd):>7}{odd:>3} {pads}{odd + 1:>3} {_what(odd + 1):<7}  {_job(right)}"
        )
        yield line.rstrip()
    yield f"{'':{SIDE + 13}}└─────┘"
    yield (
        f"     {USED} in use   {BUS} a bus of this file   {FREE} free   {KEPT} leave free   {SUPPLY} supply, ground"
    )


def _pad(position: int, wire: "Wire | None") -> str:
    from waaler.bed.header import FIRMWARE, SERIAL, what_stands_at

    if wire is not None:
        return BUS if wire.is_bus else USED
    what = what_stands_at(position)
    if isinstance(what, str):
        return SUPPLY
    return KEPT if what in FIRMWARE or what in SERIAL else FREE


def _what(position: int) -> str:
    from waaler.bed.header import what_stands_at

    what = what_stands_at(position)
    return what if isinstance(what, str) else f"GPIO {what}"


def _job(wire: "Wire | None") -> str:
    if wire is None:
        return ""
    return wire.words.split()[-2].replace("1-Wire", "1-Wire bus") if wire.is_bus else wire.name


def _list(found: "tuple[Wire, ...]") -> Iterator[str]:
    """Each wire with both of its ends."""
    yield ""
    for wire in found:
        if wire.is_bus:
            continue
        back = "" if wire.back is None else f" and pin {wire.back} ({_what(wire.back)})"
        yield f"  {wire.name}: pin {wire.position} (GPIO {wire.gpio}){back}"
        yield f"      {wire.words}"
