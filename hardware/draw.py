"""Draws the wiring diagrams from config/bed.yaml: `.venv/bin/python hardware/draw.py`.

Pin numbers come from the file alone; a test draws them again and compares.
"""

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import schemdraw
import schemdraw.elements as elm

from waaler.bed.header import what_stands_at
from waaler.settings import Settings, load
from waaler.settings.wire_words import Wire, wires

__all__ = ["DIAGRAMS", "draw", "write_all"]

HERE = Path(__file__).parent
FILE = HERE.parent / "config" / "bed.yaml"
ROW = 1.8
MARGIN = 16
CLOSED = ("sump_low", "tray_high")
"""Closed with a full sump and a dry tray."""

SMALL = 10
CENTRED = -0.12
"""A text's middle lies so much under the point that it is put at."""

Point = tuple[float, float]


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
    wide, high = round(width) + 2 * MARGIN, round(height) + 2 * MARGIN
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


# --- the header's side ----------------------------------------------------------------------------


def _pin(position: int) -> str:
    what = what_stands_at(position)
    return f"pin {position} {what if isinstance(what, str) else f'GPIO {what}'}"


def _text(
    drawing: schemdraw.Drawing, x: float, y: float, text: str, size: int = SMALL, align: str = "left"
) -> None:
    drawing.add(elm.Label().at((x, y + CENTRED)).theta(0).label(text, fontsize=size, halign=align, valign="center"))


def _line(drawing: schemdraw.Drawing, *points: Point) -> None:
    for start, end in pairwise(points):
        drawing.add(elm.Line().at(start).to(end))


def _terminal(drawing: schemdraw.Drawing, at: Point, name: str) -> None:
    drawing.add(elm.Dot(open=True).at(at))
    _text(drawing, at[0] - 0.3, at[1], name, 12, "right")


def _inputs(drawing: schemdraw.Drawing, settings: Settings) -> None:
    """Every line of the file but the buses: from its pin through its device to the other pin."""
    found = [wire for wire in wires(settings.file) if not wire.is_bus]
    for n, wire in enumerate(found):
        _row(drawing, wire, -n * ROW)
    _text(drawing, 0, -len(found) * ROW + 0.4, "Each float: closed means all is well. Both floats as they stand")
    _text(drawing, 0, -len(found) * ROW, "with a full sump and a dry tray; a broken wire then reads as bad.")


def _row(drawing: schemdraw.Drawing, wire: Wire, y: float) -> None:
    assert wire.back is not None
    _terminal(drawing, (2.8, y), _pin(wire.position))
    device = elm.RBox() if "relay" in wire.name else _contact(wire)
    name_y = y + (0.8 if isinstance(device, elm.Switch) and wire.name not in CLOSED else 0.62)
    _line(drawing, (2.9, y), (3.8, y))
    drawing.add(device.endpoints((3.8, y), (6.0, y)))
    _line(drawing, (6.0, y), (6.9, y))
    drawing.add(elm.Dot(open=True).at((7.0, y)))
    _text(drawing, 7.2, y, _pin(wire.back), 12)
    _text(drawing, 4.9, name_y, wire.name, 12, "center")
    _text(drawing, 4.9, y - 0.55, wire.words, SMALL, "center")


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
    _text(drawing, 1.6, 5.5, "converter, 10 bit, SPI", 12, "center")
    ends = {"VDD": _pin(17), "GND": _pin(25)} | {names[bus]: _pin(lines[bus].position) for bus in names}
    for name, label in ends.items():
        x, y = getattr(chip, name)
        _line(drawing, (x, y), (x - 1.2, y))
        _terminal(drawing, (x - 1.3, y), label)
    for probe in probes:
        x, y = getattr(chip, f"CH{probe.source.channel}")
        _line(drawing, (x, y), (x + 1.2, y))
        drawing.add(elm.RBox().endpoints((x + 1.2, y), (x + 3.2, y)))
        _text(drawing, x + 2.2, y + 0.6, f"probe {probe.name}", 12, "center")
        _text(drawing, x + 2.2, y - 0.55, "with 3.3 V and ground of its own", SMALL, "center")
    _text(drawing, -3.6, -0.7, "VREF with VDD, AGND with GND; 100 nF between VDD and GND, close to the chip.")


