"""Draws the relay board between the header and the pump's circuit: its supply, its input, its contact."""

import schemdraw
import schemdraw.elements as elm
from hardware.pen import NAME, line, terminal, text

from waaler.bed.header import POSITIONS, SUPPLIES_3_3_V, what_stands_at
from waaler.settings import Settings
from waaler.settings.wire_words import Wire, wires

__all__ = ["draw_boards", "pin"]

DEVICES = {"relay": "K1", "cutoff_relay": "K4"}
APART, GAP = 7.4, 0.4

SUPPLIES_5_V = tuple(n for n, what in enumerate(POSITIONS, 1) if what == "5 V")

BY_HIGH = (
    "Before IN is connected: board supplied, a meter from IN to GND.",
    "Under 0.5 V is the right board. With more it is switched by a low",
    "level from 5 V, and 5 V on a pin can destroy the Pi.",
)
BY_LOW = (
    "The jumper between VCC and JD-VCC is out. Before IN is connected:",
    "board supplied, a meter from IN to GND. At most 3.3 V is right. With",
    "more the input is fed from 5 V, and that can destroy the Pi.",
)


def pin(position: int) -> str:
    """pin 11 GPIO 17"""
    what = what_stands_at(position)
    return f"pin {position} {what if isinstance(what, str) else f'GPIO {what}'}"


def draw_boards(drawing: schemdraw.Drawing, settings: Settings) -> None:
    """One board for each relay of the file, each with supply pins of its own while there are any."""
    relays = [wire for wire in wires(settings.file) if wire.name in DEVICES]
    for n, wire in enumerate(relays):
        _board(drawing, wire, n, -n * APART)


def _board(drawing: schemdraw.Drawing, wire: Wire, n: int, y: float) -> None:
    is_low = wire.words.endswith("low")
    high = 4.6 if is_low else 3.6
    ends = {"JD-VCC" if is_low else "5 V": pin(SUPPLIES_5_V[n % len(SUPPLIES_5_V)])}
    ends |= {"VCC": pin(SUPPLIES_3_3_V[n % len(SUPPLIES_3_3_V)])} if is_low else {}
    ends |= {"IN": pin(wire.position), "GND": pin(wire.back or 0)}
    left = [elm.IcPin(name=name, side="left", anchorname=name) for name in reversed(ends)]
    right = [elm.IcPin(name=name, side="right", anchorname=name) for name in ("NC", "NO", "COM")]
    board = drawing.add(
        elm.Ic(pins=[*left, *right], size=(3.4, high), pinspacing=1.0).at((0.0, y)).anchor("center")
    )
    text(
        drawing,
        0.0,
        y + high / 2 + 0.4,
        f"relay board {DEVICES[wire.name]}, energised by {'low' if is_low else 'high'}",
        NAME,
        "center",
    )
    for name, words in ends.items():
        x, at = getattr(board, name)
        line(drawing, (x, at), (x - 0.9, at))
        terminal(drawing, (x - 1.0, at), words)
    for name, words in {"COM": "11", "NO": "14", "NC": "stays empty"}.items():
        x, at = getattr(board, name)
        line(drawing, (x, at), (x + 0.5, at))
        text(drawing, x + 0.7, at, words if name == "NC" else f"{DEVICES[wire.name]}:{words}")
    for row, words in enumerate(BY_LOW if is_low else BY_HIGH):
        text(drawing, -4.2, y - high / 2 - 0.5 - GAP * row, words)
