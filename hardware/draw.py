"""Draws the wiring diagrams and prints the truth table: `.venv/bin/python -m hardware.draw`.

Pin numbers come from config/bed.yaml alone, the pump's circuits from `circuit.py`; a test draws them again and
compares.
"""

from collections.abc import Callable
from functools import partial
from pathlib import Path

import schemdraw
import schemdraw.elements as elm
from hardware.cases import with_table
from hardware.circuit import CIRCUITS
from hardware.draw_board import draw_boards, pin
from hardware.draw_circuit import draw_circuit
from hardware.draw_levels import draw_levels
from hardware.pen import SMALL, line, terminal, text
from hardware.plans import PLANS

from waaler.settings import Settings, load
from waaler.settings.wire_words import Wire, wires

__all__ = ["DIAGRAMS", "draw", "write_all"]

HERE = Path(__file__).parent
FILE = HERE.parent / "config" / "bed.yaml"
ROW = 1.8
MARGIN = 16
WIDER = 16
"""Browsers' letters are wider than the drawing library reckons: room at the right, so that no label is cut off."""
CLOSED = ("sump_low", "tray_high")
"""Closed with a full sump and a dry tray."""


def draw(name: str, settings: Settings) -> str:
    """One diagram as SVG text, on white so that it can be read on a dark page."""
    schemdraw.use("svg")
    schemdraw.svgconfig.text = "text"
    drawing = schemdraw.Drawing(show=False, fontsize=12, unit=2.2, font="sans-serif")
    DIAGRAMS[name](drawing, settings)
    picture = drawing.get_imagedata("svg").decode()
    start = picture.index(">") + 1
    x, y, width, height = (float(part) for part in picture.split('viewBox="')[1].split('"')[0].split())
    left, top = round(x) - MARGIN, round(y) - MARGIN
    wide, high = round(width) + 2 * MARGIN + WIDER, round(height) + 2 * MARGIN
    size = f'width="{wide}" height="{high}"'
    box = f'<rect x="{left}" y="{top}" {size} fill="white"/>'
    view = f'viewBox="{left} {top} {wide} {high}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} {view}>'
    body = picture[start:].replace("><", ">\n<")
    return f"{head}\n<title>{TITLES[name]}</title>\n{box}\n{body}\n"


def write_all(folder: Path = HERE) -> None:
    settings = load(FILE)
    for name in DIAGRAMS:
        (folder / f"{name}.svg").write_text(draw(name, settings), encoding="utf-8")
    page = folder / "wiring.md"
    page.write_text(with_table(page.read_text(encoding="utf-8"), settings), encoding="utf-8")


# --- the header's side ----------------------------------------------------------------------------


def _inputs(drawing: schemdraw.Drawing, settings: Settings) -> None:
    """Every line of the file but the buses: from its pin through its device to the other pin."""
    found = [wire for wire in wires(settings.file) if not wire.is_bus]
    for n, wire in enumerate(found):
        _row(drawing, wire, -n * ROW)
    text(drawing, 0, -len(found) * ROW + 0.4, "Each float: closed means all is well. Both floats as they stand")
    text(drawing, 0, -len(found) * ROW, "with a full sump and a dry tray; a broken wire then reads as bad.")


def _row(drawing: schemdraw.Drawing, wire: Wire, y: float) -> None:
    assert wire.back is not None
    terminal(drawing, (2.8, y), pin(wire.position))
    device = elm.RBox() if "relay" in wire.name else _contact(wire)
    name_y = y + (0.8 if isinstance(device, elm.Switch) and wire.name not in CLOSED else 0.62)
    line(drawing, (2.9, y), (3.8, y))
    drawing.add(device.endpoints((3.8, y), (6.0, y)))
    line(drawing, (6.0, y), (6.9, y))
    drawing.add(elm.Dot(open=True).at((7.0, y)))
    text(drawing, 7.2, y, pin(wire.back), 12)
    text(drawing, 4.9, name_y, wire.name, 12, "center")
    text(drawing, 4.9, y - 0.55, wire.words, SMALL, "center")


def _contact(wire: Wire) -> elm.Element2Term:
    """As it stands with a full sump and a dry tray."""
    return elm.Switch(nc=True) if wire.name in CLOSED else elm.Switch()


def _converter(drawing: schemdraw.Drawing, settings: Settings) -> None:
    """The SPI converter, chip by the names of its pins, and one probe."""
    names = {"SCLK": "CLK", "MISO": "DOUT", "MOSI": "DIN", "CE0": "CS"}
    lines = {wire.words.split()[-2]: wire for wire in wires(settings.file) if wire.is_bus}
    left = [elm.IcPin(name=chip, side="left", anchorname=chip) for chip in ("VDD", *names.values(), "GND")]
    probes = settings.wiring.probes
    right = [
        elm.IcPin(name=f"CH{p.source.channel}", side="right", anchorname=f"CH{p.source.channel}") for p in probes
    ]
    chip = drawing.add(elm.Ic(pins=[*left, *right], size=(3.2, 5.2), pinspacing=0.9))
    text(drawing, 1.6, 5.5, "converter, 10 bit, SPI", 12, "center")
    ends = {"VDD": pin(17), "GND": pin(25)} | {names[bus]: pin(lines[bus].position) for bus in names}
    for name, label in ends.items():
        x, y = getattr(chip, name)
        line(drawing, (x, y), (x - 1.2, y))
        terminal(drawing, (x - 1.3, y), label)
    for probe in probes:
        x, y = getattr(chip, f"CH{probe.source.channel}")
        line(drawing, (x, y), (x + 1.2, y))
        drawing.add(elm.RBox().endpoints((x + 1.2, y), (x + 3.2, y)))
        text(drawing, x + 2.2, y + 0.6, f"probe {probe.name}", 12, "center")
        text(drawing, x + 2.2, y - 0.55, "with 3.3 V and ground of its own", SMALL, "center")
    text(drawing, -3.6, -0.7, "VREF with VDD, AGND with GND; 100 nF between VDD and GND, close to the chip.")


# --- the pump's side --------------------------------------------------------------------------------


def _pump(name: str, drawing: schemdraw.Drawing, settings: Settings) -> None:
    """From its net list; K1 also says its GPIO."""
    draw_circuit(drawing, CIRCUITS[name], PLANS[name], _gpio(settings))


def _gpio(settings: Settings) -> dict[str, str]:
    """Words of the relays that the Pi moves: their GPIO, as the file has it."""
    relays = {"relay": "K1", "cutoff_relay": "K4"}
    return {relays[wire.name]: f"GPIO {wire.gpio}" for wire in wires(settings.file) if wire.name in relays}


DIAGRAMS: dict[str, Callable[[schemdraw.Drawing, Settings], None]] = {
    "inputs": _inputs,
    "converter": _converter,
    "relay-board": draw_boards,
    "levels": draw_levels,
    **{name: partial(_pump, name) for name in CIRCUITS},
}
TITLES = {
    "inputs": "Relay and floats at the Pi's header",
    "converter": "A moisture probe on the SPI converter",
    "relay-board": "The relay board: its supply, its input of 3.3 V, its contact",
    "levels": "Where the floats hang, in section, not to scale",
    "pump-low-voltage": "Between an extra-low-voltage supply and the pump",
    "pump-outlet": "A mains pump on a listed switched outlet, and its control circuit of extra-low voltage",
    "pump-mains": "A mains pump: contactor, and its coil circuit of extra-low voltage",
}

if __name__ == "__main__":
    write_all()