# --- the pump's side --------------------------------------------------------------------------------


def _low_voltage(drawing: schemdraw.Drawing, settings: Settings) -> None:
    """What stands in series between a supply of extra-low voltage and the pump."""
    _terminal(drawing, (0.0, 0.0), "24 V +")
    x = _in_series(drawing, 0.1, 0.0, (("F1", ""), ("K2", "second float's relay"), ("K3", "run-time limiter")))
    x = _auto_and_by_hand(drawing, x, 0.0, settings)
    _pump(drawing, x)
    _text(drawing, 0.0, -4.2, "The coil of K2, which needs no software:", 12)
    _coil_circuit(drawing, -5.6)


def _in_series(drawing: schemdraw.Drawing, x: float, y: float, parts: tuple[tuple[str, str], ...]) -> float:
    """Fuses (F) and contacts that are closed when all is well, from left to right; where the line ends."""
    for name, words in parts:
        part = elm.Fuse() if name.startswith("F") else elm.Switch(nc=True)
        _line(drawing, (x, y), (x + 0.5, y))
        drawing.add(part.endpoints((x + 0.5, y), (x + 2.7, y)))
        _line(drawing, (x + 2.7, y), (x + 3.2, y))
        _text(drawing, x + 1.6, y + 0.65, name, 12, "center")
        _text(drawing, x + 1.6, y - 0.55, words, SMALL, "center")
        x += 3.2
    return x


def _auto_and_by_hand(drawing: schemdraw.Drawing, x: float, y: float, settings: Settings) -> float:
    """AUTO goes through the Pi's relay, BY HAND around it, and in the middle is OFF. Where both meet again."""
    relay = next(wire for wire in wires(settings.file) if wire.name == "relay")
    above, below, right = y + 1.0, y - 1.0, x + 6.0
    _text(drawing, x, y + 0.75, "S1", 12)
    drawing.add(elm.Dot().at((x, y)))
    _line(drawing, (x, y), (x + 1.15, above - 0.12))
    for height, name in ((above, "AUTO"), (y, "OFF"), (below, "BY HAND")):
        drawing.add(elm.Dot(open=True).at((x + 1.3, height)))
        _text(drawing, x + 1.5, height + (0.3 if height != y else 0.0), name)
    _line(drawing, (x + 1.4, above), (x + 2.9, above))
    drawing.add(elm.Switch().endpoints((x + 2.9, above), (x + 5.1, above)))
    _text(drawing, x + 4.0, above + 0.85, f"K1: the Pi's relay, GPIO {relay.gpio}", SMALL, "center")
    _line(drawing, (x + 5.1, above), (right, above), (right, below), (x + 1.4, below))
    drawing.add(elm.Dot().at((right, y)))
    return right


def _pump(drawing: schemdraw.Drawing, x: float) -> None:
    """The pump with its diode, and the contact that shows the supply behind the last relay."""
    _line(drawing, (x, 0.0), (x + 4.6, 0.0))
    for at in (x + 0.9, x + 2.5, x + 4.6):
        drawing.add(elm.Dot().at((at, 0.0)))
    drawing.add(elm.Diode().at((x + 0.9, -2.6)).up(2.6))
    _text(drawing, x + 1.25, -1.3, "D1")
    drawing.add(elm.Motor().at((x + 2.5, 0.0)).down(2.6))
    _text(drawing, x + 2.75, -2.2, "pump", 12)
    drawing.add(elm.RBox().at((x + 4.6, 0.0)).down(2.6))
    for n, words in enumerate(("sensed supply:", "a small relay or an", "optocoupler, its", "contact to the Pi")):
        _text(drawing, x + 5.0, -0.7 - 0.4 * n, words)
    _line(drawing, (x + 4.6, -2.6), (0.1, -2.6))
    _terminal(drawing, (0.0, -2.6), "0 V")


