"""Draws a circuit: parts where its plan has them, wires from its net list alone.

A net's wire is one level line, to which each of its terminals goes straight up or down; a net whose terminals stand
in one column needs none. Moving a terminal to another net moves its wire.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import pairwise

import schemdraw
import schemdraw.elements as elm
from hardware.circuit import DEMAND, Circuit, Kind, Part
from hardware.pen import NAME, SMALL, Point, line, terminal, text
from hardware.plans import Place, Plan

__all__ = ["Piece", "draw_circuit", "wires_of"]

MARK = 9
"""Size of a terminal's mark."""

BESIDE, LINE = 0.55, 0.38
"""A part's words stand so far to its right, and their lines so far apart."""

BARE = (Kind.COIL, Kind.DIODE)
"""Named even without words. A contact without words is the first pole of one that has them."""

Piece = tuple[Point, Point]


def draw_circuit(drawing: schemdraw.Drawing, circuit: Circuit, plan: Plan, also: Mapping[str, str]) -> None:
    """also: more words to a device, such as the GPIO that moves it."""
    for pieces in wires_of(circuit, plan).values():
        _wire(drawing, pieces)
    for part in circuit.parts:
        _part(drawing, part, plan.places[part.name], also.get(part.device))
    for at, words in plan.sources.values():
        terminal(drawing, at, words)
    for one, other in plan.linked:
        start, end = (_middle(plan.places[name]) for name in (one, other))
        drawing.add(elm.Line().at(start).to(end).linestyle("--").linewidth(1))
    right = max(x for piece in wires_of(circuit, plan)[DEMAND] for x, _ in piece)
    text(drawing, right, plan.levels[DEMAND] + 0.3, DEMAND, align="right")
    for (x, y), lines in plan.notes:
        _lines(drawing, x, y, lines)
    if plan.apart:
        drawing.add(elm.Line().at(plan.apart[0]).to(plan.apart[1]).linestyle("--"))


def wires_of(circuit: Circuit, plan: Plan) -> dict[str, tuple[Piece, ...]]:
    """Net to the straight pieces of its wire."""
    at = {terminal: point for terminal, (point, _) in plan.sources.items()}
    for part in circuit.parts:
        at |= dict(zip(part.terminals, plan.places[part.name], strict=False))
    return {
        name: tuple(_pieces([at[one] for one in terminals], plan.levels.get(name)))
        for name, terminals in circuit.nets.items()
    }


def _pieces(points: list[Point], level: float | None) -> Iterator[Piece]:
    if level is None:
        yield from pairwise(sorted(points, key=lambda point: -point[1]))
        return
    yield from (((x, y), (x, level)) for x, y in points if y != level)
    yield from (((left, level), (right, level)) for left, right in pairwise(sorted({x for x, _ in points})))


def _wire(drawing: schemdraw.Drawing, pieces: tuple[Piece, ...]) -> None:
    """Its pieces, and a dot where three or more of them meet."""
    for start, end in pieces:
        line(drawing, start, end)
    for point, count in Counter(point for piece in pieces for point in piece).items():
        if count > 2:
            drawing.add(elm.Dot().at(point))


def _part(drawing: schemdraw.Drawing, part: Part, place: Place, more: str | None) -> None:
    start, end = place
    if part.kind is Kind.EARTH:
        text(drawing, end[0] + 0.15, end[1] - 0.3, part.ends[0], MARK)
        return
    drawing.add(_symbol(part).endpoints(start, end))
    _marks(drawing, part, place)
    x, y = _middle(place)
    is_level = start[1] == end[1]
    is_named = part.kind not in (Kind.MOTOR, Kind.SENSED) and (bool(part.words) or part.kind in BARE)
    words = (*((part.device,) if is_named else ()), *part.words, *((more,) if more else ()))
    gap = LINE + 0.26 * (len(words) == 2 and is_named)
    beside = abs(end[0] - start[0]) / 2 + 0.5 if is_level else BESIDE
    _lines(drawing, x + beside, y + gap / 2 * (len(words) - 1), words, gap, is_named=is_named)


def _marks(drawing: schemdraw.Drawing, part: Part, place: Place) -> None:
    """Beside the leads, left of them; those of a level part and of a diode go without."""
    (_, first), (_, last) = place
    if part.kind is Kind.DIODE or first == last:
        return
    left = 0.45 if part.kind is Kind.MOTOR else 0.2
    for (x, y), mark in zip(place, part.ends, strict=True):
        text(drawing, x - left, y + (0.02 if y == max(first, last) else 0.04), mark, MARK, "right")
    if part.kind is Kind.TIMED:
        x, y = place[1]
        text(drawing, x - 0.85, y + 0.04, "16", MARK, "right")


def _lines(
    drawing: schemdraw.Drawing,
    x: float,
    top: float,
    words: tuple[str, ...],
    gap: float = LINE,
    *,
    is_named: bool = False,
) -> None:
    for n, one in enumerate(words):
        text(drawing, x, top - gap * n, one, NAME if is_named and n == 0 else SMALL)


def _symbol(part: Part) -> elm.Element2Term:
    match part.kind:
        case Kind.FUSE:
            return elm.Fuse()
        case Kind.BREAKER:
            return elm.Breaker()
        case Kind.FLOAT:
            return elm.Switch(nc=True)
        case Kind.CONTACT:
            return elm.Switch().flip()
        case Kind.TIMED:
            return elm.SwitchSpdt().flip()
        case Kind.MOTOR:
            return elm.Motor()
        case Kind.DIODE:
            return elm.Diode()
        case _:
            return elm.RBox()


def _middle(place: Place) -> Point:
    (x, y), (right, low) = place
    return (x + right) / 2, (y + low) / 2
