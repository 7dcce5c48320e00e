"""Text, lines and terminals, as all diagrams have them."""

from itertools import pairwise

import schemdraw
import schemdraw.elements as elm

__all__ = ["NAME", "SMALL", "Point", "line", "terminal", "text"]

Point = tuple[float, float]

NAME, SMALL = 12, 10
CENTRED = -0.12
"""A text's middle lies so much under the point that it is put at."""


def text(
    drawing: schemdraw.Drawing, x: float, y: float, words: str, size: int = SMALL, align: str = "left"
) -> None:
    label = elm.Label().at((x, y + CENTRED)).theta(0).label(words, fontsize=size, halign=align, valign="center")
    drawing.add(label)


def line(drawing: schemdraw.Drawing, *points: Point) -> None:
    for start, end in pairwise(points):
        drawing.add(elm.Line().at(start).to(end))


def terminal(drawing: schemdraw.Drawing, at: Point, name: str) -> None:
    drawing.add(elm.Dot(open=True).at(at))
    text(drawing, at[0] - 0.3, at[1], name, NAME, "right")