def _coil_circuit(drawing: schemdraw.Drawing, y: float) -> None:
    """The interlock: a float in a coil circuit of extra-low voltage."""
    _terminal(drawing, (0.0, y), "24 V +")
    x = _in_series(drawing, 0.1, y, (("F2", ""), ("S2", "second float"))) + 0.6
    _line(drawing, (x - 0.6, y), (x + 1.6, y))
    drawing.add(elm.Dot().at((x, y)))
    drawing.add(elm.RBox().at((x, y)).down(2.0))
    _text(drawing, x - 0.5, y - 1.0, "K2", 12, "right")
    drawing.add(elm.Diode().at((x + 1.6, y - 2.0)).up(2.0))
    _text(drawing, x + 1.95, y - 1.0, "D2")
    _line(drawing, (x + 1.6, y - 2.0), (0.1, y - 2.0))
    _terminal(drawing, (0.0, y - 2.0), "0 V")
    words = (
        "S2 hangs 20 to 30 mm below the Pi's float and is closed",
        "while water lifts it. No float carries the pump's current.",
        "K3 counts from when the pump has its supply, and opens",
        "by itself a little after `longest_run`.",
    )
    for n, line in enumerate(words):
        _text(drawing, x + 3.0, y - 0.3 - 0.45 * n, line)


def _mains(drawing: schemdraw.Drawing, settings: Settings) -> None:
    """The same with a mains pump: for a licensed electrician. Only coils are on the Pi's side."""
    for y, name in ((0.0, "L"), (-2.6, "N")):
        _terminal(drawing, (0.0, y), name)
        _line(drawing, (0.1, y), (0.6, y))
        drawing.add(elm.Breaker().endpoints((0.6, y), (2.6, y)))
        _line(drawing, (2.6, y), (4.0, y))
        drawing.add(elm.Switch().endpoints((4.0, y), (6.2, y)))
        _line(drawing, (6.2, y), (8.0, y))
        _text(drawing, 5.1, y + 0.85, "K0", 12, "center")
    _text(drawing, 1.6, -1.1, "RCD 30 mA and breaker,", SMALL, "center")
    _text(drawing, 1.6, -1.5, "both poles", SMALL, "center")
    drawing.add(elm.Motor().at((8.0, 0.0)).down(2.6))
    _text(drawing, 8.3, -2.2, "pump", 12)
    notes = (
        "the protective earth goes to the pump unbroken",
        "all of this: a licensed electrician, after local",
        "code, in an enclosure of its own",
    )
    for n, words in enumerate(notes):
        _text(drawing, 9.4, -0.3 - 0.45 * n, words)
    drawing.add(elm.Line().at((-1.2, -3.6)).to((16.6, -3.6)).linestyle("--"))
    _text(drawing, 5.0, -4.0, "safe separation: nothing of the mains crosses this line", SMALL, "center")
    y = -6.4
    _terminal(drawing, (0.0, y), "24 V +")
    x = _in_series(drawing, 0.1, y, (("F2", ""), ("S2", "second float"), ("K3", "run-time limiter")))
    x = _auto_and_by_hand(drawing, x, y, settings)
    _line(drawing, (x, y), (x + 1.0, y))
    drawing.add(elm.RBox().at((x + 1.0, y)).down(2.2))
    _text(drawing, x + 1.4, y - 1.1, "coil of K0, with its diode", 12)
    _line(drawing, (x + 1.0, y - 2.2), (0.1, y - 2.2))
    _terminal(drawing, (0.0, y - 2.2), "0 V")


DIAGRAMS: dict[str, Callable[[schemdraw.Drawing, Settings], None]] = {
    "inputs": _inputs,
    "converter": _converter,
    "pump-low-voltage": _low_voltage,
    "pump-mains": _mains,
}
TITLES = {
    "inputs": "Relay and floats at the Pi's header",
    "converter": "A moisture probe on the SPI converter",
    "pump-low-voltage": "Between an extra-low-voltage supply and the pump",
    "pump-mains": "A mains pump: contactor, and its coil circuit of extra-low voltage",
}

if __name__ == "__main__":
    write_all()
